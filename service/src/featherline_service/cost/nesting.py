"""Rectangles on a strip of film: where each lies, and how much of the strip they take.

Millimetres; `x` across the strip from 0 to its width, `y` along it from 0. Rectangles do not overlap, keep the gap from
one another, and stay on the strip. The strip's edges need no gap: a piece carries its weed border with it.

The gap is dealt with by adding it to every width and height and to the strip: grown rectangles that touch are a gap
apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from msgspec import Struct

_TOUCH_MM: Final = 1e-9
"""Slack for sums of floats: far below what a cutter can place, far above their rounding."""


class NestingError(ValueError):
    """A rectangle does not go on the strip either way; `index` is its place in the sequence."""

    def __init__(self, index: int, width_mm: float, height_mm: float, strip_mm: float) -> None:
        super().__init__(
            f"A piece of {width_mm:.1f} x {height_mm:.1f} mm with its weed border does not go on film of which the "
            f"cutter can use {strip_mm:.1f} mm: make the artwork smaller or narrower"
        )
        self.index = index


class Position(Struct, frozen=True):
    """A rectangle as it lies: its place in the sequence, its lower left corner, its measures there."""

    index: int
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


class Nest(Struct, frozen=True, kw_only=True):
    """Rectangles as they lie, the length of strip that they take, and the width of it that they use."""

    positions: tuple[Position, ...]
    length_mm: float
    width_mm: float

    @property
    def area_mm2(self) -> float:
        """The film taken: length times the share of the width in use. What lies beside it stays usable as an offcut."""
        return self.length_mm * self.width_mm


Size = tuple[float, float]
"""Width and height of a rectangle [mm]."""


def orientations(sizes: Sequence[Size], strip_mm: float, turnable: bool) -> list[list[Size]]:
    """Return the orientations to try for all rectangles: lying, standing, as given.

    A rectangle that would be wider than the strip is turned where turning is allowed.

    Raises:
        NestingError: a rectangle is wider than the strip whichever way it may lie.
    """
    given = list(sizes)
    for index, (width, height) in enumerate(sizes):
        if width > strip_mm + _TOUCH_MM:
            if not turnable or height > strip_mm + _TOUCH_MM:
                raise NestingError(index, width, height, strip_mm)
            given[index] = (height, width)
    if not turnable:
        return [given]
    lying = [(max(size), min(size)) if max(size) <= strip_mm + _TOUCH_MM else (min(size), max(size)) for size in given]
    standing = [(min(size), max(size)) for size in given]
    return [lying, standing, given]


def _shelves(sizes: Sequence[Size], strip_mm: float, gap_mm: float, longest_mm: float = math.inf) -> list[Position]:
    """Return the rectangles on shelves: tallest first, each on the fullest shelf that still takes it.

    On a strip no longer than `longest_mm`, rectangles for which there is no shelf are left out.

    References:
        J. E. Coffman, M. R. Garey, D. S. Johnson, R. E. Tarjan, SIAM J. Comput. 9 (1980) 808: level packing by
        decreasing height (there next fit and first fit; best fit is the usual variant). From memory.
    """
    order = sorted(range(len(sizes)), key=lambda index: (-sizes[index][1], -sizes[index][0], index))
    shelf_y: list[float] = []
    used: list[float] = []
    top = 0.0
    positions = []
    for index in order:
        width, height = sizes[index]
        best = -1
        for shelf, so_far in enumerate(used):
            if so_far + width <= strip_mm + _TOUCH_MM and (best < 0 or so_far > used[best]):
                best = shelf
        if best < 0:
            if width > strip_mm + _TOUCH_MM or top + height > longest_mm + _TOUCH_MM:
                continue
            best = len(used)
            shelf_y.append(top)
            used.append(0.0)
            top += height + gap_mm
        positions.append(Position(index, used[best], shelf_y[best], width, height))
        used[best] += width + gap_mm
    return positions


def _measured(positions: Sequence[Position]) -> Nest:
    return Nest(
        positions=tuple(sorted(positions, key=lambda position: position.index)),
        length_mm=max((position.y_mm + position.height_mm for position in positions), default=0.0),
        width_mm=max((position.x_mm + position.width_mm for position in positions), default=0.0),
    )


def nest(sizes: Sequence[Size], *, strip_mm: float, gap_mm: float, turnable: bool) -> Nest:
    """Return rectangles nested on a strip of film: shortest length first, then least width in use.

    Deterministic: the same rectangles in the same order give the same nest.

    Args:
        sizes: width and height of each rectangle, weed border included [mm].
        strip_mm: width that the cutter can use [mm].
        gap_mm: distance to keep between rectangles [mm].
        turnable: whether a rectangle may lie turned by 90 degrees; not on film with a nap or a brushed grain.

    Raises:
        NestingError: a rectangle is wider than the strip whichever way it may lie.
    """
    nests = [_measured(_shelves(oriented, strip_mm, gap_mm)) for oriented in orientations(sizes, strip_mm, turnable)]
    return min(nests, key=lambda found: (round(found.length_mm, 6), found.width_mm))


def fill(sizes: Sequence[Size], *, width_mm: float, height_mm: float, gap_mm: float, turnable: bool) -> Nest:
    """Return the rectangles that go on an offcut: as much area as found, in the smallest rectangle that holds them.

    Either side of the offcut may be the strip's width. Positions are on the offcut with its width along `x`.
    """
    ways = [list(sizes)]
    if turnable:
        ways = [[(max(size), min(size)) for size in sizes], [(min(size), max(size)) for size in sizes], *ways]
    nests = []
    for oriented in ways:
        nests.append(_measured(_shelves(oriented, width_mm, gap_mm, height_mm)))
        across = [(height, width) for width, height in oriented]
        turned = _shelves(across, height_mm, gap_mm, width_mm)
        nests.append(
            _measured([Position(one.index, one.y_mm, one.x_mm, one.height_mm, one.width_mm) for one in turned])
        )
    return min(nests, key=lambda found: (-round(_area(found), 6), found.area_mm2))


def _area(found: Nest) -> float:
    return sum(position.width_mm * position.height_mm for position in found.positions)
