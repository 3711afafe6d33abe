"""Marks in a photo: their numbers and their corners to a fraction of a pixel.

A mark's frame is a dark square: the contour of every dark area is a candidate, and is one if four lines go around it
whose inside reads as a word of the code.
"""

from __future__ import annotations

from typing import Final, NamedTuple, cast

import contourpy
import numpy as np
import shapely
from numpy.typing import NDArray

from featherline_service.tracing import codes
from featherline_service.tracing.view.illumination import PAPER, Bytes

Floats = NDArray[np.float64]

_EDGE: Final = 0.56 * PAPER
"""Halfway between black ink and paper."""
_SHORTEST: Final = 0.01
_LONGEST: Final = 0.12
"""Of a mark's side, as shares of the photo's longer side."""
_BEND: Final = 0.06
"""How far a contour may be off its four lines, as a share of its side; a blurred corner is round."""
_ENDS: Final = 0.18
"""Of each side, left out at both ends, where corners are round."""
_FEWEST_POINTS: Final = 5
_LEAST_CONTRAST: Final = 0.25 * PAPER
_SAMPLES: Final = 5
_CORNERS: Final = 4


class Marks(NamedTuple):
    """Marks of a photo: their numbers, their corners [px], and how many more are mirrored.

    The corners are clockwise from the top left of the upright mark, shape (n, 4, 2).
    """

    numbers: NDArray[np.intp]
    corners: Floats
    mirrored: int


def find(value: Bytes) -> Marks:
    """Return the marks in a photo without its light."""
    numbers, corners, mirrored = [], [], 0
    for quad in _quads(value):
        reading = _read(value, quad)
        if reading is None:
            continue
        mirrored += reading.mirrored
        if not reading.mirrored:
            numbers.append(reading.number)
            corners.append(np.roll(quad, reading.turns, axis=0))
    return Marks(np.array(numbers, dtype=np.intp), np.array(corners).reshape(-1, 4, 2), mirrored)


def _quads(value: Bytes) -> list[Floats]:
    """Return the corners of dark squares, clockwise from any, y downwards."""
    generator = contourpy.contour_generator(z=value, name="serial", line_type="ChunkCombinedOffset")
    (every,), (offsets,) = cast("tuple[list[Floats | None], list[NDArray[np.uint32] | None]]", generator.lines(_EDGE))
    if every is None or offsets is None:
        return []
    longer = max(value.shape)
    starts = offsets.astype(np.intp)
    counts = np.diff(starts)
    steps = np.hypot(*np.diff(every, axis=0).T)
    sums = np.concatenate(([0.0], np.cumsum(steps)))
    lengths = sums[starts[1:] - 1] - sums[starts[:-1]]
    closed = np.all(every[starts[:-1]] == every[starts[1:] - 1], axis=1)
    sides = lengths / _CORNERS
    chosen = closed & (sides > _SHORTEST * longer) & (sides < _LONGEST * longer) & (counts > _CORNERS * _FEWEST_POINTS)
    found = []
    for index in np.flatnonzero(chosen):
        ring = every[starts[index] : starts[index + 1]]
        quad = _quad(ring, float(lengths[index]))
        if quad is not None:
            found.append(quad)
    return found


def _quad(ring: Floats, length: float) -> Floats | None:
    """Return the corners of a contour that is a quadrilateral, each where the lines through two sides meet."""
    polygon = shapely.Polygon(ring)
    if polygon.area < 0.6 * (length / 4.0) ** 2 or polygon.area < 0.85 * polygon.convex_hull.area:
        return None
    rough = np.asarray(shapely.simplify(polygon.exterior, _BEND * length / 4.0).coords)[:-1]
    if len(rough) == _CORNERS + 1:  # the contour begins in the midst of a side
        sides = np.roll(rough, -1, axis=0) - rough
        turns = np.abs(_cross(np.roll(sides, 1, axis=0), sides))
        rough = np.delete(rough, int(np.argmin(turns)), axis=0)
    if len(rough) != _CORNERS:
        return None
    if _cross(rough[1] - rough[0], rough[2] - rough[1]) < 0.0:
        rough = rough[::-1]
    lines = [_line(ring, rough[side], rough[(side + 1) % 4]) for side in range(4)]
    if any(line is None for line in lines):
        return None
    corners = [_meeting(lines[side - 1], lines[side]) for side in range(4)]  # type: ignore[arg-type]
    quad = np.array(corners)
    return quad if np.all(np.hypot(*(quad - rough).T) < 0.12 * length / 4.0 + 1.0) else None


def _cross(first: Floats, second: Floats) -> Floats:
    return np.asarray(first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0])


def _line(ring: Floats, begin: Floats, end: Floats) -> tuple[Floats, Floats] | None:
    """Return a point and the direction of the line through the contour's points between two corners."""
    way = end - begin
    share = (ring - begin) @ way / (way @ way)
    beside = np.abs(_cross(ring - begin, way)) / np.hypot(*way)
    near = (share > _ENDS) & (share < 1.0 - _ENDS) & (beside < 0.15 * np.hypot(*way))
    if np.count_nonzero(near) < _FEWEST_POINTS:
        return None
    chosen = ring[near]
    middle = chosen.mean(axis=0)
    _, _, axes = np.linalg.svd(chosen - middle, full_matrices=False)
    return middle, axes[0]


def _meeting(first: tuple[Floats, Floats], second: tuple[Floats, Floats]) -> Floats:
    (a, u), (b, v) = first, second
    return np.asarray(a + u * _cross(b - a, v) / _cross(u, v))


def _read(value: Bytes, quad: Floats) -> codes.Reading | None:
    """Return what the inside of a quadrilateral reads as."""
    side = codes.CELLS + 2
    within = (np.arange(_SAMPLES) + 1.0) / (_SAMPLES + 1.0)
    places = ((np.arange(side)[:, None] + within) / side).ravel()
    u, v = np.meshgrid(places, places)
    shares = np.stack([(1.0 - u) * (1.0 - v), u * (1.0 - v), u * v, (1.0 - u) * v], axis=-1)
    # A mark is small: within it, perspective bends by less than a cell.
    where = np.rint(shares @ quad).astype(np.intp)
    rows, columns = value.shape
    if np.any(where < 0) or np.any(where[..., 0] >= columns) or np.any(where[..., 1] >= rows):
        return None
    seen = value[where[..., 1], where[..., 0]].reshape(side, _SAMPLES, side, _SAMPLES).mean(axis=(1, 3))
    frame = np.concatenate((seen[0], seen[-1], seen[1:-1, 0], seen[1:-1, -1]))
    inside = seen[1:-1, 1:-1]
    dark, light = float(np.median(frame)), float(inside.max())
    if light - dark < _LEAST_CONTRAST or frame.max() > 0.5 * (dark + light):
        return None
    return codes.read(inside > 0.5 * (dark + light))
