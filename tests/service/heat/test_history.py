from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from featherline_service.heat.conduction import Stack, decompose_to_tolerance, modes, temperatures
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.history import Opening, history, node_slopes

DWELL_S = 30.0


def test_the_start_is_cold_and_the_end_is_cold(closed: Stack, opened: Stack) -> None:
    """Everything is at room temperature before the press closes and again after an hour in the room."""
    pressed = decompose_to_tolerance(closed, 1.0, 1e-2)
    found = history(pressed, modes(opened, pressed.layout.orders), DWELL_S, np.array([0.0, 3600.0]))

    assert np.zeros_like(found.nodes) == pytest.approx(found.nodes, abs=1e-3)


def test_opening_is_no_jump(closed: Stack, opened: Stack) -> None:
    """Temperatures are continuous when the press opens."""
    pressed = decompose_to_tolerance(closed, 1.0, 1e-2)
    at = np.array([DWELL_S, DWELL_S + 1e-9])
    before, after = history(pressed, modes(opened, pressed.layout.orders), DWELL_S, at).nodes.T

    assert before == pytest.approx(after, abs=1e-6)


def test_the_press_is_a_step_of_the_platen(closed: Stack, opened: Stack) -> None:
    """While it is closed the history is the solution of conduction with the platen at one and the room at zero."""
    pressed = decompose_to_tolerance(closed, 1.0, 1e-2)
    times = np.array([1.0, 5.0, 17.0, DWELL_S])
    found = history(pressed, modes(opened, pressed.layout.orders), DWELL_S, times)

    assert temperatures(pressed, 0.0, times, 1.0, 0.0) == pytest.approx(found.nodes, abs=1e-12)


def test_the_highest_of_a_layer_is_its_peak(closed: Stack, opened: Stack) -> None:
    """A history's highest values are the peaks that damage is judged by, also of a layer that peaks after opening."""
    pressed = decompose_to_tolerance(closed, 1.0, 1e-2)
    released = modes(opened, pressed.layout.orders)
    after = np.concatenate(([0.0], np.geomspace(0.05, 300.0, 400)))
    found = history(pressed, released, DWELL_S, np.concatenate(([DWELL_S], DWELL_S + after[1:])))
    known = step_peaks(pressed, released, np.array([DWELL_S]), after)

    assert known.rise[:, 0] == pytest.approx(found.layers.max(axis=1), abs=1e-3)
    assert known.after_s[-1, 0] > 1.0


def test_the_bond_line_follows_the_press_and_cools(closed: Stack, opened: Stack) -> None:
    """The upper's face only gets hotter while the press is closed, and only cooler from a second after opening."""
    pressed = decompose_to_tolerance(closed, 1.0, 1e-2)
    times = np.linspace(0.0, 200.0, 801)
    found = history(pressed, modes(opened, pressed.layout.orders), DWELL_S, times)
    bond = found.nodes[pressed.layout.top(2)]

    assert (np.diff(bond[times <= DWELL_S]) >= -1e-6).all()
    assert (np.diff(bond[times >= DWELL_S + 1.0]) <= 0.0).all()


@pytest.mark.parametrize("bared", [0, 1])
def test_the_slopes_are_those_of_stacks_solved_anew(closed: Stack, opened: Stack, bared: int) -> None:
    """Each part changed by a thousandth either way moves a node's history as its slope says, also without its cover."""
    times_s, layers = np.array([1.0, 8.0, DWELL_S, 31.0, 36.0, 90.0]), 5
    orders = decompose_to_tolerance(closed, 1.0, 1e-2).layout.orders

    def opening(stack: Stack) -> Opening:
        left = Stack(*(column[bared:] for column in stack))
        return Opening(left, modes(left, orders[bared:]), bared)

    def solved(ratio: NDArray[np.float64]) -> NDArray[np.float64]:
        def changed(stack: Stack, contacts: NDArray[np.float64]) -> Stack:
            return Stack(
                stack.thickness_m,
                stack.conductivity_w_mk * ratio[:layers],
                stack.capacity_j_m3k * ratio[layers : 2 * layers],
                stack.conductance_w_m2k * contacts,
            )

        pressed = modes(changed(closed, ratio[2 * layers :]), orders)
        # The contact of the platen, or of the layer that was taken off, is the room's air in the open press.
        air = np.where(np.arange(layers + 1) == bared, 1.0, ratio[2 * layers :])
        _, free, _ = opening(changed(opened, air))
        shares = history(pressed, pressed, DWELL_S, times_s).nodes
        start = shares[pressed.layout.firsts[bared] :, 2]
        cooled = temperatures(free, start, times_s[3:] - DWELL_S, 0.0, 0.0)
        return np.concatenate((shares[pressed.layout.top(2), :3], cooled[free.layout.top(2 - bared)]))

    pressed = modes(closed, orders)
    nodes = np.full(times_s.size, pressed.layout.top(2))
    slopes = node_slopes(closed, pressed, opening(opened), nodes, dwell_s=DWELL_S, times_s=times_s)

    for part, slope in enumerate(slopes):
        step = 1e-3 * np.eye(3 * layers + 1)[part]
        assert (solved(1.0 + step) - solved(1.0 - step)) / 2e-3 == pytest.approx(slope, abs=2e-6)
    assert 0.02 < np.abs(slopes[:, 3:]).max()
