"""The edges of the paper on its table: a second measure of the print, without a ruler."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from featherline_service.tracing.sheet import EDGE_MM, Sheet
from featherline_service.tracing.view.camera import Camera
from featherline_service.tracing.view.illumination import Bytes
from featherline_service.tracing.view.sampling import sample

Floats = NDArray[np.float64]

_FROM_MM: Final = 1.5
_TO_MM: Final = 20.0
_STEP_MM: Final = 0.2
_PROFILES: Final = 40
_SMOOTH: Final = 3
_LEAST_JUMP: Final = 0.15
"""Of the paper's value, in the steepest millimetre."""
_AGREE_MM: Final = 1.0
_MOST_ASTRAY: Final = 0.3


def lengths(pixels: Bytes, camera: Camera, sheet: Sheet) -> tuple[float | None, float | None]:
    """Return how long and how high the paper is, in millimetres of the sheet as it is drawn; None where not seen.

    From the marks outwards the paper ends where the brightness changes most. An edge is seen if most places along it
    agree.
    """
    ways = np.arange(_FROM_MM, _TO_MM, _STEP_MM)
    found: list[float | None] = []
    for axis in (0, 1):
        size, other = (sheet.width, sheet.height) if axis == 0 else (sheet.height, sheet.width)
        places = np.linspace(2.0 * EDGE_MM, other - 2.0 * EDGE_MM, _PROFILES)
        ends: list[float | None] = []
        for side in (-1.0, 1.0):
            out = (EDGE_MM if side < 0.0 else size - EDGE_MM) + side * ways
            grid = np.stack(np.meshgrid(out, places), axis=-1)
            end = _edge(sample(pixels, camera.project(grid if axis == 0 else grid[..., ::-1])).max(axis=-1))
            ends.append(end)
        seen = [end for end in ends if end is not None]
        found.append(size - 2.0 * EDGE_MM + sum(seen) if len(seen) == len(ends) else None)
    return found[0], found[1]


def _edge(profiles: Floats) -> float | None:
    """Return how far from the marks the brightness changes most, if most profiles agree."""
    window = round(1.0 / _STEP_MM)
    sums = np.cumsum(profiles, axis=1)
    means = (sums[:, _SMOOTH:] - sums[:, :-_SMOOTH]) / _SMOOTH
    jumps = np.abs(means[:, window:] - means[:, :-window])
    paper = profiles[:, : 2 * window].max(axis=1)
    places = np.argmax(jumps, axis=1)
    clear = jumps[np.arange(len(jumps)), places] > _LEAST_JUMP * paper
    if np.count_nonzero(clear) < (1.0 - _MOST_ASTRAY) * len(profiles):
        return None
    ends = _FROM_MM + _STEP_MM * (places[clear] + 0.5 * (window + _SMOOTH + 1))
    middle = float(np.median(ends))
    agree = np.abs(ends - middle) < _AGREE_MM
    return middle if np.count_nonzero(agree) >= (1.0 - _MOST_ASTRAY) * len(profiles) else None
