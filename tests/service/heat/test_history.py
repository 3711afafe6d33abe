from __future__ import annotations

import numpy as np
import pytest

from featherline_service.heat.conduction import Stack, decompose_to_tolerance, modes, temperatures
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.history import history

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
