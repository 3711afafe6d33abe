"""Cooling after the press has opened: how long until the bond line is cool enough to peel."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.conduction import Modes, amplitudes, evolve

Floats = NDArray[np.float64]

LONGEST_WAIT_S: Final = 3600.0
"""[s] The longest wait that is looked for: nobody waits an hour for a peel."""
BLOCK_W_M2K: Final = 500.0
"""[W/(m2 K)] Conductance between a carrier and a cold metal block held on it by hand: a dry joint at low pressure; dry
joints have 100 to 1000. The block is taken to stay at the room's temperature, because aluminium's effusivity is thirty
times a polymer's (Cengel & Ghajar, equation 4-49)."""


def cooling_time(modes: Modes, start_c: Floats, node: int, below_c: float, room_c: float) -> float:
    """Return the time [s] after which a node stays at or below a temperature; infinity if not within `LONGEST_WAIT_S`.

    Args:
        modes: the decomposed stack in the open press.
        start_c: temperatures [degC] of its nodes when cooling starts, ``(n,)``.
        node: index of the node.
        below_c: temperature [degC] to cool to.
        room_c: temperature [degC] of the room, which is on both sides of the stack.

    References:
        Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 3.9.
    """
    begin = amplitudes(modes, start_c - room_c)
    row = modes.shape[node]
    times = np.concatenate(([0.0], np.geomspace(0.05, LONGEST_WAIT_S, 160)))
    excess = row @ evolve(modes, begin, times, 0.0, 0.0)
    above = np.flatnonzero(excess > below_c - room_c)
    if not above.size:
        return 0.0
    if above[-1] == times.size - 1:
        return float("inf")
    low, high = times[above[-1]], times[above[-1] + 1]
    for _ in range(40):
        middle = 0.5 * (low + high)
        hotter = row @ (begin * np.exp(-modes.rate_per_s * middle)) > below_c - room_c
        low, high = (middle, high) if hotter else (low, middle)
    return float(high)


def temperature_after(modes: Modes, start_c: Floats, node: int, time_s: float, room_c: float) -> float:
    """Return the temperature [degC] of a node a time [s] after the start; see `cooling_time`."""
    excess = amplitudes(modes, start_c - room_c) * np.exp(-modes.rate_per_s * time_s)
    return float(room_c + modes.shape[node] @ excess)
