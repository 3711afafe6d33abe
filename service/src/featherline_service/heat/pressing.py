"""Response of a stack to a pressing: the bond line over time, every layer's peak, and the derivatives of both.

Temperatures are shares of the platen's excess over the room (0: the room, 1: the platen). The problem is linear, so one
computation serves every platen temperature.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.conduction import (
    Decomposed,
    Modes,
    Several,
    Stack,
    alike,
    decompose_to_tolerance,
    decompose_together,
    modes,
    several,
    step,
)
from featherline_service.heat.damage import Peaks, step_peaks
from featherline_service.heat.sensitivity import (
    StepSlope,
    decay_slopes_at,
    parts,
    step_amplitude_slopes,
    step_slope,
    step_slopes_at,
)

Floats = NDArray[np.float64]

LONGEST_DWELL_S: Final = 120.0
"""[s] The longest dwell that is considered: a marking that needs more than two minutes needs another film."""
TOLERANCE: Final = 1e-2
"""[-] Largest estimated error of a temperature, as a share of the platen's excess; the true one is below 1e-4."""
TIMES_S: Final[Floats] = LONGEST_DWELL_S * np.linspace(0.0, 1.0, 81) ** 2
"""[s] Times at which the bond line's temperature is computed, denser at the start."""
DWELLS_S: Final[Floats] = np.geomspace(1.0, LONGEST_DWELL_S, 20)
"""[s] Dwells for which the layers' peaks are computed, at a constant ratio."""
BAND_DWELLS: Final = np.array([0, 3, 7, 12, 19])
"""Indices in `DWELLS_S` of the dwells with derivatives of the peaks, which change slowly with the dwell."""
AFTER_S: Final[Floats] = np.concatenate(
    ([0.0], np.geomspace(0.02, 0.25, 5, endpoint=False), np.geomspace(0.25, 200.0, 27))
)
"""[s] Times after opening at which the layers' temperatures are computed: thin layers peak within a tenth of a second.
Peaks of the demo book are within 0.11 K of those at forty times as many."""


class PressingResponse(NamedTuple):
    """The response of a stack to pressings of any dwell up to `LONGEST_DWELL_S`.

    `pressed` and `opened` are the decomposed stacks in the closed and in the open press. `bond` ``(times,)`` is the
    bond line's share at `TIMES_S`, `bond_slopes` ``(parts, times)`` its derivative by each part's relative change (see
    `sensitivity`), and `faces` ``(layers, times)`` are the shares of the layers' upper faces. `peaks` are for
    `DWELLS_S`; `peak_slopes` ``(parts, layers, band dwells)`` are their derivatives for the dwells of `BAND_DWELLS`.
    """

    pressed: Modes
    opened: Modes
    bond: Floats
    bond_slopes: Floats
    faces: Floats
    peaks: Peaks
    peak_slopes: Floats


def bond_node(pressed: Modes, upper: int) -> int:
    """Return the node of the bond line: the upper face of the upper, which the adhesive has to wet.

    It is the colder of the two faces that meet while the press is closed.
    """
    return pressed.layout.top(upper)


def bond_line_response(closed: Stack, upper: int) -> tuple[Floats, Floats]:
    """Return the bond line's share at `TIMES_S` and its derivatives: `bond` and `bond_slopes` of `PressingResponse`."""
    pressed = decompose_to_tolerance(closed, float(DWELLS_S[0]), TOLERANCE)
    row = pressed.shape[[bond_node(pressed, upper)]]
    share = np.minimum(np.maximum(row[0] @ step(pressed, TIMES_S), 0.0), 1.0)
    return share, step_slopes_at(step_slope(pressed, parts(closed, pressed)), row, TIMES_S)[:, 0]


class Pressed(NamedTuple):
    """A stack to be pressed: in the closed press and in the open one, checked, of the same layers.

    `upper` is the index of the upper's first layer, whose upper face is the bond line.
    """

    closed: Stack
    opened: Stack
    upper: int


def pressing_response(closed: Stack, opened: Stack, upper: int) -> PressingResponse:
    """Return the response of one stack to pressings of every dwell; arguments as of `Pressed`."""
    return pressing_responses([Pressed(closed, opened, upper)])[0]


def pressing_responses(stacks: Sequence[Pressed]) -> list[PressingResponse]:
    """Return the responses of stacks to pressings of every dwell: the same to the last bit as of each alone."""
    responses: dict[int, PressingResponse] = {}
    for places, pressed in decompose_together([each.closed for each in stacks], float(DWELLS_S[0]), TOLERANCE):
        responses.update(zip(places, _responses([stacks[at] for at in places], pressed), strict=True))
    return [responses[at] for at in range(len(stacks))]


def _responses(stacks: Sequence[Pressed], pressed: Several) -> list[PressingResponse]:
    """Return the responses of stacks that were decomposed together."""
    grid, opened = pressed.grid, [each.opened for each in stacks]
    layers = grid.sizes[1]
    released = several(opened, grid.layouts)
    slope = step_slope(pressed, parts(alike([each.closed for each in stacks], layers), pressed))
    rising = step(pressed, TIMES_S)
    rows = pressed.shape.reshape(-1, pressed.shape.shape[-1])[grid.tops]
    faces = np.minimum(np.maximum(rows @ rising, 0.0), 1.0)
    bond = np.array([each.upper for each in stacks]), np.arange(len(stacks))
    bond_slopes = step_slopes_at(slope, rows[bond[1], bond[0], None], TIMES_S)[:, :, 0]
    peaks = step_peaks(pressed, released, DWELLS_S, AFTER_S)
    peak_slopes = _peak_slopes(
        pressed,
        alike(opened, layers),
        released,
        slope,
        dwells_s=DWELLS_S[BAND_DWELLS],
        node=peaks.node[..., BAND_DWELLS],
        after_s=peaks.after_s[..., BAND_DWELLS],
    )
    responses = []
    for at, (closed, _, upper) in enumerate(stacks):
        own = closed.thickness_m.size
        kept = np.concatenate([np.arange(own), layers + np.arange(own), 2 * layers + np.arange(own + 1)])
        responses.append(
            PressingResponse(
                pressed.alone(at),
                released.alone(at),
                faces[at, upper].copy(),
                bond_slopes[at, kept],
                faces[at, :own].copy(),
                peaks.alone(at, own),
                peak_slopes[at, kept, :own],
            )
        )
    return responses


def peak_slopes_at(closed: Stack, opened: Stack, dwell_s: float) -> Floats:
    """Return the derivative of each layer's peak by each part's relative change for one dwell, ``(parts, layers)``.

    Arguments as of `Pressed`. Between its band dwells, straight lines are up to a fifth off these.
    """
    pressed = decompose_to_tolerance(closed, float(DWELLS_S[0]), TOLERANCE)
    released = modes(opened, pressed.layout.orders)
    dwells_s = np.array([dwell_s])
    layer_peaks = step_peaks(pressed, released, dwells_s, AFTER_S)
    slope = step_slope(pressed, parts(closed, pressed))
    return _peak_slopes(
        pressed, opened, released, slope, dwells_s=dwells_s, node=layer_peaks.node, after_s=layer_peaks.after_s
    )[..., 0]


def _peak_slopes(
    pressed: Decomposed,
    opened: Stack,
    released: Decomposed,
    slope: StepSlope,
    *,
    dwells_s: Floats,
    node: NDArray[np.intp],
    after_s: Floats,
) -> Floats:
    """Return the derivative of each layer's peak by each part's relative change, ``(..., parts, layers, dwells)``.

    `node` and `after_s` ``(..., layers, dwells)`` are place and time of the peaks. Both are held: at a maximum they do
    not matter to first order.
    """
    node, after_s = node.swapaxes(-1, -2), after_s.swapaxes(-1, -2)
    later = after_s > 0.0
    rows, released_rows = (_rows(shape, node) for shape in (pressed.shape, released.shape))
    carry = released.shape.swapaxes(-1, -2) @ (released.mass_j_m2k[..., None] * pressed.shape)
    decay = np.exp(-after_s[..., None] * released.rate_per_s[..., None, None, :])
    rows = np.where(later[..., None], (released_rows * decay) @ carry[..., None, :, :], rows)
    # One product for each dwell: (layers, modes) times (modes, parts).
    slopes = rows @ np.moveaxis(step_amplitude_slopes(slope, dwells_s), (-3, -1), (-1, -3))
    start = (carry @ step(pressed, dwells_s)).swapaxes(-1, -2)
    split = parts(opened, released)
    after_opening = decay_slopes_at(released, split, start, released_rows, after_s)
    after_opening[..., split.top, :, :] = 0.0  # the platen is away, and with it the uncertainty of its contact
    slopes += np.where(later[..., None], np.moveaxis(after_opening, -3, -1), 0.0)
    return np.asarray(slopes.swapaxes(-1, -3))


def _rows(shape: Floats, nodes: NDArray[np.intp]) -> Floats:
    """Return the mode shapes ``(..., n, n)`` at nodes ``(..., a, b)`` of each stack, ``(..., a, b, n)``."""
    first = shape.shape[-1] * np.arange(math.prod(shape.shape[:-2])).reshape(*shape.shape[:-2], 1, 1)
    return np.asarray(shape.reshape(-1, shape.shape[-1])[nodes + first])
