"""First derivatives from the modes against differences of recomputed stacks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from featherline_service.heat.conduction import Modes, Stack, amplitudes, evolve, modes, validated
from featherline_service.heat.sensitivity import (
    decay_slopes_at,
    parts,
    step_amplitude_slopes,
    step_slope,
    step_slopes_at,
)

Floats = NDArray[np.float64]

ORDERS = (4, 4, 7, 8)
LAYERS = len(ORDERS)
PARTS = 3 * LAYERS + 1
STACK = validated(
    Stack(
        np.array([2e-4, 1e-4, 1.4e-3, 4e-3]),
        np.array([0.35, 0.2, 0.12, 0.2]),
        np.array([1.3e6, 2e6, 1.3e6, 1.5e6]),
        np.array([1200.0, 1300.0, math.inf, 600.0, 500.0]),
    )
)
TIMES_S = np.array([0.5, 2.0, 10.0, 60.0])
SMALL = 1e-5


def changed(own: Stack, part: int, by: float) -> Stack:
    """Return a stack with one of its parts changed by a relative amount."""
    values = [own.conductivity_w_mk.copy(), own.capacity_j_m3k.copy(), own.conductance_w_m2k.copy()]
    which = min(part // LAYERS, 2)
    values[which][part - which * LAYERS] *= 1.0 + by
    return Stack(own.thickness_m, *values)


def step(solved: Modes, times_s: Floats) -> Floats:
    """Return nodal temperatures of a unit step."""
    return np.asarray(solved.shape @ evolve(solved, np.zeros(solved.layout.size), times_s, 1.0, 0.0))


def difference(own: Stack, part: int, response: object) -> Floats:
    """Return the central difference of a response of a stack by one of its parts."""
    high, low = (response(modes(changed(own, part, by), ORDERS)) for by in (SMALL, -SMALL))  # type: ignore[operator]
    return np.asarray((high - low) / (2.0 * SMALL))


def test_step() -> None:
    """The derivatives of a step agree at every node and time, for every part."""
    solved = modes(STACK, ORDERS)
    slopes = step_slopes_at(step_slope(solved, parts(STACK, solved)), solved.shape, TIMES_S)
    expected = [difference(STACK, part, lambda each: step(each, TIMES_S)) for part in range(PARTS)]
    assert pytest.approx(np.array(expected), abs=2e-6) == slopes


def test_step_amplitudes_are_the_same_slopes() -> None:
    """The derivatives of the amplitudes, summed at the nodes, are the derivatives at the nodes."""
    solved = modes(STACK, ORDERS)
    slope = step_slope(solved, parts(STACK, solved))
    together = np.einsum("nm,pmt->pnt", solved.shape, step_amplitude_slopes(slope, TIMES_S))
    assert pytest.approx(step_slopes_at(slope, solved.shape, TIMES_S), abs=1e-9) == together


def test_decay() -> None:
    """The derivatives of a free decay from a held start agree at pairs of node and time, for every part."""
    own = STACK._replace(conductance_w_m2k=np.array([14.0, 80.0, math.inf, 40.0, 500.0]))
    solved = modes(own, ORDERS)
    start = np.linspace(1.0, 0.0, solved.layout.size)
    nodes, times = np.array([2, 9, 15, 22]), np.array([0.5, 3.0, 20.0, 80.0])
    slopes = decay_slopes_at(
        solved, parts(own, solved), amplitudes(solved, start)[None], solved.shape[nodes][None], times[None]
    )[:, 0]

    def response(each: Modes) -> Floats:
        decayed = each.shape @ (amplitudes(each, start)[:, None] * np.exp(-each.rate_per_s[:, None] * times))
        return np.asarray(decayed[nodes, np.arange(4)])

    assert pytest.approx(np.array([difference(own, part, response) for part in range(PARTS)]), abs=2e-6) == slopes


def test_parts_add_up() -> None:
    """Between the modes the flows add up to the rates and the storage to one."""
    solved = modes(STACK, ORDERS)
    split = parts(STACK, solved)
    stores = split.between[split.stores].sum(axis=0)
    flows = split.between.sum(axis=0) - stores
    assert pytest.approx(np.diag(solved.rate_per_s), abs=1e-6 * solved.rate_per_s[-1]) == flows
    assert pytest.approx(np.eye(solved.layout.size), abs=1e-9) == stores


def test_rates_that_fall_together() -> None:
    """Two equal insulated layers that hardly touch have pairs of equal rates; the derivatives stay finite and right."""
    twin = validated(Stack(np.full(2, 1e-3), np.full(2, 0.2), np.full(2, 1e6), np.array([500.0, 1e-6, 500.0])))
    solved = modes(twin, (5, 5))
    slopes = step_slopes_at(step_slope(solved, parts(twin, solved)), solved.shape, TIMES_S)
    high, low = (
        step(modes(twin._replace(conductivity_w_mk=np.array([0.2 * by, 0.2])), (5, 5)), TIMES_S)
        for by in (1.0 + SMALL, 1.0 - SMALL)
    )
    assert pytest.approx((high - low) / (2.0 * SMALL), abs=2e-5) == slopes[0]
