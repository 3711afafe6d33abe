"""Response to a pressing: its laws, its accuracy, and the derivatives of its peaks."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from featherline_service.heat.bond import dose
from featherline_service.heat.conduction import Stack, evolve, modes
from featherline_service.heat.pressing import (
    BAND_DWELLS,
    DWELLS_S,
    TIMES_S,
    Pressed,
    bond_line_response,
    pressing_response,
    pressing_responses,
)

Floats = NDArray[np.float64]
FEW = settings(max_examples=drawn(30), deadline=None)
UPPER = 2


def with_top(own: Stack, **top: float) -> Stack:
    """Return the stack with its cover's thickness [m] or its contacts multiplied."""
    thickness, conductance = own.thickness_m.copy(), own.conductance_w_m2k.copy()
    thickness[0] *= top.get("cover", 1.0)
    conductance[: UPPER + 1] *= top.get("contacts", 1.0)
    return own._replace(thickness_m=thickness, conductance_w_m2k=conductance)


def gathered(own: Stack, platen_c: float) -> Floats:
    """Return the bond line's dose at `TIMES_S`."""
    share, _ = bond_line_response(own, UPPER)
    return dose(TIMES_S, 20.0 + (platen_c - 20.0) * share, 150.0, 100.0, 1e5)


@given(more=st.floats(1.0, 4.0), platen_c=st.floats(120.0, 190.0))
@FEW
def test_thicker_cover_never_raises_the_dose(closed: Stack, more: float, platen_c: float) -> None:
    """A thicker cover sheet lets no more through, at any time."""
    assert bool((gathered(with_top(closed, cover=more), platen_c) <= gathered(closed, platen_c) + 1e-6).all())


@given(more=st.floats(1.0, 5.0), platen_c=st.floats(120.0, 190.0))
@FEW
def test_firmer_contact_never_lowers_the_dose(closed: Stack, more: float, platen_c: float) -> None:
    """Better contacts above the bond line let more through, at any time."""
    assert bool((gathered(with_top(closed, contacts=more), platen_c) >= gathered(closed, platen_c) - 1e-6).all())


@given(platen_c=st.floats(120.0, 190.0), hotter=st.floats(0.0, 30.0))
@FEW
def test_hotter_and_longer_never_lower_the_dose(closed: Stack, platen_c: float, hotter: float) -> None:
    """A hotter platen gives at least the dose of a cooler one, and the dose never falls with time."""
    cool, hot = gathered(closed, platen_c), gathered(closed, platen_c + hotter)
    assert (True, True) == (bool((hot >= cool).all()), bool((np.diff(cool) >= 0.0).all()))


def test_as_exact_as_needed(closed: Stack, opened: Stack) -> None:
    """The bond line is within 0.02 K of a far finer solution at 160 degC, and the peaks within 0.1 K."""
    rough = pressing_response(closed, opened, UPPER)
    fine = modes(closed, (12, 12, 24, 16, 24))
    share = fine.shape[fine.layout.top(UPPER)] @ evolve(fine, np.zeros(fine.layout.size), TIMES_S[1:], 1.0, 0.0)
    assert pytest.approx(share[TIMES_S[1:] > 0.5], abs=0.02 / 140.0) == rough.bond[1:][TIMES_S[1:] > 0.5]
    assert rough.bond[0] == 0.0
    released = modes(opened, (12, 12, 24, 16, 24))
    start = fine.shape @ evolve(fine, np.zeros(fine.layout.size), DWELLS_S, 1.0, 0.0)
    begin = released.shape.T @ (released.mass_j_m2k[:, None] * start)
    times = np.concatenate(([0.0], np.geomspace(0.05, 300.0, 400)))
    for at in range(DWELLS_S.size):
        history = released.shape @ (begin[:, [at]] * np.exp(-released.rate_per_s[:, None] * times))
        peak = [history[fine.layout.nodes(layer)].max() for layer in range(5)]
        assert pytest.approx(np.array(peak), abs=0.1 / 140.0) == rough.peaks.rise[:, at]


def same(one: object, other: object) -> bool:
    """Return whether two records of arrays are the same to the last bit."""
    if isinstance(one, tuple) and isinstance(other, tuple):
        return all(map(same, one, other))
    return bool(np.array_equal(np.asarray(one), np.asarray(other)))


def test_together_as_alone(closed: Stack, opened: Stack) -> None:
    """Stacks of other orders, layers and bonds, solved together, are each the same, to the last bit, as alone."""
    bare = [Stack(*(column[1:] for column in own)) for own in (closed, opened)]
    joined = [
        own._replace(conductance_w_m2k=np.array([*own.conductance_w_m2k[:3], math.inf, 600.0, 500.0]))
        for own in (closed, opened)
    ]
    stacks = [
        Pressed(closed, opened, UPPER),
        Pressed(with_top(closed, cover=8.0), with_top(opened, cover=8.0), UPPER),
        Pressed(bare[0], bare[1], UPPER - 1),
        Pressed(joined[0], joined[1], UPPER),
        Pressed(with_top(closed, contacts=0.5), with_top(opened, contacts=0.5), UPPER),
    ]
    together = pressing_responses(stacks)
    assert len({response.pressed.layout for response in together}) > 3
    assert [True] * 5 == [same(each, pressing_response(*one)) for each, one in zip(together, stacks, strict=True)]


def test_peak_slopes(closed: Stack, opened: Stack) -> None:
    """Derivatives of the peaks, after opening too, equal differences of recomputed pressings."""
    rough = pressing_response(closed, opened, UPPER)
    small = 1e-3
    for part in (2, 3, 4, 6, 7, 9, 11, 12, 13):  # conduction, storage, and contacts but the platen's
        high, low = (
            pressing_response(part_changed(closed, part, by), part_changed(opened, part, by), UPPER)
            for by in (small, -small)
        )
        expected = (high.peaks.rise - low.peaks.rise)[:, BAND_DWELLS] / (2.0 * small)
        assert pytest.approx(expected, abs=6e-3) == rough.peak_slopes[part]


def test_platen_contact_matters_while_it_is_there(closed: Stack, opened: Stack) -> None:
    """The platen's contact changes a peak after opening only by the heat that it let in before."""
    rough, small, part = pressing_response(closed, opened, UPPER), 1e-3, 10
    high, low = (pressing_response(part_changed(closed, part, by), opened, UPPER) for by in (small, -small))
    expected = (high.peaks.rise - low.peaks.rise)[:, BAND_DWELLS] / (2.0 * small)
    assert pytest.approx(expected, abs=3e-3) == rough.peak_slopes[part]


def part_changed(own: Stack, part: int, by: float) -> Stack:
    """Return a stack with one of its parts changed by a relative amount."""
    layers = own.thickness_m.size
    values = [own.conductivity_w_mk.copy(), own.capacity_j_m3k.copy(), own.conductance_w_m2k.copy()]
    which = min(part // layers, 2)
    values[which][part - which * layers] *= 1.0 + by
    return Stack(own.thickness_m, *values)


def test_dwells_are_a_constant_ratio_apart() -> None:
    """Dwells are evenly spaced in their logarithm, as interpolation needs, and bands include both ends."""
    ratios = [math.log(later / sooner) for sooner, later in pairwise(DWELLS_S)]
    assert pytest.approx(np.full(len(ratios), ratios[0])) == np.array(ratios)
    assert (0, DWELLS_S.size - 1) == (BAND_DWELLS[0], BAND_DWELLS[-1])
