"""Temperature history of one pressing: from closing the press, through its opening, until all has cooled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.conduction import Modes, Stack, amplitudes, evolve, step
from featherline_service.heat.sensitivity import (
    decay_slopes_at,
    parts,
    step_amplitude_slopes,
    step_slope,
    step_slopes_at,
)

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


class Opening(NamedTuple):
    """A stack after the press has opened: the stack, its modes, and how many layers were taken off its top."""

    stack: Stack
    modes: Modes
    bared: int = 0


def node_slopes(
    closed: Stack, pressed: Modes, opening: Opening, nodes: NDArray[np.intp], *, dwell_s: float, times_s: Floats
) -> Floats:
    """Return the derivative of a temperature's history by each part's relative change, ``(parts, times)``.

    Parts are those of the closed stack, in the order of `sensitivity`; layers keep their change after opening. The
    platen is away then, and with it the uncertainty of its contact.

    Args:
        closed: the stack in the closed press.
        pressed: its modes.
        opening: the stack after opening, with the orders of `pressed`.
        nodes: the node at each time, ``(times,)``, by its index in the closed stack.
        dwell_s: time [s] for which the press is closed, above zero.
        times_s: times [s] from closing the press, rising, ``(times,)``.
    """
    slope = step_slope(pressed, parts(closed, pressed))
    shut = times_s <= dwell_s
    slopes = np.empty((3 * len(pressed.layout.orders) + 1, times_s.size))
    places, which = np.unique(nodes[shut], return_inverse=True)
    slopes[:, shut] = step_slopes_at(slope, pressed.shape[places], times_s[shut])[:, which, np.arange(which.size)]
    # At opening the temperatures stay, and are an amplitude of each mode of the open stack.
    released, first = opening.modes, pressed.layout.firsts[opening.bared]
    carry = released.shape.T @ (released.mass_j_m2k[:, None] * pressed.shape[first:])
    after_s, rows = times_s[~shut] - dwell_s, released.shape[nodes[~shut] - first]
    fading = rows * np.exp(-after_s[:, None] * released.rate_per_s)
    slopes[:, ~shut] = step_amplitude_slopes(slope, [dwell_s])[..., 0] @ (fading @ carry).T
    split = parts(opening.stack, released)
    start = (carry @ step(pressed, [dwell_s])).T
    cooling = decay_slopes_at(released, split, start, rows[None], after_s[None])[:, 0]
    cooling[split.top] = 0.0
    groups = np.split(np.arange(slopes.shape[0]), np.cumsum((len(pressed.layout.orders),) * 2))
    kept = np.concatenate([group[opening.bared :] for group in groups])
    slopes[np.ix_(kept, ~shut)] += cooling
    return slopes
