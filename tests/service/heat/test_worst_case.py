"""Windows at the worst case, along the directions of what is known of the parameters."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from featherline_service.heat.bond import dose, time_of_dose
from featherline_service.heat.conduction import Stack, modes
from featherline_service.heat.damage import exposure, step_peaks
from featherline_service.heat.history import Opening, history, node_slopes
from featherline_service.heat.pressing import (
    AFTER_S,
    BAND_DWELLS,
    DWELLS_S,
    TIMES_S,
    PressingResponse,
    pressing_response,
)
from featherline_service.heat.variation import (
    SIGMAS_95,
    Bonding,
    Heating,
    Line,
    job_doses,
    part_changes,
    published_doses,
    shortest_dwells,
    stack_at,
)
from featherline_service.heat.window import FINE, Adhesive, Limits, Published
from featherline_service.heat.worst_case import (
    Spread,
    bond_dwells,
    layer_dwells,
    peak_bands,
    temperature_band,
    unharmed_dwells,
)

Floats = NDArray[np.float64]

ROOM_C = 20.0
PLATENS_C = np.array([150.0, 160.0, 170.0])
SIZE = 20
PLATEN, ENERGY, SHARE, LIMIT = 16, 17, 18, 19
LOGS = np.concatenate((np.diag(np.linspace(0.05, 0.25, 16)), np.zeros((4, 16))))
PRIOR = Spread(np.zeros(SIZE), np.eye(SIZE))
FEW = settings(max_examples=drawn(60), deadline=None)


def unit(at: int, size: float = 1.0) -> Floats:
    """Return a change by one parameter alone."""
    return size * np.eye(SIZE)[at]


@pytest.fixture(scope="module")
def response(closed: Stack, opened: Stack) -> PressingResponse:
    """The response of the shared stack."""
    return pressing_response(closed, opened, 2)


@pytest.fixture(scope="module")
def bonding(response: PressingResponse) -> Bonding:
    """A film on the shared stack, with a reference that has none of its parameters."""
    return Bonding(
        job=Line(response.bond, response.bond_slopes, LOGS),
        reference=Line(response.bond, response.bond_slopes, np.zeros((SIZE, 16))),
        at=np.zeros(SIZE),
        published=Published(160.0, 15.0, 20.0, 60.0),
        adhesive=Adhesive(110.0, 100e3, 60e3, 150e3),
        room_c=ROOM_C,
        needed_share=1.0,
        platen_k=unit(PLATEN, 2.0),
        onset_k=np.zeros(SIZE),
        energy=unit(ENERGY),
        log_share=unit(SHARE, 0.18),
    )


@pytest.fixture(scope="module")
def heating(response: PressingResponse) -> Heating:
    """The shared stack's layers, of which one is limited by an exposure too."""
    held = np.array([math.inf, math.inf, 200.0, math.inf, math.inf])
    limits = Limits(np.array([400.0, 200.0, 150.0, 90.0, 200.0]), np.zeros(5), np.full(5, 120.0), held, np.full(5, 1e5))
    limit_k = np.zeros((5, SIZE))
    limit_k[:, LIMIT] = 5.0
    return Heating(response, LOGS, np.zeros(SIZE), limits, ROOM_C, unit(PLATEN, 2.0), limit_k)


def test_nothing_uncertain(bonding: Bonding) -> None:
    """With nothing uncertain the dwells are the published ones, and sure."""
    found = bond_dwells(bonding, Spread(np.zeros(SIZE), np.zeros((SIZE, SIZE))), np.array([160.0]))
    assert pytest.approx((15.0, 20.0, 60.0, 15.0), abs=0.02) == tuple(float(dwells[0]) for dwells in found)


def test_no_harm_is_no_end(bonding: Bonding) -> None:
    """Where no harm to the film is known, no dwell harms it."""
    harmless = bonding._replace(published=Published(160.0, 15.0, 20.0))
    assert math.inf == bond_dwells(harmless, PRIOR, np.array([160.0])).harmed_s[0]


def test_no_dwell_is_too_long_for_a_film_without_a_harm(bonding: Bonding) -> None:
    """Without a harm on record, or with one beyond two minutes, no dwell ends the window."""
    for harmed_s in (math.inf, 1e4):
        free = bonding._replace(published=bonding.published._replace(harmed_s=harmed_s))
        assert [math.inf] * 3 == unharmed_dwells(free, PRIOR, PLATENS_C).tolist()


def test_the_dwell_that_surely_leaves_a_film_unharmed_against_draws(bonding: Bonding) -> None:
    """About 975 of 1,000 draws harm the film later; with nothing uncertain it is harmed where the dose says."""
    soon = bonding._replace(published=bonding.published._replace(harmed_s=30.0))
    (sure_s,) = unharmed_dwells(soon, PRIOR, np.array([160.0])).tolist()
    z = np.random.default_rng(11).standard_normal((2000, SIZE))
    goal = published_doses(soon, z, 30.0)
    harmed_s = time_of_dose(TIMES_S, job_doses(soon, z, np.array([160.0]))[:, 0], goal)
    certain = Spread(np.zeros(SIZE), np.zeros((SIZE, SIZE)))

    assert 0.965 < float((harmed_s > sure_s).mean()) < 0.99
    nominal_s = bond_dwells(soon, PRIOR, np.array([160.0])).harmed_s[0]
    assert sure_s < 0.9 * nominal_s
    assert nominal_s == pytest.approx(unharmed_dwells(soon, certain, np.array([160.0]))[0])
    assert bool((np.diff(unharmed_dwells(soon, PRIOR, PLATENS_C)) < 0.0).all())


def test_one_direction_is_its_end(bonding: Bonding) -> None:
    """With one parameter uncertain, the sure dwell is the one at the end of its band that hurts."""
    for at in (2, PLATEN, SHARE):
        root = np.zeros((SIZE, SIZE))
        root[at, at] = 1.0
        sure = bond_dwells(bonding, Spread(np.zeros(SIZE), root), np.array([160.0])).sure_s[0]
        ends = shortest_dwells(bonding, np.stack((unit(at, SIGMAS_95), unit(at, -SIGMAS_95))), np.array([160.0]))
        assert pytest.approx(float(ends.max())) == sure


@given(seed=st.integers(0, 10_000))
@FEW
def test_any_root_of_a_covariance_is_worst_alike(bonding: Bonding, seed: int) -> None:
    """Which root of the covariance the directions come from hardly matters."""
    turn, _ = np.linalg.qr(np.random.default_rng(seed).normal(size=(SIZE, SIZE)))
    turned = Spread(np.zeros(SIZE), turn)
    found, plain = (bond_dwells(bonding, known, np.array([160.0])).sure_s[0] for known in (turned, PRIOR))
    assert pytest.approx(plain, rel=0.03) == found


def test_against_draws(bonding: Bonding) -> None:
    """The sure dwell is the 97.5th percentile of 20,000 draws of correlated parameters, within 3 %."""
    random = np.random.default_rng(8037)
    half = 0.15 * random.normal(size=(SIZE, SIZE))
    value, vector = np.linalg.eigh(half @ half.T)
    known = Spread(0.3 * random.normal(size=SIZE), (vector * np.sqrt(value)) @ vector.T)
    z = known.mean + random.normal(size=(20_000, SIZE)) @ known.root
    dwells = shortest_dwells(bonding, z, np.array([160.0]))[:, 0]
    found = bond_dwells(bonding, known, np.array([160.0]))
    assert pytest.approx(np.quantile(dwells, 0.975), rel=0.03) == found.sure_s[0]
    assert pytest.approx(np.median(dwells), rel=0.03) == found.shortest_s[0]


def test_never_hot_enough(bonding: Bonding) -> None:
    """At a platen that never softens the adhesive no dwell bonds; at one that may not, none is sure."""
    found = bond_dwells(bonding, PRIOR, np.array([100.0, 160.0]))
    assert (math.inf, math.inf) == (found.shortest_s[0], found.sure_s[0])
    assert math.isfinite(found.sure_s[1])


def test_layers_at_the_prior_are_those_of_each_property_alone(heating: Heating, response: PressingResponse) -> None:
    """With independent parameters a peak's spread is the root of the squares of each property's, high or low."""
    table = np.stack([part_changes(LOGS, side * SIGMAS_95 * np.eye(SIZE)[:16]) for side in (1.0, -1.0)], axis=1)
    changes = 140.0 * np.tensordot(table, response.peak_slopes, axes=1)
    rise = response.peaks.rise[:, BAND_DWELLS]
    squares = (np.maximum(changes.max(axis=1), 0.0) ** 2).sum(axis=0)
    expected = np.sqrt(squares + (SIGMAS_95 * 2.0 * rise) ** 2 + (SIGMAS_95 * 5.0) ** 2)
    bands = peak_bands(heating, PRIOR, np.array([160.0]))
    assert pytest.approx(expected) == bands.spread_k[:, 0, BAND_DWELLS * FINE]
    assert pytest.approx(140.0 * rise) == bands.rise_k[:, 0, BAND_DWELLS * FINE]


def limited(heating: Heating, peaks_c: list[float], spread_k: float = 0.0, exposure_s: float = math.inf) -> Heating:
    """Return the shared stack with other limits, known to a spread (95 %); the exposure is the upper's at 120 degC."""
    held = np.full(5, math.inf)
    held[2] = exposure_s
    limits = Limits(np.array(peaks_c), np.full(5, spread_k), np.full(5, 120.0), held, np.full(5, 1e5))
    limit_k = np.zeros((5, SIZE))
    limit_k[:, LIMIT] = spread_k / SIGMAS_95
    return heating._replace(limits=limits, limit_k=limit_k)


def stood(heating: Heating, guard_k: float = 0.0, platen_k: float = 0.0) -> tuple[Floats, Floats]:
    """Return the dwells that layers stand at 160 degC, nominal and worst, with nothing uncertain in the stack."""
    steady = heating._replace(logs=np.zeros_like(LOGS), platen_k=unit(PLATEN, platen_k / SIGMAS_95))
    found = layer_dwells([(steady, PRIOR)], np.array([160.0]), guard_k=guard_k)[0]
    return found.nominal_s[:, 0], found.worst_s[:, 0]


def test_peak_at_the_longest_dwell_is_the_limit(heating: Heating, response: PressingResponse) -> None:
    """At its longest dwell a layer's peak is its limit, after opening too."""
    own = limited(heating, [400.0, 400.0, 135.0, 80.0, 400.0])
    nominal_s, _ = stood(own)
    for layer in (2, 3):
        found = step_peaks(response.pressed, response.opened, nominal_s[[layer]], AFTER_S)
        assert pytest.approx(own.limits.peak_c[layer], abs=0.2) == ROOM_C + 140.0 * found.rise[layer, 0]
    assert [math.inf, math.inf, math.inf] == nominal_s[[0, 1, 4]].tolist()


def test_no_dwell_at_all(heating: Heating) -> None:
    """A layer that is too hot after one second stands no dwell."""
    assert stood(limited(heating, [60.0, 400.0, 400.0, 400.0, 400.0]))[0][0] == 0.0


@given(guard_k=st.floats(0.0, 20.0), spread_k=st.floats(0.0, 8.0), own_k=st.floats(0.0, 10.0))
@FEW
def test_caution_only_shortens(heating: Heating, guard_k: float, spread_k: float, own_k: float) -> None:
    """A guard, a spread of the platen and a spread of the limit never lengthen a layer's longest dwell."""
    free, _ = stood(limited(heating, [400.0, 400.0, 135.0, 80.0, 400.0]))
    nominal_s, worst_s = stood(limited(heating, [400.0, 400.0, 135.0, 80.0, 400.0], own_k), guard_k, spread_k)
    assert bool((worst_s <= nominal_s).all())
    assert bool((nominal_s <= free).all())


def test_exposure_limit(heating: Heating, response: PressingResponse) -> None:
    """A layer limited by an exposure has just that exposure at its longest dwell, cooling included."""
    nominal_s, _ = stood(limited(heating, [400.0] * 5, exposure_s=40.0))
    found = step_peaks(response.pressed, response.opened, nominal_s[[2]], AFTER_S)
    fine_s = np.linspace(0.0, nominal_s[2], 2001)
    face = ROOM_C + 140.0 * np.interp(fine_s, TIMES_S, response.faces[2])
    had = exposure(fine_s, face, 120.0, 1e5)[-1]
    had += exposure(AFTER_S, ROOM_C + 140.0 * found.cooling[2, 0], 120.0, 1e5)[-1]
    assert pytest.approx(40.0, rel=0.01) == had


def test_hotter_is_quicker(bonding: Bonding) -> None:
    """At a hotter platen the same dose is reached sooner."""
    assert bool((np.diff(bond_dwells(bonding, PRIOR, PLATENS_C).shortest_s) < 0.0).all())


def test_own_uncertainty_delays_and_shared_does_not(bonding: Bonding) -> None:
    """A property of the job alone makes the sure dwell longer; one of both stacks cancels."""
    root = np.zeros((SIZE, SIZE))
    root[2, 2] = 1.0
    known = Spread(np.zeros(SIZE), root)
    both = bonding._replace(reference=bonding.job)
    alone, shared = (bond_dwells(each, known, np.array([160.0])).sure_s[0] for each in (bonding, both))
    assert alone > 15.5
    assert pytest.approx(15.0, abs=0.05) == shared


def test_one_uncertain_platen(bonding: Bonding) -> None:
    """With the platen alone uncertain, the sure dwell is the one at the cold end."""
    root = np.zeros((SIZE, SIZE))
    root[PLATEN, PLATEN] = 1.0
    strays = bonding._replace(platen_k=unit(PLATEN, 6.0 / SIGMAS_95))
    sure_s = bond_dwells(strays, Spread(np.zeros(SIZE), root), np.array([160.0])).sure_s[0]
    cold = dose(TIMES_S, ROOM_C + 134.0 * bonding.job.share, 160.0, 110.0, 100e3)
    enough = dose(TIMES_S, ROOM_C + 140.0 * bonding.job.share, 160.0, 110.0, 100e3)
    assert pytest.approx(np.interp(15.0, TIMES_S, enough), rel=1e-9) == np.interp(sure_s, TIMES_S, cold)


def test_mean_moves_the_nominal_end(heating: Heating) -> None:
    """A hotter platen and a lower limit end the window sooner; better insulation above ends it later."""
    nothing = np.zeros((SIZE, SIZE))
    plain, hot, low, shielded = (
        layer_dwells([(heating, Spread(mean, nothing))], PLATENS_C, guard_k=0.0)[0]
        for mean in (np.zeros(SIZE), unit(PLATEN), unit(LIMIT, -1.0), unit(10, -2.0))
    )
    assert bool((hot.nominal_s[2] < plain.nominal_s[2]).all())
    assert bool((low.nominal_s[2] < plain.nominal_s[2]).all())
    assert bool((shielded.nominal_s[2] > plain.nominal_s[2]).all())
    assert plain.nominal_s.tolist() == plain.worst_s.tolist()


@given(seed=st.integers(0, 10_000), guard_k=st.floats(0.0, 20.0))
@FEW
def test_worst_case_is_never_better(heating: Heating, bonding: Bonding, seed: int, guard_k: float) -> None:
    """Whatever is known, the worst case is inside the nominal window."""
    random = np.random.default_rng(seed)
    half = 0.2 * random.normal(size=(SIZE, SIZE))
    known = Spread(0.5 * random.normal(size=SIZE), half @ half.T)
    (layers,), bond = (
        layer_dwells([(heating, known)], PLATENS_C, guard_k=guard_k),
        bond_dwells(bonding, known, PLATENS_C),
    )
    assert bool((layers.worst_s <= layers.nominal_s).all())
    assert bool((bond.sure_s >= bond.shortest_s).all())


def test_the_band_of_a_temperature_is_that_of_its_peak(
    closed: Stack, opened: Stack, heating: Heating, response: PressingResponse
) -> None:
    """At the time of a layer's peak the band ends where the peak's own worst case is, whatever its limit."""
    pressed, dwell = response.pressed, int(BAND_DWELLS[2])
    surely = heating._replace(limit_k=np.zeros_like(heating.limit_k))
    rise_k, spread_k = (table[:, 1, dwell * FINE] for table in peak_bands(surely, PRIOR, PLATENS_C))
    dwell_s = float(DWELLS_S[dwell])
    for layer in (2, 4):
        at_s = np.array([dwell_s + response.peaks.after_s[layer, dwell]])
        node = response.peaks.node[layer, [dwell]]
        share = history(pressed, response.opened, dwell_s, at_s).nodes[node[0]]
        opening = Opening(opened, response.opened)
        slopes = node_slopes(closed, pressed, opening, node, dwell_s=dwell_s, times_s=at_s)
        band = temperature_band(surely, PRIOR, float(PLATENS_C[1]), share=share, slopes=slopes)

        assert ROOM_C + rise_k[layer] + spread_k[layer] == pytest.approx(float(band.high_c[0]), abs=0.1)
        assert ROOM_C < band.low_c[0] < ROOM_C + rise_k[layer]


def test_the_band_of_a_temperature_against_draws(
    closed: Stack, opened: Stack, heating: Heating, response: PressingResponse
) -> None:
    """Of 200 stacks drawn and solved, about 95 in 100 have their bond line within its band, at any time."""
    times_s, orders = np.array([3.0, 12.0, 30.0, 33.0, 50.0]), response.pressed.layout.orders
    nodes = np.full(times_s.size, response.pressed.layout.top(2))
    opening = Opening(opened, response.opened)
    slopes = node_slopes(closed, response.pressed, opening, nodes, dwell_s=30.0, times_s=times_s)
    share = history(response.pressed, response.opened, 30.0, times_s).nodes[nodes[0]]
    low_c, high_c = temperature_band(heating, PRIOR, 160.0, share=share, slopes=slopes)
    within = np.zeros(times_s.size)
    for z in np.random.default_rng(5).standard_normal((200, SIZE)):
        pressed = modes(stack_at(closed, heating.logs, z), orders)
        released = modes(stack_at(opened, heating.logs, z, platen=False), orders)
        over = float(heating.excess_k(np.array(160.0), z))
        drawn_c = ROOM_C + over * history(pressed, released, 30.0, times_s).nodes[nodes[0]]
        within += (low_c <= drawn_c) & (drawn_c <= high_c)

    assert (within >= 180).all()
    assert (within <= 199).all()


def test_no_band_goes_below_the_room(heating: Heating) -> None:
    """However badly a stack is known, nothing in it gets colder than the room."""
    share, slopes = np.array([0.0, 0.1]), np.full((16, 2), 9.0)
    low_c, high_c = temperature_band(heating, PRIOR, 160.0, share=share, slopes=slopes)

    assert [ROOM_C, ROOM_C] == low_c.tolist()
    assert (high_c > ROOM_C + 14.0).all()
