"""Quantities of a pressing at any value of the uncertain parameters, and their slopes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from featherline_service.heat.conduction import Stack, decompose_to_tolerance, step
from featherline_service.heat.pressing import DWELLS_S, TIMES_S, TOLERANCE, PressingResponse, pressing_response
from featherline_service.heat.variation import (
    SIGMAS_95,
    Bonding,
    Heating,
    Line,
    bond_margins,
    interface_response,
    interface_temperatures,
    kinetics,
    layer_margins,
    margins_of_pressings,
    needed_doses,
    part_changes,
    shortest_dwells,
    slopes_at,
    solved_stack,
    stack_at,
)
from featherline_service.heat.window import Adhesive, Limits, Published

Floats = NDArray[np.float64]

ROOM_C = 20.0
UPPER = 2
PLATEN, ENERGY, ONSET, SHARE = 16, 17, 18, 19
SIZE = 20
"""One parameter for each of the 16 parts of the shared stack, then those of platen, energy, onset and share."""
LOGS = np.concatenate((np.diag(np.linspace(0.1, 0.3, 16)), np.zeros((4, 16))))
ZERO = np.zeros(SIZE)
FEW = settings(max_examples=drawn(40), deadline=None)


def unit(at: int, size: float = 1.0) -> Floats:
    """Return a change by one parameter alone."""
    return size * np.eye(SIZE)[at]


@pytest.fixture(scope="module")
def response(closed: Stack, opened: Stack) -> PressingResponse:
    """The response of the shared stack."""
    return pressing_response(closed, opened, UPPER)


@pytest.fixture(scope="module")
def bonding(response: PressingResponse) -> Bonding:
    """A film whose published setting was found on the shared stack itself."""
    line = Line(response.bond, response.bond_slopes, LOGS)
    return Bonding(
        job=line,
        reference=line,
        at=ZERO,
        published=Published(160.0, 15.0, 20.0),
        adhesive=Adhesive(110.0, 100e3, 60e3, 150e3),
        room_c=ROOM_C,
        needed_share=0.75,
        platen_k=unit(PLATEN, 2.0),
        onset_k=unit(ONSET, 2.5),
        energy=unit(ENERGY),
        log_share=unit(SHARE, 0.18),
    )


def heating_of(response: PressingResponse, exposure_s: float = math.inf) -> Heating:
    """Return the heating of the shared stack; the exposure is the upper's at 120 degC."""
    held = np.full(5, math.inf)
    held[UPPER] = exposure_s
    limits = Limits(np.array([400.0, 200.0, 150.0, 90.0, 200.0]), np.zeros(5), np.full(5, 120.0), held, np.full(5, 1e5))
    limit_k = np.zeros((5, SIZE))
    limit_k[UPPER, SHARE] = 4.0
    return Heating(response, LOGS, ZERO, limits, ROOM_C, unit(PLATEN, 2.0), limit_k)


def test_changes_of_parts() -> None:
    """A conductance twice as good halves its resistance; a storage twice as large is larger by itself."""
    logs = math.log(2.0) * np.eye(16)
    flow, store = part_changes(logs, np.eye(16)[0]), part_changes(logs, np.eye(16)[5])
    assert pytest.approx((0.5, 1.0)) == (flow[0], store[5])
    assert (1, 1) == (np.count_nonzero(flow), np.count_nonzero(store))


def test_parts_that_change_together() -> None:
    """What one parameter undoes of another leaves no change."""
    logs = np.stack((np.full(16, 0.3), np.full(16, -0.3)))
    assert pytest.approx(np.zeros(16), abs=1e-15) == part_changes(logs, np.ones(2))


def test_stack_with_other_parts(closed: Stack) -> None:
    """Conductivities, capacities and conductances are multiplied; the room's air is no part of the open stack's."""
    logs = np.log([[1.1] * 5 + [1.2] * 5 + [1.3] * 6])
    changed = stack_at(closed, logs, np.ones(1))
    open_ = stack_at(closed, logs, np.ones(1), platen=False)
    assert pytest.approx(1.1 * closed.conductivity_w_mk) == changed.conductivity_w_mk
    assert pytest.approx(1.2 * closed.capacity_j_m3k) == changed.capacity_j_m3k
    assert pytest.approx(1.3 * closed.conductance_w_m2k) == changed.conductance_w_m2k
    assert closed.conductance_w_m2k[0] == open_.conductance_w_m2k[0]
    assert pytest.approx(1.3 * closed.conductance_w_m2k[1:]) == open_.conductance_w_m2k[1:]


@given(seed=st.integers(0, 10_000))
@FEW
def test_bond_line_off_its_point(response: PressingResponse, closed: Stack, seed: int) -> None:
    """With all parts off at random the line is within 2 % of the excess of the stack that is solved anew."""
    z = np.random.default_rng(seed).normal(size=SIZE)
    solved = decompose_to_tolerance(stack_at(closed, LOGS, z), float(DWELLS_S[0]), TOLERANCE)
    expected = solved.shape[solved.layout.top(UPPER)] @ step(solved, TIMES_S)
    line = Line(response.bond, response.bond_slopes, LOGS)
    assert pytest.approx(expected, abs=0.02 + 0.01 * float(np.abs(z).max())) == line.off(z)


def test_energy_at_the_ends_of_its_band(bonding: Bonding) -> None:
    """At plus and minus 1.96 the activation energy is at the ends of its band, the onset 1.96 deviations off."""
    found = kinetics(bonding, np.stack((ZERO, unit(ENERGY, SIGMAS_95), unit(ENERGY, -SIGMAS_95), unit(ONSET))))
    assert pytest.approx([100e3, 150e3, 60e3, 100e3]) == found.activation_j_mol
    assert pytest.approx([110.0, 110.0, 110.0, 112.5]) == found.onset_c


def test_needed_share(bonding: Bonding) -> None:
    """A film that needs three quarters of what the shortest published dwell gives is bonded sooner, all of it then."""
    full = bonding._replace(needed_share=1.0)
    platen = np.array([160.0])
    assert pytest.approx(15.0, abs=0.01) == shortest_dwells(full, ZERO[None], platen)[0, 0]
    assert shortest_dwells(bonding, ZERO[None], platen)[0, 0] < 15.0
    assert pytest.approx(0.75 * needed_doses(full, ZERO[None])) == needed_doses(bonding, ZERO[None])
    more = needed_doses(bonding, unit(SHARE)[None])
    assert pytest.approx(math.exp(0.18)) == float(more[0] / needed_doses(bonding, ZERO[None])[0])


def margin(bonding: Bonding, z: Floats, platen_c: float, dwell_s: float) -> tuple[float, Floats]:
    """Return the margin of one pressing and its slopes."""
    value, slopes = bond_margins(bonding, z, np.array([platen_c]), np.array([dwell_s]))
    return float(value[0]), slopes[0]


def test_bond_margin(bonding: Bonding) -> None:
    """The margin is the logarithm of the dwell over the shortest, and its slopes those of that."""
    value, slopes = margin(bonding, ZERO, 160.0, 20.0)
    shortest = shortest_dwells(bonding, ZERO[None], np.array([160.0]))[0, 0]
    assert pytest.approx(math.log(20.0 / shortest)) == value
    assert (True, True) == (bool(slopes[PLATEN] > 0.0), bool(slopes[SHARE] < 0.0))
    moved, _ = margin(bonding, unit(SHARE, 0.3), 160.0, 20.0)
    assert pytest.approx(value + 0.3 * slopes[SHARE], abs=2e-3) == moved


def test_margins_of_several_pressings(bonding: Bonding) -> None:
    """Pressings at several settings have the margins that each has alone."""
    platens, dwells = np.array([160.0, 150.0, 160.0]), np.array([20.0, 30.0, 15.0])
    value, slopes = bond_margins(bonding, ZERO, platens, dwells)
    for at, (platen_c, dwell_s) in enumerate(zip(platens, dwells, strict=True)):
        alone, its_slopes = margin(bonding, ZERO, platen_c, dwell_s)
        assert pytest.approx(alone) == value[at]
        assert pytest.approx(its_slopes) == slopes[at]


def test_same_change_of_job_and_reference_cancels_nearly(bonding: Bonding) -> None:
    """On the reference stack itself the parts go with both sides: only the needed share, platen and energy matter."""
    _, slopes = margin(bonding._replace(needed_share=1.0), ZERO, 160.0, 15.0)
    assert pytest.approx(np.zeros(16), abs=1e-3) == slopes[:16]


def test_beyond_the_longest_dwell(bonding: Bonding) -> None:
    """A dwell beyond those that are computed still has its margin, and a line that never softens the least one."""
    value, slopes = margin(bonding._replace(needed_share=40.0), ZERO, 160.0, 30.0)
    assert -3.0 < value < math.log(30.0 / TIMES_S[-1])
    assert np.abs(slopes).max() > 0.1
    cold, flat = margin(bonding, ZERO, 90.0, 30.0)
    assert (-3.0, 0.0) == (cold, float(np.abs(flat).max()))


def test_layer_margins(response: PressingResponse) -> None:
    """A layer's margin is its limit less its peak; a hotter platen takes from it what the layer rises by."""
    dwell = float(DWELLS_S[11])
    found = layer_margins(heating_of(response), ZERO, 160.0, dwell)
    rise = response.peaks.rise[:, 11]
    assert pytest.approx(np.array([400.0, 200.0, 150.0, 90.0, 200.0]) - 20.0 - 140.0 * rise) == found.value_k
    assert pytest.approx(-2.0 * rise) == found.slopes[:, PLATEN]
    assert (4.0, 0.0) == (pytest.approx(found.slopes[UPPER, SHARE]), found.slopes[0, SHARE])


def test_layer_margins_of_several_pressings(response: PressingResponse) -> None:
    """Pressings that are taken together have the margins and slopes that each has alone, to the last bit."""
    heating = heating_of(response)
    limits = heating.limits
    heating = heating._replace(
        limits=limits._replace(
            exposure_c=np.full(5, 120.0),
            exposure_s=np.array([math.inf, math.inf, 60.0, 60.0, math.inf]),
            exposure_j_mol=np.full(5, 1e5),
        )
    )
    point, settings_ = np.linspace(-0.8, 0.8, SIZE), [(150.0, 12.0), (160.0, 30.0), (160.0, 118.0)]
    together = margins_of_pressings(heating, point, *map(np.array, zip(*settings_, strict=True)))
    for at, setting in enumerate(settings_):
        value, slopes = layer_margins(heating, point, *setting)
        assert (True, True) == ((value == together.value_k[at]).all(), (slopes == together.slopes[at]).all())


def test_slopes_of_layer_margins(response: PressingResponse) -> None:
    """The slopes are the differences of the margins, away from where the stack was solved too."""
    heating, dwell = heating_of(response), 25.0
    point = np.linspace(-0.8, 0.8, SIZE)
    found = layer_margins(heating, point, 160.0, dwell)
    for at in range(SIZE):
        high, low = (layer_margins(heating, point + unit(at, side), 160.0, dwell).value_k for side in (1e-4, -1e-4))
        assert pytest.approx((high - low) / 2e-4, rel=1e-4, abs=1e-6) == found.slopes[:, at]


def test_layer_margins_off_their_point(response: PressingResponse, closed: Stack, opened: Stack) -> None:
    """With all parts off at random: against the stack solved anew, half are within 1.5 K, 95 in 100 within 9 K."""
    heating, dwell = heating_of(response), float(DWELLS_S[12])
    errors_k = []
    for seed in range(drawn(400)):
        z = np.random.default_rng(seed).normal(size=SIZE)
        solved = pressing_response(stack_at(closed, LOGS, z), stack_at(opened, LOGS, z, platen=False), UPPER)
        moved = heating._replace(response=solved, at=z)
        expected_k, found_k = (layer_margins(at, z, 160.0, dwell).value_k for at in (moved, heating))
        errors_k.append(float(np.max(np.abs(found_k - expected_k))))
    half, most = np.percentile(errors_k, [50, 95])
    assert half < 1.5
    assert most < 9.0


def test_margin_of_an_exposure(response: PressingResponse) -> None:
    """At the dwell that just uses up an exposure its margin is zero, and it is below zero beyond."""
    heating = heating_of(response, exposure_s=40.0)
    margins = [layer_margins(heating, ZERO, 160.0, dwell).value_k[UPPER] for dwell in (10.0, 30.0, 60.0)]
    free = [layer_margins(heating_of(response), ZERO, 160.0, dwell).value_k[UPPER] for dwell in (10.0, 30.0, 60.0)]
    assert sorted(margins, reverse=True) == margins
    assert all(margin <= without for margin, without in zip(margins, free, strict=True))
    assert margins[2] < 0.0


def test_interface_is_the_bond_line(response: PressingResponse, closed: Stack) -> None:
    """The upper's upper face is the bond line."""
    found = interface_response(solved_stack(closed), UPPER, TIMES_S)
    assert pytest.approx(response.bond) == found.share
    assert pytest.approx(response.bond_slopes) == found.slopes


def test_interface_temperatures(closed: Stack) -> None:
    """The slopes are those of the stack solved anew at either side, and of the platen."""
    times = np.array([5.0, 20.0])
    found = interface_response(solved_stack(closed), 3, times)
    value, slopes = interface_temperatures(found, LOGS, ZERO, platen_c=160.0, platen_k=unit(PLATEN, 2.0), room_c=ROOM_C)
    assert pytest.approx(ROOM_C + 140.0 * found.share) == value
    assert pytest.approx(2.0 * found.share) == slopes[:, PLATEN]
    for at in (2, 7, 13):
        high, low = (
            interface_response(solved_stack(stack_at(closed, LOGS, unit(at, side))), 3, times).share
            for side in (0.01, -0.01)
        )
        assert pytest.approx(140.0 * (high - low) / 0.02, abs=2e-3) == slopes[:, at]


def test_differences_of_a_line_are_its_slopes() -> None:
    """Central differences of a linear function are exact."""
    slopes = np.array([1.0, -2.0, 0.5])
    value, found = slopes_at(lambda z: 3.0 + z @ slopes, np.ones(3))
    assert pytest.approx(2.5) == value
    assert pytest.approx(slopes) == found
