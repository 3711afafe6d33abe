"""Peaks of the layers, and their times."""

from __future__ import annotations

import numpy as np
import pytest

from featherline_service.heat.conduction import Stack, evolve, modes
from featherline_service.heat.damage import exposure, step_peaks
from featherline_service.heat.pressing import AFTER_S

ORDERS = (5, 5, 9, 6, 10)
DWELLS_S = np.array([3.0, 15.0, 35.0, 90.0])


def test_peaks_by_brute_force(closed: Stack, opened: Stack) -> None:
    """Peaks agree with temperatures computed every tenth of a second, within 0.1 K of 140 K."""
    pressed, released = modes(closed, ORDERS), modes(opened, ORDERS)
    found = step_peaks(pressed, released, DWELLS_S, AFTER_S)
    fine_s = np.arange(0.0, 200.0, 0.1)
    for at, dwell_s in enumerate(DWELLS_S):
        start = (pressed.shape @ evolve(pressed, np.zeros(pressed.layout.size), [dwell_s], 1.0, 0.0))[:, 0]
        begin = released.shape.T @ (released.mass_j_m2k * start)
        history = released.shape @ (begin[:, None] * np.exp(-released.rate_per_s[:, None] * fine_s))
        for layer in range(len(ORDERS)):
            layered = history[pressed.layout.nodes(layer)].max(axis=0)
            assert pytest.approx(layered.max(), abs=7e-4) == found.rise[layer, at]
            assert pytest.approx(fine_s[layered.argmax()], rel=0.2, abs=0.3) == found.after_s[layer, at]


def test_deeper_layers_peak_later(closed: Stack, opened: Stack) -> None:
    """The film is hottest when the press opens; the lining and the pad get hotter still after that."""
    found = step_peaks(modes(closed, ORDERS), modes(opened, ORDERS), DWELLS_S, AFTER_S)
    assert (0.0, True, True) == (
        found.after_s[1, 1],
        bool(found.after_s[3, 1] > 0.0),
        bool(found.after_s[4, 1] > found.after_s[3, 1]),
    )
    assert bool((found.rise[3:] >= found.pressing[3:]).all())


def test_longer_is_never_cooler(closed: Stack, opened: Stack) -> None:
    """A longer press gives no layer a lower peak."""
    found = step_peaks(modes(closed, ORDERS), modes(opened, ORDERS), np.linspace(1.0, 120.0, 60), AFTER_S)
    assert bool((np.diff(found.rise, axis=1) >= -1e-9).all())


def test_exposure_at_the_reference_is_the_time() -> None:
    """At the reference temperature exposure is the time; ten kelvin hotter it is the time times Arrhenius' factor."""
    times = np.linspace(0.0, 30.0, 31)
    held, hotter = (exposure(times, np.full(31, 150.0 + more), 150.0, 110e3)[-1] for more in (0.0, 10.0))
    factor = np.exp(110e3 / 8.314462618 * (1.0 / 423.15 - 1.0 / 433.15))
    assert pytest.approx((30.0, 30.0 * factor)) == (held, hotter)
