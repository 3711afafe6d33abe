"""Packing of rectangles on an offcut of any outline, each wholly on the film and a gap apart.

Millimetres. A rectangle is tried in the corners of the outline and of rectangles laid already, and where a raster shows
room; an exact test against the outline decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray
from shapely import Polygon

from featherline_service.cost.nesting.equal_rectangles import Position, Size
from featherline_service.runtime import deadline

Outline = tuple[tuple[float, float], ...]
"""Corners of an offcut [mm], in either direction; the last is joined to the first."""

_CELLS: Final = 250
"""Raster cells along the longer side of an offcut's bounding box: one millimetre on a piece of 250 mm."""

_MOST_TRIED: Final = 40
"""Most raster positions of a rectangle tested against the outline."""

_MOST_CORNERS: Final = 24
"""Most corners of an outline at which rectangles are tried; with more, it is taken for a curve."""

_SLACK_MM: Final = 1e-6
"""Tolerance of the test against the outline: rounding errors are smaller."""


class OffcutPacking(Struct, frozen=True, kw_only=True):
    """Rectangles laid on an offcut, the film taken, and the size of the largest rectangle left [mm]."""

    positions: tuple[Position, ...]
    area_mm2: float
    left: Size


def enclosed_area_mm2(outline: Outline) -> float:
    """Return the area within an outline [mm^2]."""
    return float(Polygon(outline).area)


def pack_offcut(sizes: Sequence[Size], outline: Outline, *, gap_mm: float, turnable: bool) -> OffcutPacking:
    """Return the packing of an offcut with the largest covered area, as drawn or turned upright.

    The film taken is the part of the offcut inside the bounding rectangle of the pieces. Positions are on the offcut as
    it was turned: upright means that its smallest bounding rectangle has horizontal and vertical sides.

    Args:
        sizes: width and height of each rectangle, weed border included [mm].
        outline: the offcut, of positive area.
        gap_mm: distance to keep between rectangles [mm].
        turnable: whether rectangles may be turned, by 90 degrees or with the offcut; not on film with a visible grain.
    """
    polygon = Polygon(outline)
    packings = [_packed(sizes, polygon, gap_mm, turnable)]
    if turnable:
        packings.append(_packed(sizes, _upright(polygon), gap_mm, turnable))
    return max(packings, key=lambda packing: (_covered(packing), -packing.area_mm2))


def _covered(packing: OffcutPacking) -> float:
    return sum(laid.width_mm * laid.height_mm for laid in packing.positions)


def _upright(polygon: Polygon) -> Polygon:
    """Return an offcut turned so that its smallest bounding rectangle is upright."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    along = box[1] - box[0]
    cosine, sine = along / math.hypot(*along)
    turn = np.array([[cosine, -sine], [sine, cosine]])
    return shapely.transform(polygon, lambda points: points @ turn)


class _Offcut:
    """An offcut, the rectangles laid on it, and the free cells of its raster."""

    def __init__(self, polygon: Polygon, gap_mm: float) -> None:
        left, low, right, high = polygon.bounds
        self.film = shapely.buffer(polygon, _SLACK_MM, join_style="mitre")
        shapely.prepare(self.film)
        self.gap_mm = gap_mm
        self.positions: list[Position] = []
        corners = shapely.get_coordinates(polygon)
        self.corners = corners if len(corners) <= _MOST_CORNERS else np.array([[left, low], [right, high]])
        self.cell_mm = max(right - left, high - low) / _CELLS
        self.left, self.low = left, low
        across = left + self.cell_mm * np.arange(math.floor((right - left) / self.cell_mm + _SLACK_MM) + 1)
        along = low + self.cell_mm * np.arange(math.floor((high - low) / self.cell_mm + _SLACK_MM) + 1)
        inside = shapely.contains_xy(self.film, *np.meshgrid(across, along))
        self.free: NDArray[np.bool_] = inside[1:, 1:] & inside[:-1, 1:] & inside[1:, :-1] & inside[:-1, :-1]

    def place(self, width_mm: float, height_mm: float) -> tuple[float, float] | None:
        """Return a free place for a rectangle's lower left corner, lowest first, then leftmost; None: there is none."""
        deadline.check()
        places = [self._corner_place(width_mm, height_mm), self._raster_place(width_mm, height_mm)]
        return min((place for place in places if place is not None), key=lambda place: place[::-1], default=None)

    def _corner_place(self, width_mm: float, height_mm: float) -> tuple[float, float] | None:
        """Return the lowest free place at corners of the outline or of rectangles laid already."""
        laid = np.array([(rect.x_mm, rect.y_mm, rect.width_mm, rect.height_mm) for rect in self.positions]).reshape(
            -1, 4
        )
        ends = laid[:, :2] + laid[:, 2:]
        size = np.array([width_mm, height_mm])
        sides = np.concatenate(
            [self.corners, self.corners - size, ends + self.gap_mm, laid[:, :2] - self.gap_mm - size]
        )
        x_mm, y_mm = (grid.ravel() for grid in np.meshgrid(np.unique(sides[:, 0]), np.unique(sides[:, 1])))
        far = self.gap_mm - _SLACK_MM
        beside = (
            (x_mm[:, None] >= ends[:, 0] + far)
            | (x_mm[:, None] + width_mm <= laid[:, 0] - far)
            | (y_mm[:, None] >= ends[:, 1] + far)
            | (y_mm[:, None] + height_mm <= laid[:, 1] - far)
        ).all(axis=1)
        x_mm, y_mm = x_mm[beside], y_mm[beside]
        on_film = shapely.covers(self.film, shapely.box(x_mm, y_mm, x_mm + width_mm, y_mm + height_mm))
        if not on_film.any():
            return None
        first = np.flatnonzero(on_film)[0]  # the grid runs row by row, the lowest first
        return float(x_mm[first]), float(y_mm[first])

    def _raster_place(self, width_mm: float, height_mm: float) -> tuple[float, float] | None:
        """Return the lowest place on free raster cells."""
        columns, rows = (math.ceil(side / self.cell_mm - _SLACK_MM) for side in (width_mm, height_mm))
        if rows > self.free.shape[0] or columns > self.free.shape[1]:
            return None
        sums = np.zeros((self.free.shape[0] + 1, self.free.shape[1] + 1), dtype=np.int32)
        sums[1:, 1:] = self.free.cumsum(axis=0, dtype=np.int32).cumsum(axis=1)
        inside = sums[rows:, columns:] - sums[:-rows, columns:] - sums[rows:, :-columns] + sums[:-rows, :-columns]
        for place in np.flatnonzero(inside == rows * columns)[:_MOST_TRIED]:
            row, column = divmod(int(place), inside.shape[1])
            x_mm, y_mm = self.left + column * self.cell_mm, self.low + row * self.cell_mm
            if shapely.covers(self.film, shapely.box(x_mm, y_mm, x_mm + width_mm, y_mm + height_mm)):
                return x_mm, y_mm
        return None

    def lay(self, rect: Position) -> None:
        """Mark the film under a rectangle, and the gap around it, as used."""
        gap_mm = self.gap_mm
        self.positions.append(rect)
        first_column = math.floor((rect.x_mm - gap_mm - self.left) / self.cell_mm + _SLACK_MM)
        first_row = math.floor((rect.y_mm - gap_mm - self.low) / self.cell_mm + _SLACK_MM)
        last_column = math.ceil((rect.x_mm + rect.width_mm + gap_mm - self.left) / self.cell_mm - _SLACK_MM)
        last_row = math.ceil((rect.y_mm + rect.height_mm + gap_mm - self.low) / self.cell_mm - _SLACK_MM)
        self.free[max(first_row, 0) : last_row, max(first_column, 0) : last_column] = False

    def largest_free(self) -> Size:
        """Return width and height of the largest rectangle of free cells [mm]."""
        best = (0, 0)
        heights = np.zeros(self.free.shape[1], dtype=int)
        for row in self.free:
            heights = np.where(row, heights + 1, 0)
            best = max(best, _largest_under(heights.tolist()), key=lambda size: size[0] * size[1])
        return best[0] * self.cell_mm, best[1] * self.cell_mm


def _largest_under(heights: Sequence[int]) -> tuple[int, int]:
    """Return width and height of the largest rectangle under a row of columns [cells].

    References:
        The standard algorithm for the largest rectangle in a histogram, with a stack of rising columns; from memory.
    """
    best = (0, 0)
    rising: list[tuple[int, int]] = []
    for at, height in enumerate([*heights, 0]):
        begins = at
        while rising and rising[-1][1] >= height:
            begins, tall = rising.pop()
            if (at - begins) * tall > best[0] * best[1]:
                best = (at - begins, tall)
        rising.append((begins, height))
    return best


def _packed(sizes: Sequence[Size], polygon: Polygon, gap_mm: float, turnable: bool) -> OffcutPacking:
    """Return rectangles packed on an offcut as drawn, largest first, each as low as possible."""
    offcut = _Offcut(polygon, gap_mm)
    unplaceable: set[Size] = set()
    for index in sorted(range(len(sizes)), key=lambda index: (-max(sizes[index]), -min(sizes[index]), index)):
        places = []
        for width, height in {sizes[index], sizes[index][::-1]} if turnable else {sizes[index]}:
            place = None if (width, height) in unplaceable else offcut.place(width, height)
            if place is None:
                unplaceable.add((width, height))  # later rectangles only take film away
            else:
                places.append(Position(index, *place, width, height))
        if places:
            lowest = min(places, key=lambda rect: (rect.y_mm + rect.height_mm, rect.x_mm, rect.width_mm))
            offcut.lay(lowest)
    laid = offcut.positions
    return OffcutPacking(positions=tuple(laid), area_mm2=_taken_mm2(laid, polygon), left=offcut.largest_free())


def _taken_mm2(positions: Sequence[Position], polygon: Polygon) -> float:
    """Return the area of an offcut inside the bounding rectangle of the pieces [mm^2]."""
    if not positions:
        return 0.0
    box = shapely.box(
        min(rect.x_mm for rect in positions),
        min(rect.y_mm for rect in positions),
        max(rect.x_mm + rect.width_mm for rect in positions),
        max(rect.y_mm + rect.height_mm for rect in positions),
    )
    return float(shapely.area(shapely.intersection(polygon, box)))
