"""Wait for the bond line to cool."""

from __future__ import annotations

import math

import numpy as np
import pytest

from featherline_service.heat.conduction import Stack, modes, validated
from featherline_service.heat.cooling import BLOCK_W_M2K, cooling_time, temperature_after


def test_lumped_sheet() -> None:
    """A thin sheet cools as one lump: t = rho c L / h ln(excess ratio) (Cengel & Ghajar, equation 4-4)."""
    sheet = validated(Stack(np.array([1e-4]), np.array([50.0]), np.array([2e6]), np.array([10.0, 10.0])))
    expected_s = 2e6 * 1e-4 / 20.0 * math.log((140.0 - 20.0) / (60.0 - 20.0))
    cooling = modes(sheet, (3,))
    waited_s = cooling_time(cooling, np.full(4, 140.0), 0, 60.0, 20.0)
    assert pytest.approx(expected_s, rel=1e-4) == waited_s
    assert pytest.approx(60.0, abs=1e-6) == temperature_after(cooling, np.full(4, 140.0), 0, waited_s, 20.0)


def test_cool_enough_needs_no_wait(opened: Stack) -> None:
    """A node that is cool enough at once needs no wait."""
    cooling = modes(opened, (4, 4, 7, 4, 8))
    assert cooling_time(cooling, np.full(cooling.layout.size, 50.0), cooling.layout.top(2), 60.0, 20.0) == 0.0


def test_never_below_the_room(opened: Stack) -> None:
    """The wait is infinite below the room's temperature and beyond an hour."""
    cooling = modes(opened, (4, 4, 7, 4, 8))
    assert cooling_time(cooling, np.full(cooling.layout.size, 50.0), cooling.layout.top(2), 20.0, 20.0) == math.inf


def test_cold_block_is_quicker_than_air(opened: Stack) -> None:
    """A cold metal block cools the stack many times faster than the room's air."""
    block = opened._replace(conductance_w_m2k=np.array([BLOCK_W_M2K, *opened.conductance_w_m2k[1:]]))
    air_s, block_s = (
        cooling_time(modes(own, (4, 4, 7, 4, 8)), np.full(34 - 2, 120.0), 12, 50.0, 20.0) for own in (opened, block)
    )
    assert block_s < 0.5 * air_s
