"""Equal rectangles on a strip: laid in rows as the packers of `packers` lay them, and counted instead of chosen.

A run of a price list is one artwork many times. Its rows are all that a length and a width need; the positions of the
rectangles are made where they are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import Final, NamedTuple

from msgspec import Struct

from featherline_service.cost.nesting.skyline import TOLERANCE_MM, Skyline

Size = tuple[float, float]
"""Width and height of a rectangle [mm]."""

STEPS: Final = 2048
"""Steps of the grid of row widths across the strip: a quarter of a millimetre on a roll of 500 mm."""

END_AFTER: Final = 0.7
END_FLATNESS: Final = 0.1
"""Share of the rectangles after which `flat_end` sets in, and its flatness; tuned on random rosters."""


class Position(Struct, frozen=True):
    """A laid rectangle: its index in the sequence, its lower left corner, and its size as laid [mm]."""

    index: int
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


class Extent(NamedTuple):
    """The length and width that a packing takes [mm], and the area that its rectangles cover [mm^2]."""

    length_mm: float
    width_mm: float
    covered_mm2: float


class Row(NamedTuple):
    """Equal rectangles side by side from left to right: their indices, the first one's corner, their size [mm]."""

    indices: range
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    def last_x_mm(self) -> float:
        """Return the left edge of the last one, as it comes of adding widths [mm]."""
        x_mm = self.x_mm
        for _ in self.indices[1:]:
            x_mm += self.width_mm
        return x_mm


class Rows(Struct, frozen=True):
    """A packing of equal rectangles."""

    rows: Sequence[Row]

    @property
    def count(self) -> int:
        """How many rectangles are laid."""
        return sum([len(row.indices) for row in self.rows])

    @property
    def length_mm(self) -> float:
        """The length of strip [mm]."""
        return max([row.y_mm + row.height_mm for row in self.rows])

    def extent(self, gap_mm: float) -> Extent:
        """Return what the packing takes without the gap that was added to each rectangle."""
        if not self.rows:
            return Extent(0.0, 0.0, 0.0)
        length = max([row.y_mm + (row.height_mm - gap_mm) for row in self.rows])
        width = max([row.last_x_mm() + (row.width_mm - gap_mm) for row in self.rows])
        area_mm2 = (self.rows[0].width_mm - gap_mm) * (self.rows[0].height_mm - gap_mm)
        return Extent(length, width, sum([area_mm2] * self.count))

    def positions(self) -> list[Position]:
        """Return where the rectangles lie."""
        laid = []
        for indices, x_mm, y_mm, width_mm, height_mm in self.rows:
            for index in indices:
                laid.append(Position(index, x_mm, y_mm, width_mm, height_mm))
                x_mm += width_mm  # noqa: PLW2901 - the next one's
        return laid


def on_shelves(size: Size, count: int, strip_mm: float, longest_mm: float = inf) -> Rows:
    """Return the packing of `packers.shelves`: the same number on each shelf."""
    width, height = size
    most, filled, top = 0, 0.0, 0.0
    while most < count and filled + width <= strip_mm + TOLERANCE_MM:
        filled += width
        most += 1
    rows: list[Row] = []
    for first in range(0, count, most) if most else ():
        if top + height > longest_mm + TOLERANCE_MM:
            break
        rows.append(Row(range(first, min(first + most, count)), 0.0, top, width, height))
        top += height
    return Rows(rows)


class _Way:
    """An orientation: its size, and how many go into a room."""

    def __init__(self, size: Size, count: int, unit_mm: float) -> None:
        self.width, self.height = size
        self.count = count
        self.unit_mm = unit_mm
        self.steps = max(1, int(self.width / unit_mm + 0.5))
        self.widths = [0.0]
        self._most: dict[float, int] = {}

    def most(self, room_mm: float) -> int:
        """Return how many go side by side into a room: `widths` has how wide so many are."""
        known = self._most.get(room_mm)
        if known is not None:
            return known
        most = min(self.count, int(room_mm / self.unit_mm + 0.5) // self.steps)
        while len(self.widths) <= most:
            self.widths.append(sum([self.width] * len(self.widths)))
        while most and self.widths[most] > room_mm + TOLERANCE_MM:
            most -= 1
        self._most[room_mm] = most
        return most


def in_rows(
    sizes: Sequence[Size],
    count: int,
    strip_mm: float,
    longest_mm: float = inf,
    *,
    most_lost_mm2: float = inf,
    largest: bool,
    flatness: float,
    flat_end: bool = False,
) -> Rows:
    """Return the packing of `packers.row_fill`: the fullest row of each height is as many as go into the room.

    Args:
        sizes: the allowed orientations, whose heights are told apart.
        count: how many rectangles there are.
        strip_mm: width of the strip [mm].
        longest_mm: length of the strip [mm].
        most_lost_mm2: lost area at which packing stops with the remaining rectangles left out [mm^2].
        largest: whether the row of the largest area is best, or the one that leaves the least width unfilled.
        flatness: penalty for standing out above the top of the packing; 0: none.
        flat_end: whether the last three tenths of the rectangles are laid by area with a small flatness.
    """
    ways = [_Way(size, count, strip_mm / STEPS) for size in sorted(sizes, key=lambda size: -size[1])]
    line = Skyline(strip_mm)
    rows: list[Row] = []
    laid, top = 0, 0.0
    while laid < count and line.lost_mm2 < most_lost_mm2:
        segment = line.lowest()
        y_mm, room = line.y_mm[segment], line.width_mm[segment]
        if flat_end and laid > END_AFTER * count:
            largest, flatness = True, END_FLATNESS
        best, best_number, least = ways[0], 0, inf
        for way in ways:
            if way.width > room + TOLERANCE_MM or way.height > longest_mm - y_mm + TOLERANCE_MM:
                continue
            number = min(count - laid, way.most(room))
            if number:
                width = way.widths[number]
                merit = width / strip_mm if largest else width / room - 1.0
                score = flatness * max(0.0, y_mm + way.height - top) - way.height * merit
                if score < least:
                    best, best_number, least = way, number, score
        if not best_number:
            if not line.fill_up(segment):
                break
            continue
        left, right = line.walls(segment)
        x_mm = line.lay(segment, best.widths[best_number], best.height, at_left=left >= right)
        rows.append(Row(range(laid + best_number - 1, laid - 1, -1), x_mm, y_mm, best.width, best.height))
        laid += best_number
        top = max(top, y_mm + best.height)
    return Rows(rows)
