"""Laws of the dose of a bond line; published checks are in tests/outside."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.heat.bond import arrhenius, dose, time_of_dose

TIMES_S = np.linspace(0.0, 30.0, 301)
FEW = settings(max_examples=drawn(40), deadline=None)


def test_rate_at_the_reference_is_one() -> None:
    """At the reference temperature the rate is one."""
    assert arrhenius(150.0, 150.0, 1e5) == 1.0


def test_held_at_the_reference() -> None:
    """Held at the reference temperature, the dose is the time."""
    assert pytest.approx(TIMES_S) == dose(TIMES_S, np.full(301, 150.0), 150.0, 110.0, 1e5)


def test_nothing_below_the_onset() -> None:
    """Below the onset the dose stays zero, however long the time."""
    assert dose(TIMES_S, np.full(301, 109.9), 150.0, 110.0, 1e5)[-1] == 0.0


def test_step_that_crosses_the_onset_counts_from_there() -> None:
    """Of a rise through the onset the part above counts; without activation energy the dose is the time above."""
    rise = 20.0 + 10.0 * TIMES_S
    assert pytest.approx(30.0 - 9.05) == dose(TIMES_S, rise, 150.0, 110.5, 0.0)[-1]


def test_a_slow_rise_through_the_onset_counts_from_there() -> None:
    """However little a step rises, of the one that crosses the onset only the part above counts."""
    assert pytest.approx(30.0 - 10.05) == dose(TIMES_S, 100.0 + TIMES_S, 150.0, 110.05, 0.0)[-1]


def test_falling_through_the_onset_counts_too() -> None:
    """Cooling through the onset gives the same dose as heating through it."""
    rise = 20.0 + 10.0 * TIMES_S
    up, down = (dose(TIMES_S, each, 150.0, 110.5, 1e5)[-1] for each in (rise, rise[::-1]))
    assert pytest.approx(up) == down


@given(hotter=st.floats(0.0, 40.0), longer=st.integers(2, 300), energy=st.floats(3e4, 2e5))
@FEW
def test_hotter_and_longer_never_lower_the_dose(hotter: float, longer: int, energy: float) -> None:
    """A dose grows with time, and is no smaller when every moment is hotter."""
    rise = 20.0 + 130.0 * (1.0 - np.exp(-TIMES_S / 8.0))
    plain, hot = (dose(TIMES_S, rise + more, 150.0, 105.0, energy) for more in (0.0, hotter))
    assert (True, True) == (bool((np.diff(plain) >= 0.0).all()), bool(hot[longer] >= plain[longer]))


def test_time_of_dose_is_the_inverse() -> None:
    """The time at which a dose is reached is read between the curve's times."""
    curve = dose(TIMES_S, 20.0 + 130.0 * (1.0 - np.exp(-TIMES_S / 8.0)), 150.0, 105.0, 1e5)
    needed = 0.4 * curve[-1]
    assert pytest.approx(needed) == np.interp(time_of_dose(TIMES_S, curve, needed), TIMES_S, curve)


def test_time_of_dose_at_the_ends() -> None:
    """A needed dose of zero is reached at once; one that is never reached takes an infinite time."""
    curves = np.array([TIMES_S, TIMES_S, 0.5 * TIMES_S])
    assert [0.0, 30.0, math.inf] == time_of_dose(TIMES_S, curves, np.array([0.0, 30.0, 15.1])).tolist()


def test_a_dose_is_reached_between_the_last_two_times() -> None:
    """There, as anywhere, the time is read off the step in which the curve reaches the dose."""
    assert 1.5 == time_of_dose(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0, 5.0]), 3.0)


@pytest.mark.parametrize(("curve", "needed"), [([0.0, 0.0, 5.0], 0.0), ([1.0, 2.0, 5.0], 0.5)])
def test_a_dose_that_is_there_already_is_reached_at_the_start(curve: list[float], needed: float) -> None:
    """A curve that begins flat, or beyond the needed dose, reaches it at the first time."""
    assert 0.0 == time_of_dose(np.array([0.0, 1.0, 2.0]), np.array(curve), needed)
