"""Temperature history of one pressing: from closing the press, through its opening, until all has cooled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.conduction import Modes, amplitudes, evolve, step

Floats = NDArray[np.float64]


class History(NamedTuple):
    """Temperatures as shares of the platen's excess over the room: 0 is the room, 1 the platen.

    `times_s` ``(times,)`` count from closing the press. `nodes` ``(n, times)`` are all nodes, `layers`
    ``(layers, times)`` each layer's hottest node.
    """

    times_s: Floats
    nodes: Floats
    layers: Floats


def history(pressed: Modes, opened: Modes, dwell_s: float, times_s: Floats) -> History:
    """Return the temperature history of one pressing.

    Args:
        pressed: the stack in the closed press.
        opened: the stack in the open press, with the same layers and orders.
        dwell_s: time [s] for which the press is closed, above zero.
        times_s: times [s] from closing the press, zero or more, rising, ``(times,)``.

    Returns:
        The response to a unit step of the platen. The cover sheet stays on after opening, as in `damage.step_peaks`:
        the highest of a layer's values is its peak.

    References:
        Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 3.9: expansion in eigenfunctions; the
            state at opening is the start of the cooling.
    """
    closed = times_s <= dwell_s
    nodes = np.empty((pressed.layout.size, times_s.size))
    nodes[:, closed] = pressed.shape @ step(pressed, times_s[closed])
    at_opening = (pressed.shape @ step(pressed, [dwell_s]))[:, 0]
    begin = amplitudes(opened, at_opening)
    nodes[:, ~closed] = opened.shape @ evolve(opened, begin, times_s[~closed] - dwell_s, 0.0, 0.0)
    nodes = np.clip(nodes, 0.0, 1.0)
    spans = (pressed.layout.nodes(layer) for layer in range(len(pressed.layout.orders)))
    return History(times_s, nodes, np.stack([nodes[span].max(axis=0) for span in spans]))
