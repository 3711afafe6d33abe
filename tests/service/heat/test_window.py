"""Windows of dwells: shortest, longest, at the worst case, and the dwell to set."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from featherline_service.heat.bond import dose
from featherline_service.heat.conduction import Stack
from featherline_service.heat.damage import exposure, step_peaks
from featherline_service.heat.pressing import AFTER_S, TIMES_S, PressingResponse, pressing_response
from featherline_service.heat.window import (
    Adhesive,
    BondDwells,
    Limits,
    NeededDose,
    Published,
    bond_dwells,
    choose_dwell,
    layer_dwells,
    needed_dose,
    peaks_with_bands,
    sure_dose,
)

Floats = NDArray[np.float64]

ROOM_C = 20.0
PUBLISHED = Published(160.0, 15.0, 20.0)
ADHESIVE = Adhesive(110.0, 100e3, 60e3, 150e3)
FEW = settings(max_examples=drawn(60), deadline=None)


@pytest.fixture(scope="module")
def followed(closed: Stack, opened: Stack) -> PressingResponse:
    """The response of the shared stack."""
    return pressing_response(closed, opened, 2)


def without_bands(share: Floats) -> NeededDose:
    """Return the published setting's dose with only the platen and the activation energy uncertain."""
    return needed_dose(share, np.zeros((0, 2, TIMES_S.size)), PUBLISHED, ADHESIVE, ROOM_C)


def dwells_of(
    needed: NeededDose, share: Floats, bands: Floats, platens_c: list[float], spread_k: float = 0.0
) -> BondDwells:
    """Return bond dwells at the published film."""
    return bond_dwells(
        needed,
        share,
        bands,
        PUBLISHED,
        ADHESIVE,
        platens_c=np.array(platens_c),
        platen_spread_k=spread_k,
        room_c=ROOM_C,
    )


def test_reference_needs_its_own_setting(followed: PressingResponse) -> None:
    """Pressed on the reference stack itself, a film needs its published dwells, and they are sure."""
    needed = without_bands(followed.bond)
    found = dwells_of(needed, followed.bond, np.zeros((0, 2, TIMES_S.size)), [160.0])
    assert pytest.approx((15.0, 20.0, 15.0), abs=0.01) == (found.shortest_s[0], found.longest_s[0], found.sure_s[0])


def test_hotter_is_quicker(followed: PressingResponse) -> None:
    """At a hotter platen the same dose is reached sooner."""
    found = dwells_of(
        without_bands(followed.bond), followed.bond, np.zeros((0, 2, TIMES_S.size)), [150.0, 160.0, 170.0]
    )
    assert bool((np.diff(found.shortest_s) < 0.0).all())


def test_never_hot_enough(followed: PressingResponse) -> None:
    """If the adhesive never softens, no dwell bonds."""
    found = dwells_of(without_bands(followed.bond), followed.bond, np.zeros((0, 2, TIMES_S.size)), [100.0])
    assert (math.inf, math.inf, math.inf) == (found.shortest_s[0], found.longest_s[0], found.sure_s[0])


def test_own_uncertainty_delays_and_shared_does_not(followed: PressingResponse) -> None:
    """A property of the job alone makes the sure dwell longer; one of both stacks cancels."""
    own = np.stack((0.02 * followed.bond, -0.02 * followed.bond))[None]
    level = np.ones(2)  # platens that are all alike, so that the maker allows for nothing
    needed = without_bands(followed.bond)._replace(platen=level)
    in_job = needed._replace(off=np.ones((1, 2)), bands=np.zeros_like(own))
    in_both = needed_dose(followed.bond, own, PUBLISHED, ADHESIVE, ROOM_C)._replace(platen=level)
    plain, alone, shared = (
        dwells_of(each, followed.bond, bands, [160.0]).sure_s[0]
        for each, bands in ((needed, np.zeros((0, 2, TIMES_S.size))), (in_job, own), (in_both, own))
    )
    assert alone > plain + 1.0
    assert pytest.approx(plain, abs=0.05) == shared


def test_allowance_of_the_reference(followed: PressingResponse) -> None:
    """Uncertain properties of the reference alone, and its platens, lower the dose that a setting is sure to give."""
    own = np.stack((0.02 * followed.bond, -0.02 * followed.bond))[None]
    needed = needed_dose(followed.bond, own, PUBLISHED, ADHESIVE, ROOM_C)
    apart, shared = (sure_dose(needed, np.array([own_too]), PUBLISHED, ADHESIVE, ROOM_C) for own_too in (False, True))
    assert apart < shared < needed.shortest_s


def test_one_uncertain_platen(followed: PressingResponse) -> None:
    """With the platen alone uncertain, the sure dwell is the one at the cold end, against the allowance's dose."""
    needed = without_bands(followed.bond)._replace(activation=np.ones(2))
    single = Adhesive(110.0, 100e3, 100e3, 100e3)
    enough = sure_dose(needed, np.zeros(0, dtype=np.bool_), PUBLISHED, single, ROOM_C)
    found = bond_dwells(
        needed,
        followed.bond,
        np.zeros((0, 2, TIMES_S.size)),
        PUBLISHED,
        single,
        platens_c=np.array([160.0]),
        platen_spread_k=6.0,
        room_c=ROOM_C,
    )
    cold = dose(TIMES_S, ROOM_C + 134.0 * followed.bond, 160.0, 110.0, 100e3)
    assert pytest.approx(enough, rel=1e-9) == np.interp(found.sure_s[0], TIMES_S, cold)


def limits(peaks_c: list[float], spread_k: float = 0.0, exposure_s: float = math.inf) -> Limits:
    """Return limits of five layers; the exposure is the upper's at 120 degC."""
    held = np.full(5, math.inf)
    held[2] = exposure_s
    return Limits(np.array(peaks_c), np.full(5, spread_k), np.full(5, 120.0), held, np.full(5, 1e5))


def stood(
    followed: PressingResponse, own: Limits, guard_k: float = 0.0, spread_k: float = 0.0
) -> tuple[Floats, Floats]:
    """Return the dwells that layers stand at 160 degC, nominal and worst, with nothing uncertain in the stack."""
    found = layer_dwells(
        followed,
        np.zeros((0, 2, 16)),
        own,
        platens_c=np.array([160.0]),
        platen_spread_k=spread_k,
        room_c=ROOM_C,
        guard_k=guard_k,
    )
    return found.nominal_s[:, 0], found.worst_s[:, 0]


def test_peak_at_the_longest_dwell_is_the_limit(followed: PressingResponse) -> None:
    """At its longest dwell a layer's peak is its limit, after opening too."""
    own = limits([400.0, 400.0, 135.0, 80.0, 400.0])
    nominal_s, _ = stood(followed, own)
    for layer in (2, 3):
        found = step_peaks(followed.pressed, followed.opened, nominal_s[[layer]], AFTER_S)
        assert pytest.approx(own.peak_c[layer], abs=0.2) == ROOM_C + 140.0 * found.rise[layer, 0]
    assert [math.inf, math.inf, math.inf] == nominal_s[[0, 1, 4]].tolist()


def test_no_dwell_at_all(followed: PressingResponse) -> None:
    """A layer that is too hot after one second stands no dwell."""
    assert stood(followed, limits([60.0, 400.0, 400.0, 400.0, 400.0]))[0][0] == 0.0


@given(guard_k=st.floats(0.0, 20.0), spread_k=st.floats(0.0, 8.0), own_k=st.floats(0.0, 10.0))
@FEW
def test_caution_only_shortens(followed: PressingResponse, guard_k: float, spread_k: float, own_k: float) -> None:
    """A guard, a spread of the platen and a spread of the limit never lengthen a layer's longest dwell."""
    free, _ = stood(followed, limits([400.0, 400.0, 135.0, 80.0, 400.0]))
    nominal_s, worst_s = stood(followed, limits([400.0, 400.0, 135.0, 80.0, 400.0], own_k), guard_k, spread_k)
    assert bool((worst_s <= nominal_s).all())
    assert bool((nominal_s <= free).all())


def test_exposure_limit(followed: PressingResponse) -> None:
    """A layer limited by an exposure has just that exposure at its longest dwell, cooling included."""
    nominal_s, _ = stood(followed, limits([400.0] * 5, exposure_s=40.0))
    found = step_peaks(followed.pressed, followed.opened, nominal_s[[2]], AFTER_S)
    fine_s = np.linspace(0.0, nominal_s[2], 2001)
    face = ROOM_C + 140.0 * np.interp(fine_s, TIMES_S, followed.faces[2])
    had = exposure(fine_s, face, 120.0, 1e5)[-1]
    had += exposure(AFTER_S, ROOM_C + 140.0 * found.cooling[2, 0], 120.0, 1e5)[-1]
    assert pytest.approx(40.0, rel=0.01) == had


def test_bands_combine_as_squares(followed: PressingResponse) -> None:
    """Two equal properties widen a peak's band by the root of two; a property that helps on both sides adds nothing."""
    one = np.zeros((1, 2, 16))
    one[0, 0, 7], one[0, 1, 7] = 0.1, -0.1
    band, twice = (peaks_with_bands(followed, np.repeat(one, count, axis=0))[1] for count in (1, 2))
    assert pytest.approx(math.sqrt(2.0) * band) == twice


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
