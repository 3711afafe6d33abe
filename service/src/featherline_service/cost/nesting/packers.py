"""Packing heuristics for rectangles on a strip of film. None is best for every mixture; `rectangles` compares several.

Millimetres; `x` across the strip, `y` along it. Every packer takes the allowed orientations of each rectangle and
lays all rectangles, or, on a strip no longer than `longest_mm`, as many as it finds room for.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from featherline_service.cost.nesting.equal_rectangles import (
    END_AFTER,
    END_FLATNESS,
    STEPS,
    Position,
    Size,
    in_rows,
    on_shelves,
)
from featherline_service.cost.nesting.skyline import TOLERANCE_MM, Skyline

_SAME_ROW: Final = 0.97
"""Rectangles at least this share of the tallest may share its row: the overshoot of capitals is about as large."""


def shelves(sizes: Sequence[Size], strip_mm: float, longest_mm: float = math.inf) -> list[Position]:
    """Pack rectangles on shelves without turning: tallest first, each on the fullest shelf with room for it.

    References:
        E. G. Coffman, M. R. Garey, D. S. Johnson, R. E. Tarjan, SIAM J. Comput. 9 (1980) 808: level packing by
        decreasing height, there next fit and first fit; best fit is the usual variant. From memory.
    """
    if is_one_size(sizes):
        return on_shelves(sizes[0], len(sizes), strip_mm, longest_mm).positions()
    positions: list[Position] = []
    bottoms: list[float] = []
    filled: list[float] = []
    # The shelves with room for the narrowest rectangle; no other takes any.
    unfilled: list[int] = []
    narrowest = min((width for width, _ in sizes), default=0.0)
    top = 0.0
    for index in sorted(range(len(sizes)), key=lambda index: (-sizes[index][1], -sizes[index][0], index)):
        width, height = sizes[index]
        open_shelves = [shelf for shelf in unfilled if filled[shelf] + width <= strip_mm + TOLERANCE_MM]
        if open_shelves:
            shelf = max(open_shelves, key=filled.__getitem__)
        elif width <= strip_mm + TOLERANCE_MM and top + height <= longest_mm + TOLERANCE_MM:
            shelf = len(filled)
            bottoms.append(top)
            filled.append(0.0)
            unfilled.append(shelf)
            top += height
        else:
            continue
        positions.append(Position(index, filled[shelf], bottoms[shelf], width, height))
        filled[shelf] += width
        if filled[shelf] + narrowest > strip_mm + TOLERANCE_MM:
            unfilled.remove(shelf)
    return positions


def best_fit(
    ways: Sequence[Sequence[Size]],
    strip_mm: float,
    longest_mm: float = math.inf,
    *,
    most_lost_mm2: float = math.inf,
    at_taller: bool,
) -> list[Position]:
    """Fill the lowest segment of the skyline with the widest rectangle that fits, until all are laid.

    Args:
        ways: the allowed orientations of each rectangle.
        strip_mm: width of the strip [mm].
        longest_mm: length of the strip [mm].
        most_lost_mm2: lost area at which packing stops with the remaining rectangles left out [mm^2].
        at_taller: whether a rectangle narrower than its segment lies against the taller neighbour, or the lower.

    References:
        E. K. Burke, G. Kendall, G. Whitwell, Operations Research 52 (2004) 655: the best-fit heuristic for orthogonal
        stock cutting, with the tallest and shortest neighbour placement. From memory.
    """
    waiting = sorted((width, height, index) for index, sizes in enumerate(ways) for width, height in sizes)
    laid = [False] * len(ways)
    line = Skyline(strip_mm)
    positions: list[Position] = []
    while len(positions) < len(ways) and line.lost_mm2 < most_lost_mm2:
        segment = line.lowest()
        y_mm = line.y_mm[segment]
        at = bisect_right(waiting, (line.width_mm[segment] + TOLERANCE_MM, math.inf, 0)) - 1
        while at >= 0 and (laid[waiting[at][2]] or y_mm + waiting[at][1] > longest_mm + TOLERANCE_MM):
            if laid[waiting[at][2]]:
                del waiting[at]
            at -= 1
        if at < 0:
            if not line.fill_up(segment):
                break
            continue
        width, height, index = waiting.pop(at)
        left, right = line.walls(segment)
        x_mm = line.lay(segment, width, height, at_left=(left >= right) == at_taller)
        laid[index] = True
        positions.append(Position(index, x_mm, y_mm, width, height))
    return positions


def row_fill(
    ways: Sequence[Sequence[Size]],
    strip_mm: float,
    longest_mm: float = math.inf,
    *,
    most_lost_mm2: float = math.inf,
    largest: bool,
    flatness: float,
    flat_end: bool = False,
) -> list[Position]:
    """Fill the lowest segment of the skyline with the best row of about equally tall rectangles, until all are laid.

    The rectangles of a row are a subset-sum problem, solved exactly on a grid of widths. Rows of different heights
    compete by the area that they lay, or by the width that they leave unfilled, and by how far they stand out.

    Args:
        ways: the allowed orientations of each rectangle.
        strip_mm: width of the strip [mm].
        longest_mm: length of the strip [mm].
        most_lost_mm2: lost area at which packing stops with the remaining rectangles left out [mm^2].
        largest: whether the row of the largest area is best, or the one that leaves the least width unfilled.
        flatness: penalty for standing out above the top of the packing; 0: none.
        flat_end: whether the last three tenths of the rectangles are laid by area with a small flatness.

    References:
        Lowest segment first: E. K. Burke, G. Kendall, G. Whitwell, Operations Research 52 (2004) 655. Subset sums by
        dynamic programming: S. Martello, P. Toth, *Knapsack Problems* (Wiley 1990), chapter 4. From memory.
    """
    if are_equal(ways):
        return in_rows(
            ways[0], len(ways), strip_mm, longest_mm,
            most_lost_mm2=most_lost_mm2, largest=largest, flatness=flatness, flat_end=flat_end,
        ).positions()  # fmt: skip
    stock = _Stock(ways, strip_mm / STEPS)
    line = Skyline(strip_mm)
    positions: list[Position] = []
    top = 0.0
    while len(positions) < len(ways) and line.lost_mm2 < most_lost_mm2:
        segment = line.lowest()
        y_mm, room = line.y_mm[segment], line.width_mm[segment]
        if flat_end and len(positions) > END_AFTER * len(ways):
            largest, flatness = True, END_FLATNESS
        best, least = _NO_ROW, math.inf
        for row in stock.fullest(room, longest_mm - y_mm):
            merit = row.width_mm / strip_mm if largest else row.width_mm / room - 1.0
            score = flatness * max(0.0, y_mm + row.height_mm - top) - row.height_mm * merit
            if score < least:
                best, least = row, score
        if not best.items:
            if not line.fill_up(segment):
                break
            continue
        left, right = line.walls(segment)
        x_mm = line.lay(segment, best.width_mm, best.height_mm, at_left=left >= right)
        for candidate in best.items:
            positions.append(Position(candidate.which, x_mm, y_mm, candidate.width_mm, candidate.height_mm))
            x_mm += candidate.width_mm
        stock.take(best)
        top = max(top, y_mm + best.height_mm)
    return positions


class _Candidate(NamedTuple):
    """A rectangle in one orientation; `which` is its index, `steps` its width on the grid."""

    width_mm: float
    which: int
    height_mm: float
    steps: int


class _Row(NamedTuple):
    """Candidates side by side, with their total width and greatest height."""

    items: list[_Candidate]
    width_mm: float
    height_mm: float


_NO_ROW: Final = _Row([], 0.0, 0.0)


class _Stock:
    """Rectangles not laid yet, in classes of about the same height, with a cache of their fullest rows."""

    def __init__(self, ways: Sequence[Sequence[Size]], unit_mm: float) -> None:
        self._classes = _height_classes(ways, unit_mm)
        self._unit_mm = unit_mm
        self._laid = [False] * len(ways)
        self._rows: dict[tuple[int, float, float], _Row] = {}

    def fullest(self, room_mm: float, tallest_mm: float) -> Iterator[_Row]:
        """Yield the fullest row of every class that has candidate.

        A cached row stays the fullest until one of its rectangles is laid: laying others only removes choices.
        """
        for number, candidates in enumerate(self._classes):
            if not candidates or candidates[-1].width_mm > room_mm + TOLERANCE_MM:
                continue
            row = self._rows.get((number, room_mm, tallest_mm))
            if row is None or any(self._laid[candidate.which] for candidate in row.items):
                candidates[:] = [candidate for candidate in candidates if not self._laid[candidate.which]]
                row = _fullest(candidates, room_mm, tallest_mm, self._unit_mm)
                self._rows[number, room_mm, tallest_mm] = row
            if row.items:
                yield row

    def take(self, row: _Row) -> None:
        """Mark the rectangles of a row as laid."""
        for candidate in row.items:
            self._laid[candidate.which] = True


def is_one_size(sizes: Sequence[object]) -> bool:
    """Return whether there are sizes, or ways to lie, and all are the same."""
    return len(sizes) > 0 and sizes.count(sizes[0]) == len(sizes)


def are_equal(ways: Sequence[Sequence[Size]]) -> bool:
    """Return whether all rectangles are the same, and differ in height where they are turned."""
    if not is_one_size(ways):
        return False
    heights = sorted(height for _, height in ways[0])
    return len(heights) == 1 or heights[0] < heights[-1] * _SAME_ROW


def _height_classes(ways: Sequence[Sequence[Size]], unit_mm: float) -> list[list[_Candidate]]:
    """Return the orientations in classes of about the same height, tallest class first, widest first within it."""
    by_height = sorted(
        (
            _Candidate(width, index, height, max(1, int(width / unit_mm + 0.5)))
            for index, sizes in enumerate(ways)
            for width, height in sizes
        ),
        key=lambda candidate: (-candidate.height_mm, -candidate.width_mm, candidate.which),
    )
    classes: list[list[_Candidate]] = []
    for candidate in by_height:
        if not classes or candidate.height_mm < classes[-1][0].height_mm * _SAME_ROW:
            classes.append([])
        classes[-1].append(candidate)
    for candidates in classes:
        candidates.sort(key=lambda candidate: (-candidate.width_mm, candidate.which))
    return classes


def _fullest(candidates: Sequence[_Candidate], room_mm: float, tallest_mm: float, unit_mm: float) -> _Row:
    """Return the row, each rectangle at most once, whose width comes nearest to the room without exceeding it."""
    if not candidates or candidates[-1].width_mm > room_mm + TOLERANCE_MM:
        return _NO_ROW
    room = int(room_mm / unit_mm + 0.5)
    full = 1 << room
    items: list[_Candidate] = []
    reached = [1]
    seen = set()
    copies = steps = 0
    for candidate in candidates:
        if (
            candidate.width_mm > room_mm + TOLERANCE_MM
            or candidate.height_mm > tallest_mm + TOLERANCE_MM
            or candidate.which in seen
        ):
            continue
        copies = copies + 1 if candidate.steps == steps else 1
        steps = candidate.steps
        if copies * steps > room:
            continue
        seen.add(candidate.which)
        items.append(candidate)
        sums = reached[-1] | reached[-1] << steps
        reached.append(sums)
        if sums & full:
            break
    return _largest_sum(items, reached, room, room_mm)


def _largest_sum(items: Sequence[_Candidate], reached: Sequence[int], room: int, room_mm: float) -> _Row:
    """Return the items of the largest sum that fits; grid widths are rounded, so true widths are summed again."""
    sums = reached[-1] & ((1 << (room + 1)) - 1)
    while sums > 1:
        target = sums.bit_length() - 1
        sums ^= 1 << target
        row = []
        for index in range(len(items) - 1, -1, -1):
            if not reached[index] >> target & 1:
                row.append(items[index])
                target -= items[index].steps
        width = sum(candidate.width_mm for candidate in row)
        if width <= room_mm + TOLERANCE_MM:
            return _Row(row, width, max(candidate.height_mm for candidate in row))
    return _NO_ROW
