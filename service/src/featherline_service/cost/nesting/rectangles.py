"""Rectangle nesting: on a strip as short as the packers find, or as many as fit an offcut.

Millimetres; `x` across the strip from 0 to its width, `y` along it from 0. Rectangles keep the gap from one another and
stay on the film; the edges of the film need no gap, as a piece includes its weed border.

The gap is added to every width and height and to the film: enlarged rectangles that touch are a gap apart.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from functools import partial
from itertools import chain
from math import ceil, floor, inf
from operator import attrgetter
from typing import Final, Protocol

from msgspec import Struct

from featherline_service.cost.nesting.equal_rectangles import Extent, Position, Size, in_rows, on_shelves
from featherline_service.cost.nesting.packers import are_equal, best_fit, is_one_size, row_fill, shelves
from featherline_service.cost.nesting.skyline import TOLERANCE_MM

_LARGEST_FOR_ROWS: Final = 10_000
"""Rectangles times distinct heights up to which rows are filled exactly; beyond, it takes too long."""

_MOST_TO_NARROW: Final = 60
"""Most rectangles for which a narrower nest is searched; a longer run uses the whole width anyway."""

_MOST_TO_TRY_ALL: Final = 240
"""Most rectangles for which every packer is tried on an offcut."""

_NARROWINGS: Final = 6
"""Bisection steps of the search for the least width."""

_WIDTH_TOLERANCE: Final = 0.05
"""Share of the used width below which a narrower nest is not searched."""

_TINY_MM2: Final = 1e-6
"""Areas that differ by less count as equal."""

_AS_SHORT_MM: Final = 1e-6
"""Lengths that differ by less count as equal."""

_LONGER_MM: Final = 1e-5
"""More than the packers' tolerances add up to."""

_PARTS: Final = (1, 2, 3)
"""Heights are rounded to whole parts of a length, so many, for bounds of the width; the largest bound counts."""


class NestingError(ValueError):
    """A rectangle is wider than the strip in every allowed orientation; `index` is its index in the sequence."""

    def __init__(self, index: int, width_mm: float, height_mm: float, strip_mm: float) -> None:
        super().__init__(
            f"A piece of {width_mm:.1f} x {height_mm:.1f} mm with its weed border does not go on film of which the "
            f"cutter can use {strip_mm:.1f} mm: make the artwork smaller or narrower"
        )
        self.index = index
        self.size_mm, self.strip_mm = (width_mm, height_mm), strip_mm


class Nest(Struct, frozen=True, kw_only=True):
    """Laid rectangles, the length of strip, and the width used [mm]."""

    positions: tuple[Position, ...]
    length_mm: float
    width_mm: float

    @property
    def area_mm2(self) -> float:
        """Film taken: length times used width; the film beside it is left as an offcut."""
        return self.length_mm * self.width_mm


def check_widths(sizes: Sequence[Size], *, strip_mm: float, turnable: bool) -> None:
    """Refuse rectangles that do not fit the strip.

    Raises:
        NestingError: a rectangle is wider than the strip in every allowed orientation.
    """
    for width, height in dict.fromkeys(sizes):
        narrowest = min(width, height) if turnable else width
        if narrowest > strip_mm + TOLERANCE_MM:
            raise NestingError(sizes.index((width, height)), width, height, strip_mm)


def nest(sizes: Sequence[Size], *, strip_mm: float, gap_mm: float, turnable: bool) -> Nest:
    """Return the shortest nest on a strip among several packers; a short run is then narrowed at that length.

    Deterministic: the same rectangles in the same order give the same nest.

    Args:
        sizes: width and height of each rectangle, weed border included [mm].
        strip_mm: width that the cutter can use [mm].
        gap_mm: distance to keep between rectangles [mm].
        turnable: whether a rectangle may lie turned by 90 degrees; not on film with a nap or a brushed grain.

    Raises:
        NestingError: a rectangle is wider than the strip in every allowed orientation.
    """
    best = _best(sizes, strip_mm, gap_mm, turnable)
    return Nest(positions=(), length_mm=0.0, width_mm=0.0) if best is None else _shrunk(best.positions(), gap_mm)


def nest_extent_mm(sizes: Sequence[Size], *, strip_mm: float, gap_mm: float, turnable: bool) -> Size:
    """Return length and width of what `nest` returns, which takes less where all rectangles are equal [mm].

    Raises:
        NestingError: a rectangle is wider than the strip in every allowed orientation.
    """
    best = _best(sizes, strip_mm, gap_mm, turnable)
    return (0.0, 0.0) if best is None else best.extent(gap_mm)[:2]


def _best(sizes: Sequence[Size], strip_mm: float, gap_mm: float, turnable: bool) -> _Packing | None:
    """Return the shortest packing of enlarged rectangles, narrowed where they are few; None without rectangles."""
    check_widths(sizes, strip_mm=strip_mm, turnable=turnable)
    if not sizes:
        return None
    grown = _grown(sizes, gap_mm)
    best = _shortest(grown, strip_mm + gap_mm, turnable)
    if len(grown) <= _MOST_TO_NARROW:
        return _Laid(_narrowed(grown, best.positions(), turnable))
    return best


def _grown(sizes: Sequence[Size], gap_mm: float) -> list[Size]:
    if is_one_size(sizes):
        return [(sizes[0][0] + gap_mm, sizes[0][1] + gap_mm)] * len(sizes)
    return [(width + gap_mm, height + gap_mm) for width, height in sizes]


def pack_rectangles(sizes: Sequence[Size], *, width_mm: float, height_mm: float, gap_mm: float, turnable: bool) -> Nest:
    """Return the packing of an offcut with the largest covered area; of equals, the smallest bounding rectangle.

    Either side of the offcut may be the strip's width. Positions are on the offcut with its width along `x`.
    """
    across, along = width_mm + gap_mm, height_mm + gap_mm
    grown = _grown(sizes, gap_mm)
    upright = [[(height, width) for width, height in sizes_of] for sizes_of in _ways(grown, turnable)]
    packings = chain(
        ((packing, False) for packing in _on_offcut(_ways(grown, turnable), across, along)),
        ((packing, True) for packing in _on_offcut(upright, along, across)),
    )
    best: tuple[_Packing, bool] | None = None
    covered = best_mm2 = 0.0
    most, least_mm2 = _bounds(grown, across, along, gap_mm, turnable)
    area_mm2 = _area_mm2(grown)
    for packing, is_turned in packings:
        length_mm, used_mm, now_covered = packing.extent(gap_mm)
        now_mm2 = length_mm * used_mm
        more = now_covered - covered
        if more > _TINY_MM2 or (more >= -_TINY_MM2 and now_mm2 < best_mm2):
            best, covered, best_mm2 = (packing, is_turned), now_covered, now_mm2
            bounding_mm2 = (length_mm + gap_mm) * (used_mm + gap_mm)
            if packing.count == len(sizes) and area_mm2 >= bounding_mm2 * (1 - _WIDTH_TOLERANCE):
                break
        if best is not None and best[0].count == most and best_mm2 <= least_mm2 + _TINY_MM2:
            break
    if best is None:
        return Nest(positions=(), length_mm=0.0, width_mm=0.0)
    positions = best[0].positions()
    return _shrunk([*map(_turned, positions)] if best[1] else positions, gap_mm)


def _bounds(grown: Sequence[Size], across: float, along: float, gap_mm: float, turnable: bool) -> tuple[int, float]:
    """Return how many of equal rectangles go on an offcut at most, and the least area in which so many are laid.

    Each covers one point, and no other one, of a grid as wide and as high as it is, or as its shorter side where it may
    be turned; and their areas add up. The sides of the area are as in `_least_length`. Nothing is known where
    rectangles differ; nor without a gap, as areas then differ by rounding alone.
    """
    if len(set(grown)) != 1 or not gap_mm:
        return len(grown), 0.0
    width, height = grown[0]
    cell = (min(grown[0]),) * 2 if turnable else grown[0]
    by_grid = int((across + TOLERANCE_MM) / cell[0]) * int((along + TOLERANCE_MM) / cell[1])
    most = min(len(grown), by_grid, int(across * along / (width * height) + TOLERANCE_MM))
    widths = _sums(width, height if turnable else width, across)
    heights = _sums(height, width if turnable else height, along)
    areas = []
    for wide in widths:
        at = bisect_left(heights, most * width * height / wide - _AS_SHORT_MM)
        areas += [(wide - gap_mm) * (high - gap_mm) for high in heights[at : at + 1]]
    return most, min(areas, default=0.0)


def _sums(one: float, other: float, room_mm: float) -> list[float]:
    """Return all sums of two sides up to a room, increasing."""
    room_mm += TOLERANCE_MM
    sums = {
        count * one + others * other
        for count in range(int(room_mm / one) + 1)
        for others in range(int((room_mm - count * one) / other) + 1)
    }
    return sorted(sums - {0.0})


def _area_mm2(sizes: Sequence[Size]) -> float:
    if is_one_size(sizes):
        return sum([sizes[0][0] * sizes[0][1]] * len(sizes))
    return sum(width * height for width, height in sizes)


def _ways(sizes: Sequence[Size], turnable: bool) -> list[list[Size]]:
    """Return the allowed orientations of each rectangle, the lying one first."""
    if len(sizes) > 1 and is_one_size(sizes):
        return _ways(sizes[:1], turnable) * len(sizes)
    if not turnable:
        return [[size] for size in sizes]
    return [[size] if size[0] == size[1] else sorted((size, size[::-1]), reverse=True) for size in sizes]


class _Packing(Protocol):
    """Laid rectangles: how many, on which length of strip [mm]."""

    @property
    def count(self) -> int: ...

    @property
    def length_mm(self) -> float: ...

    def extent(self, gap_mm: float) -> Extent:
        """Return what is taken without the gap that was added to each rectangle [mm]."""
        ...

    def positions(self) -> list[Position]:
        """Return where the rectangles lie."""
        ...


class _Laid(Struct, frozen=True):
    """A packing of any rectangles, known by their positions."""

    laid: list[Position]

    @property
    def count(self) -> int:
        return len(self.laid)

    @property
    def length_mm(self) -> float:
        return _length(self.laid)

    def extent(self, gap_mm: float) -> Extent:
        nested = _shrunk(self.laid, gap_mm)
        covered_mm2 = sum([laid.width_mm * laid.height_mm for laid in nested.positions])
        return Extent(nested.length_mm, nested.width_mm, covered_mm2)

    def positions(self) -> list[Position]:
        return self.laid


class _Packer(Protocol):
    """A packer with its rectangles bound."""

    def __call__(self, strip_mm: float, longest_mm: float, *, most_lost_mm2: float) -> _Packing: ...


def _allowed(ways: Sequence[Sequence[Size]], strip_mm: float) -> list[Sequence[Size]]:
    """Return the orientations of each rectangle no wider than the strip; where there is none, the first."""
    if len(ways) > 1 and is_one_size(ways):
        return _allowed(ways[:1], strip_mm) * len(ways)
    return [[size for size in sizes if size[0] <= strip_mm + TOLERANCE_MM] or sizes[:1] for sizes in ways]


def _on_shelves(allowed: Sequence[Sequence[Size]], strip_mm: float, longest_mm: float) -> list[_Packing]:
    """Return the shelf packings with all rectangles lying and all standing."""
    if is_one_size(allowed):
        return [on_shelves(allowed[0][which], len(allowed), strip_mm, longest_mm) for which in (0, -1)]
    return [_Laid(shelves([sizes[which] for sizes in allowed], strip_mm, longest_mm)) for which in (0, -1)]


def _filled(
    ways: Sequence[Sequence[Size]],
    strip_mm: float,
    longest_mm: float,
    *,
    most_lost_mm2: float,
    largest: bool,
    flatness: float,
    flat_end: bool,
) -> _Packing:
    if are_equal(ways):
        return in_rows(
            ways[0], len(ways), strip_mm, longest_mm,
            most_lost_mm2=most_lost_mm2, largest=largest, flatness=flatness, flat_end=flat_end,
        )  # fmt: skip
    return _Laid(
        row_fill(
            ways, strip_mm, longest_mm,
            most_lost_mm2=most_lost_mm2, largest=largest, flatness=flatness, flat_end=flat_end,
        )
    )  # fmt: skip


def _best_fitted(
    ways: Sequence[Sequence[Size]], strip_mm: float, longest_mm: float, *, most_lost_mm2: float, at_taller: bool
) -> _Packing:
    return _Laid(best_fit(ways, strip_mm, longest_mm, most_lost_mm2=most_lost_mm2, at_taller=at_taller))


def _packers(allowed: Sequence[Sequence[Size]]) -> Iterator[_Packer]:
    """Yield the other packers with suitable orientations, those that are best most often first."""
    lying = [allowed[0][:1]] * len(allowed) if is_one_size(allowed) else [sizes[:1] for sizes in allowed]
    by_rows = [
        (lying, True, 0.1, False),
        (allowed, False, 0.5, False),
        (allowed, False, 0.0, False),
        (allowed, True, 0.3, False),
        (allowed, False, 0.5, True),
        (allowed, False, 0.0, True),
    ]
    different = allowed[:1] if is_one_size(allowed) else allowed
    worth_rows = len(allowed) * len({height for sizes in different for _, height in sizes}) <= _LARGEST_FOR_ROWS
    for ways, largest, flatness, flat_end in by_rows if worth_rows else ():
        yield partial(_filled, ways, largest=largest, flatness=flatness, flat_end=flat_end)
    for ways in (lying, allowed) if not worth_rows or len(allowed) <= _MOST_TO_NARROW else ():
        for at_taller in (True, False):
            yield partial(_best_fitted, ways, at_taller=at_taller)


def _shortest(grown: Sequence[Size], strip_mm: float, turnable: bool, enough_mm: float = 0.0) -> _Packing:
    """Return the shortest packing, or the first no longer than `enough_mm` or the lower bound."""
    area = _area_mm2(grown)
    tallest = max(min(size) if turnable else size[1] for size in set(grown))
    least_mm = max(area / strip_mm, tallest, enough_mm, _least_length(grown, strip_mm, turnable))
    allowed = _allowed(_ways(grown, turnable), strip_mm)
    best = min(_on_shelves(allowed, strip_mm, inf), key=attrgetter("length_mm"))
    best_mm = best.length_mm
    for pack in _packers(allowed):
        if best_mm <= least_mm + _AS_SHORT_MM:
            break
        packing = pack(strip_mm, inf, most_lost_mm2=best_mm * strip_mm - area)
        if packing.count == len(grown) and (length_mm := packing.length_mm) < best_mm - _AS_SHORT_MM:
            best, best_mm = packing, length_mm
    return best


def _least_length(grown: Sequence[Size], strip_mm: float, turnable: bool) -> float:
    """Return a lower bound for the length of packings of equal rectangles; zero where they differ.

    Pushed into a corner, rectangles end at sums of their sides: so does the packing, and so does the width in use.

    References:
        N. Christofides, C. Whitlock, Operations Research 25 (1977) 30: normal patterns. From memory.
    """
    if len(set(grown)) > 1:
        return 0.0
    width, height = grown[0]
    across, up = (height, width) if turnable else (width, height)  # the other side that a sum may have
    room_mm = strip_mm + _AS_SHORT_MM
    used_mm = max(
        count * width + floor((room_mm - count * width) / across) * across
        for count in range(min(int(room_mm / width), len(grown)) + 1)
    )
    needed_mm = max(0.0, len(grown) * width * height / used_mm - _AS_SHORT_MM)
    return min(
        count * height + max(0, ceil((needed_mm - count * height) / up)) * up
        for count in range(min(int(needed_mm / height) + 1, len(grown)) + 1)
    )


def _on_offcut(ways: Sequence[Sequence[Size]], strip_mm: float, longest_mm: float) -> Iterator[_Packing]:
    """Yield packings of as many rectangles as each packer finds room for."""
    allowed = _allowed(ways, strip_mm)
    yield from _on_shelves(allowed, strip_mm, longest_mm)
    for pack in _packers(allowed) if len(ways) <= _MOST_TO_TRY_ALL else ():
        yield pack(strip_mm, longest_mm, most_lost_mm2=inf)


def _narrowed(grown: Sequence[Size], best: list[Position], turnable: bool) -> list[Position]:
    """Return a packing of no greater length and less width, where bisection finds one."""
    length = _length(best)
    broadest = max(min(size) if turnable else size[0] for size in set(grown))
    narrowest = max(_area_mm2(grown) / length, broadest)
    if _width(best) - narrowest > _WIDTH_TOLERANCE * _width(best):
        best = _slid_left(best)
    least = _least_width(_ways(grown, turnable), length + _LONGER_MM) - _LONGER_MM
    for _ in range(_NARROWINGS):
        widest = _width(best)
        if widest - narrowest <= _WIDTH_TOLERANCE * widest:
            break
        middle = (narrowest + widest) / 2
        narrower = _shortest(grown, middle, turnable, length) if middle >= least else None
        if narrower is not None and narrower.length_mm <= length + _AS_SHORT_MM:
            best = _slid_left(narrower.positions())
        else:
            narrowest = middle
    return best


def _least_width(ways: Sequence[Sequence[Size]], length_mm: float) -> float:
    """Return a lower bound for the width of all packings that are no longer than this.

    Heights count as shares of the length, rounded such that what is stacked within the length adds up to 1 at most:
    with one part, rectangles of more than half the length lie side by side.

    References:
        S. P. Fekete, J. Schepers, Mathematical Programming 91 (2001) 11: bounds by the dual feasible functions u(k),
        here strictly below their steps. From memory.
    """
    return max(
        sum(
            min(width * (ceil((parts + 1) * height / length_mm) - 1) / parts for width, height in sizes)
            for sizes in ways
        )
        for parts in _PARTS
    )


def _slid_left(positions: Sequence[Position]) -> list[Position]:
    """Return the rectangles pushed to the left as far as possible."""
    slid: list[Position] = []
    for laid in sorted(positions, key=lambda position: position.x_mm):
        top = laid.y_mm + laid.height_mm - TOLERANCE_MM
        stops = [
            other.x_mm + other.width_mm
            for other in slid
            if other.y_mm < top and other.y_mm + other.height_mm > laid.y_mm + TOLERANCE_MM
        ]
        slid.append(Position(laid.index, max(stops, default=0.0), laid.y_mm, laid.width_mm, laid.height_mm))
    return slid


def _width(positions: Sequence[Position]) -> float:
    return max([position.x_mm + position.width_mm for position in positions])


def _length(positions: Sequence[Position]) -> float:
    return max([position.y_mm + position.height_mm for position in positions])


def _turned(position: Position) -> Position:
    return Position(position.index, position.y_mm, position.x_mm, position.height_mm, position.width_mm)


def _shrunk(positions: Sequence[Position], gap_mm: float) -> Nest:
    """Return a packing of enlarged rectangles as a nest of the true ones."""
    shrunk = tuple(
        Position(laid.index, laid.x_mm, laid.y_mm, laid.width_mm - gap_mm, laid.height_mm - gap_mm)
        for laid in sorted(positions, key=attrgetter("index"))
    )
    return Nest(
        positions=shrunk,
        length_mm=_length(shrunk) if shrunk else 0.0,
        width_mm=_width(shrunk) if shrunk else 0.0,
    )
