"""One pressing, from closing the press until all is cool: the bond line's history and every layer's peak, with bands.

Temperatures here are shares of the platen's excess over the room (0: the room, 1: the platen), because the problem is
linear: one computation serves every platen temperature. A band is what a property that is off by its spread changes.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.conduction import Modes, Stack, modes, resolved, step
from featherline_service.heat.damage import Peaks, peaks
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
"""[s] No marking of a shoe is pressed longer: beyond two minutes it is a matter for another film."""
TOLERANCE: Final = 1e-2
"""[-] Largest estimated error of a temperature, as a share of the platen's excess; the true one is below 1e-4."""
TIMES_S: Final[Floats] = LONGEST_DWELL_S * np.linspace(0.0, 1.0, 81) ** 2
"""[s] Times at which the bond line is followed, denser at the start."""
DWELLS_S: Final[Floats] = np.geomspace(1.0, LONGEST_DWELL_S, 20)
"""[s] Dwells for which the layers' peaks are computed, a constant ratio apart."""
BAND_DWELLS: Final = np.array([0, 3, 7, 12, 19])
"""Which of them the bands are computed for: bands change slowly with the dwell."""
AFTER_S: Final[Floats] = np.concatenate(([0.0], np.geomspace(0.25, 200.0, 27)))
"""[s] Times after opening at which the layers are looked at."""


class Followed(NamedTuple):
    """A pressing of any dwell up to the longest.

    `bond` ``(times,)`` is the bond line's share at `TIMES_S`, `bond_slopes` ``(parts, times)`` its derivative by each
    part's relative change (see `sensitivity`), and `faces` ``(layers, times)`` the shares of the layers' upper faces.
    `peaks` are for `DWELLS_S`; `peak_slopes` ``(parts, layers, dwells)`` are their derivatives for the dwells of
    `BAND_DWELLS`.
    """

    pressed: Modes
    opened: Modes
    bond: Floats
    bond_slopes: Floats
    faces: Floats
    peaks: Peaks
    peak_slopes: Floats


def bond_node(pressed: Modes, upper: int) -> int:
    """Return the node that stands for the bond line: the face of the upper, which the adhesive has to wet.

    It is the colder of the two faces while the press is closed.
    """
    return pressed.layout.top(upper)


def follow_bond(closed: Stack, upper: int) -> tuple[Floats, Floats]:
    """Return the bond line's share at `TIMES_S` and its slopes: `Followed` without the layers' peaks."""
    pressed = resolved(closed, float(DWELLS_S[0]), TOLERANCE)
    return _bond(pressed, step(pressed, TIMES_S), step_slope(pressed, parts(closed, pressed)), upper)


def _bond(pressed: Modes, rising: Floats, slope: StepSlope, upper: int) -> tuple[Floats, Floats]:
    row = pressed.shape[[bond_node(pressed, upper)]]
    share = np.clip(row[0] @ rising, 0.0, 1.0)
    return share, step_slopes_at(slope, row, TIMES_S)[:, 0]


def follow(closed: Stack, opened: Stack, upper: int) -> Followed:
    """Follow a pressing of every dwell.

    Args:
        closed: the stack in the closed press, checked.
        opened: the same layers in the open press, checked.
        upper: index of the upper's first layer; the bond line is its face.
    """
    pressed = resolved(closed, float(DWELLS_S[0]), TOLERANCE)
    released = modes(opened, pressed.layout.orders)
    slope = step_slope(pressed, parts(closed, pressed))
    rising = step(pressed, TIMES_S)
    share, bond_slopes = _bond(pressed, rising, slope, upper)
    faces = np.clip(pressed.shape[list(pressed.layout.firsts)] @ rising, 0.0, 1.0)
    found = peaks(pressed, released, DWELLS_S, AFTER_S)
    return Followed(
        pressed, released, share, bond_slopes, faces, found, _peak_slopes(pressed, opened, released, slope, found)
    )


def _peak_slopes(pressed: Modes, opened: Stack, released: Modes, slope: StepSlope, found: Peaks) -> Floats:
    """Return each layer's peak by each part's relative change, ``(parts, layers, band dwells)``.

    The time and place of a peak need not be varied: at a maximum they do not matter to first order.
    """
    dwells = DWELLS_S[BAND_DWELLS]
    node, after = found.node[:, BAND_DWELLS], found.after_s[:, BAND_DWELLS]
    amplitudes = step_amplitude_slopes(slope, dwells)
    rows = pressed.shape[node]
    layer, dwell = np.nonzero(after > 0.0)
    if layer.size:
        carry = released.shape.T @ (released.mass_j_m2k[:, None] * pressed.shape)
        decay = np.exp(-after[layer, dwell, None] * released.rate_per_s)
        rows[layer, dwell] = (released.shape[node[layer, dwell]] * decay) @ carry
    # one product for each dwell: layers and modes against modes and parts
    by_dwell = np.ascontiguousarray(amplitudes.transpose(2, 1, 0))
    slopes = (np.ascontiguousarray(rows.swapaxes(0, 1)) @ by_dwell).transpose(2, 1, 0)
    if layer.size:
        split = parts(opened, released)
        start = (carry @ step(pressed, dwells)).T[dwell]
        answer = decay_slopes_at(released, split, start, released.shape[node[layer, dwell]], after[layer, dwell])
        answer[split.top] = 0.0  # the platen has gone, and with it what is not known of its contact
        slopes[:, layer, dwell] += answer
    return slopes
