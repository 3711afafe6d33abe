"""The dwell to set, the worst of several changes, and what interpolates between dwells."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.heat.pressing import BAND_DWELLS, DWELLS_S, TIMES_S
from featherline_service.heat.window import (
    FINE,
    FINE_DWELLS_S,
    at_dwell,
    choose_dwell,
    crossing,
    dose_at,
    fine_bands,
    root_sum_square,
    worst_direction,
)

FEW = settings(max_examples=drawn(60), deadline=None)


def test_changes_combine_as_squares() -> None:
    """Two equal changes make the root of two; one that helps on both sides adds nothing; of two the worse counts."""
    one = np.array([[0.1], [-0.1]])
    assert pytest.approx(0.1) == root_sum_square(one)[0]
    assert pytest.approx(0.1 * math.sqrt(2.0)) == root_sum_square(np.concatenate((one, one)))[0]
    assert pytest.approx(0.1) == root_sum_square(np.concatenate((one, [[-0.2], [-0.3]])))[0]
    assert pytest.approx(0.3) == root_sum_square(np.array([[0.2], [0.3]]))[0]


def test_worst_direction_goes_with_the_changes() -> None:
    """Each goes to the side that hurts, in proportion to how much; what never hurts stays where it is."""
    found = worst_direction(np.array([[3.0, -3.0], [-4.0, 4.0], [-1.0, -2.0]]))
    assert pytest.approx(np.array([[0.6, 0.0], [0.0, 0.8], [0.0, 0.0]])) == found


def test_between_the_bands_dwells() -> None:
    """Values at the dwells of the bands are kept, and between two of them nothing overshoots."""
    found = fine_bands(np.arange(BAND_DWELLS.size, dtype=np.float64))
    assert pytest.approx(np.arange(BAND_DWELLS.size)) == found[BAND_DWELLS * FINE]
    assert bool((np.diff(found) >= 0.0).all())
    assert pytest.approx(DWELLS_S) == FINE_DWELLS_S[::FINE]


def test_crossing() -> None:
    """A rising quantity comes to zero between two dwells, at once, or never."""
    rising = np.log(FINE_DWELLS_S / 30.0)
    found = crossing(np.stack((rising, rising + 10.0, rising - 10.0)))
    assert pytest.approx([30.0, 0.0, math.inf], rel=1e-3) == found.tolist()


@pytest.mark.parametrize(
    ("window", "expected"),
    [
        ((30.8, 37.6, 34.5, 37.6), 35.0),  # the first that is sure
        ((30.8, 37.6, 30.8, 37.6), 31.0),
        ((30.8, 37.6, 40.0, 37.6), 37.0),  # none is sure to bond: the longest there is
        ((30.8, 60.0, 31.0, 33.0), 31.0),
        ((30.8, 60.0, 40.0, 20.0), 31.0),  # least outside of both ends
        ((30.0, 30.0, 30.0, 30.0), 30.0),
        ((30.2, 30.8, 30.2, 30.8), None),  # no step of the timer inside
        ((31.0, 30.0, 31.0, 30.0), None),
        ((math.inf, 30.0, math.inf, 30.0), None),
        ((0.2, 3.0, 0.2, 3.0), 1.0),  # a press is set to one step at least
        ((2.0, 3.0, 2.0, 0.0), 2.0),
    ],
)
def test_dwell_that_is_set(window: tuple[float, float, float, float], expected: float | None) -> None:
    """The dwell is a multiple of the timer's step inside the window, and sure if a sure one exists."""
    assert expected == choose_dwell(*window, 1.0)


@given(
    shortest=st.floats(0.5, 100.0),
    width=st.floats(0.0, 60.0),
    late=st.floats(0.0, 30.0),
    early=st.floats(0.0, 60.0),
    step=st.sampled_from([0.5, 1.0, 5.0]),
)
@FEW
def test_never_outside_the_window(shortest: float, width: float, late: float, early: float, step: float) -> None:
    """For any window the dwell is a multiple of the step inside it."""
    longest = shortest + width
    dwell = choose_dwell(shortest, longest, shortest + late, longest - early, step)
    if dwell is not None:
        assert shortest - 1e-6 <= dwell <= longest + 1e-6
        assert pytest.approx(round(dwell / step)) == dwell / step


def test_values_at_a_dwell() -> None:
    """Between two of the fine dwells they are linear in its logarithm, and beyond the ends those of the ends."""
    values = np.stack((np.log(FINE_DWELLS_S), 3.0 - 2.0 * np.log(FINE_DWELLS_S)))
    for dwell_s in (1.0, 17.3, 119.0, 120.0):
        assert pytest.approx([math.log(dwell_s), 3.0 - 2.0 * math.log(dwell_s)], abs=1e-12) == at_dwell(values, dwell_s)
    assert values[:, 0].tolist() == at_dwell(values, 0.5).tolist()
    assert values[:, -1].tolist() == pytest.approx(at_dwell(values, 300.0).tolist())


def test_doses_at_times_of_their_own() -> None:
    """One time for all curves, or one for each of the leading axes, between the times that were computed."""
    curves = np.stack((2.0 * TIMES_S, TIMES_S + 1.0))[:, None] + np.array([0.0, 5.0])[:, None]
    assert pytest.approx(np.array([[20.6, 25.6], [11.3, 16.3]])) == dose_at(curves, 10.3)
    assert pytest.approx(np.array([[20.6, 25.6], [41.0, 46.0]])) == dose_at(curves, np.array([10.3, 40.0]))
