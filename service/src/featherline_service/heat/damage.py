"""Peak temperatures of the layers in a pressing, cooling included, and the harm that heat does to them.

The problem is linear in the platen's excess over the room, so peaks are those of a unit step: 0 is the room, 1 the
platen.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from featherline_service.heat.bond import arrhenius
from featherline_service.heat.conduction import Decomposed, step

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


class Peaks(NamedTuple):
    """Each layer's peak for each dwell, as shares of the platen's excess over the room.

    `rise` is the peak, `node` the node where and `after_s` [s] the time after opening when it is reached, all
    ``(..., layers, dwells)``. `pressing` ``(..., layers, dwells)`` is the layer's hottest share at the moment the press
    opens, `cooling` ``(..., layers, dwells, after)`` its hottest share at each time after that.
    """

    rise: Floats
    node: Indices
    after_s: Floats
    pressing: Floats
    cooling: Floats

    def alone(self, at: int, layers: int | None = None) -> Peaks:
        """Return those of one of several stacks, of its first layers: copies, which hold nothing of the others."""
        rise, node, after_s, pressing, cooling = self
        return Peaks(
            rise[at, :layers].copy(),
            node[at, :layers].copy(),
            after_s[at, :layers].copy(),
            pressing[at, :layers].copy(),
            cooling[at, :layers].copy(),
        )


def step_peaks(pressed: Decomposed, opened: Decomposed, dwells_s: Floats, after_s: Floats) -> Peaks:
    """Return the layers' peaks in a pressing of each dwell, cooling in the room included.

    While the press is closed every point only gets hotter, so a layer's peak is at opening or later.

    Args:
        pressed: the stack in the closed press.
        opened: the stack in the open press, with the same layers and orders.
        dwells_s: dwells [s], ``(dwells,)``.
        after_s: times [s] after opening at which temperatures are computed, rising from 0, ``(after,)``.

    Returns:
        The peaks of a unit step of the platen. The peak's value is the top of the parabola through the highest of the
        computed temperatures and its two neighbours; its node and time are those of the highest computed one.
    """
    start = pressed.shape @ step(pressed, dwells_s)
    begin = opened.shape.swapaxes(-1, -2) @ (opened.mass_j_m2k[..., None] * start)
    decay = np.exp(-opened.rate_per_s[..., None] * after_s)
    table = (begin[..., :, None] * decay[..., None, :]).reshape(*decay.shape[:-1], -1)
    grid = pressed.grid
    stacks, layers, size = grid.sizes
    history = (opened.shape @ table).reshape(stacks, size, dwells_s.size, after_s.size)
    history[..., 0] = start
    cooling = np.zeros((stacks, layers, dwells_s.size, after_s.size))
    for at, plan in enumerate(grid.layouts):
        for layer in range(len(plan.orders)):
            np.maximum.reduce(history[at, plan.nodes(layer)], axis=0, out=cooling[at, layer])
    np.minimum(np.maximum(cooling, 0.0, out=cooling), 1.0, out=cooling)
    when = cooling.argmax(axis=-1)
    # All nodes at the time of each layer's peak: of those that are the layer's the hottest is the node of the peak.
    by_node = history.reshape(stacks, size, -1).swapaxes(-1, -2)
    column = np.arange(dwells_s.size) * after_s.size + when
    then = np.minimum(np.maximum(by_node[np.arange(stacks)[:, None, None], column], 0.0), 1.0)
    node = np.where(grid.own[..., None, :], then, -1.0).argmax(axis=-1)
    peaks = Peaks(_parabola_top(cooling, when), node, after_s[when], cooling[..., 0], cooling)
    return peaks if pressed.rate_per_s.ndim > 1 else peaks.alone(0)


def _parabola_top(values: Floats, at: Indices) -> Floats:
    """Return the tops of parabolas through values ``(..., times)`` at the indices ``(...)`` and their neighbours."""
    flat = values.reshape(-1, values.shape[-1])
    row, peak = np.arange(at.size), at.ravel()
    inner = np.clip(peak, 1, flat.shape[-1] - 2)
    before, here, after, highest = (flat[row, index] for index in (inner - 1, inner, inner + 1, peak))
    bend = before - 2.0 * here + after
    top = here - (after - before) ** 2 / (8.0 * np.where(bend < 0.0, bend, -1.0))
    within = (peak > 1) & (peak < flat.shape[-1] - 1) & (bend < 0.0)
    return np.where(within, np.maximum(top, highest), highest).reshape(at.shape)


def exposure(times_s: Floats, temperature_c: Floats, reference_c: ArrayLike, activation_j_mol: ArrayLike) -> Floats:
    """Return the equivalent time [s] at the reference temperature of a layer's harm up to each time, ``(..., times)``.

    Harm is a thermally activated change (Arrhenius) without an onset: mild heat counts too, but little.

    Args:
        times_s: times [s], rising, ``(times,)``.
        temperature_c: the layer's hottest temperature [degC] at these times, ``(..., times)``.
        reference_c: reference temperature [degC]; broadcasts against the temperatures, as does the next.
        activation_j_mol: activation energy [J/mol].

    References:
        Henriques, Archives of Pathology 43 (1947) 489-502: the first use of the integral for harm by heat (from
            memory). The exposures that it explains are those of Moritz & Henriques, American Journal of Pathology 23
            (1947) 695-720.
    """
    rate = arrhenius(temperature_c, reference_c, activation_j_mol)
    total = np.zeros(rate.shape)
    np.cumsum(0.5 * (rate[..., 1:] + rate[..., :-1]) * np.diff(times_s), axis=-1, out=total[..., 1:])
    return total
