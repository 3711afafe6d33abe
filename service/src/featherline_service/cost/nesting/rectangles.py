"""Rectangles nested on film: on a strip of the roll as short as can be found, or as many as go on an offcut.

Millimetres; `x` across the strip from 0 to its width, `y` along it from 0. Rectangles keep the gap from one another and
stay on the film; its edges need no gap, as a piece carries its weed border with it.

The gap is dealt with by adding it to every width and height and to the film: grown rectangles that touch are a gap
apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import chain
from math import inf
from typing import Final, Protocol

from msgspec import Struct

from featherline_service.cost.nesting.packers import Position, Size, best_fit, rows, shelves
from featherline_service.cost.nesting.skyline import TOUCH_MM

_LARGEST_FOR_ROWS: Final = 10_000
"""Rectangles times heights up to which filling rows exactly is worth its time."""

_MOST_TO_NARROW: Final = 60
"""Rectangles in a run whose width in use is worth a search; a longer run uses all of it, but for its end."""

_MOST_TO_TRY_ALL: Final = 240
"""Rectangles for an offcut up to which every packer is worth its time."""

_NARROWINGS: Final = 6
"""Halvings of the doubt about how little of the width would do."""

_WORTH_NARROWING: Final = 0.05
"""Share of the width in use that is worth a search for less."""

_TINY_MM2: Final = 1e-6
"""Areas that differ by less are the same."""

_AS_SHORT_MM: Final = 1e-6
"""Lengths that differ by less are the same."""


class NestingError(ValueError):
    """A rectangle does not go on the strip either way; `index` is its place in the sequence."""

    def __init__(self, index: int, width_mm: float, height_mm: float, strip_mm: float) -> None:
        super().__init__(
            f"A piece of {width_mm:.1f} x {height_mm:.1f} mm with its weed border does not go on film of which the "
            f"cutter can use {strip_mm:.1f} mm: make the artwork smaller or narrower"
        )
        self.index = index


class Nest(Struct, frozen=True, kw_only=True):
    """Rectangles as they lie, the length of strip that they take, and the width of it that they use."""

    positions: tuple[Position, ...]
    length_mm: float
    width_mm: float

    @property
    def area_mm2(self) -> float:
        """The film taken: length times the share of the width in use. What lies beside it stays usable as an offcut."""
        return self.length_mm * self.width_mm


def check_widths(sizes: Sequence[Size], *, strip_mm: float, turnable: bool) -> None:
    """Refuse rectangles that do not go on the strip.

    Raises:
        NestingError: a rectangle is wider than the strip whichever way it may lie.
    """
    for index, (width, height) in enumerate(sizes):
        narrowest = min(width, height) if turnable else width
        if narrowest > strip_mm + TOUCH_MM:
            raise NestingError(index, width, height, strip_mm)


def nest(sizes: Sequence[Size], *, strip_mm: float, gap_mm: float, turnable: bool) -> Nest:
    """Return rectangles nested on a strip: as short as found, and, of a short run, as narrow as found at that length.

    The best of several packers, none of which is the best for all mixtures. Deterministic: the same rectangles in the
    same order give the same nest.

    Args:
        sizes: width and height of each rectangle, weed border included [mm].
        strip_mm: width that the cutter can use [mm].
        gap_mm: distance to keep between rectangles [mm].
        turnable: whether a rectangle may lie turned by 90 degrees; not on film with a nap or a brushed grain.

    Raises:
        NestingError: a rectangle is wider than the strip whichever way it may lie.
    """
    check_widths(sizes, strip_mm=strip_mm, turnable=turnable)
    if not sizes:
        return Nest(positions=(), length_mm=0.0, width_mm=0.0)
    grown = [(width + gap_mm, height + gap_mm) for width, height in sizes]
    best = _shortest(grown, strip_mm + gap_mm, turnable)
    if len(grown) <= _MOST_TO_NARROW:
        best = _narrowed(grown, best, turnable)
    return _shrunk(best, gap_mm)


def fill(sizes: Sequence[Size], *, width_mm: float, height_mm: float, gap_mm: float, turnable: bool) -> Nest:
    """Return the rectangles that go on an offcut: as much area as found, in the smallest rectangle that holds them.

    Either side of the offcut may be the strip's width. Positions are on the offcut with its width along `x`.
    """
    across, along = width_mm + gap_mm, height_mm + gap_mm
    grown = [(width + gap_mm, height + gap_mm) for width, height in sizes]
    upright = [[(height, width) for width, height in one] for one in _ways(grown, turnable)]
    packings = chain(
        _on_offcut(_ways(grown, turnable), across, along),
        ([_turned(one) for one in positions] for positions in _on_offcut(upright, along, across)),
    )
    best = Nest(positions=(), length_mm=0.0, width_mm=0.0)
    for positions in packings:
        found = _shrunk(positions, gap_mm)
        more = _covered(found) - _covered(best)
        if more > _TINY_MM2 or (more >= -_TINY_MM2 and found.area_mm2 < best.area_mm2):
            best = found
        held = (best.length_mm + gap_mm) * (best.width_mm + gap_mm)
        if len(best.positions) == len(sizes) and sum(w * h for w, h in grown) >= held * (1 - _WORTH_NARROWING):
            break
    return best


def _ways(sizes: Sequence[Size], turnable: bool) -> list[list[Size]]:
    """Return the orientations that each rectangle may have, the lying one first."""
    if not turnable:
        return [[size] for size in sizes]
    return [[size] if size[0] == size[1] else sorted((size, size[::-1]), reverse=True) for size in sizes]


class _Packer(Protocol):
    """A packer with the rectangles and their orientations already given to it."""

    def __call__(self, strip_mm: float, longest_mm: float, *, most_lost_mm2: float) -> list[Position]: ...


def _allowed(ways: Sequence[Sequence[Size]], strip_mm: float) -> list[Sequence[Size]]:
    """Return the orientations in which each rectangle is no wider than the strip; where there is none, the first."""
    return [[size for size in own if size[0] <= strip_mm + TOUCH_MM] or own[:1] for own in ways]


def _on_shelves(allowed: Sequence[Sequence[Size]], strip_mm: float, longest_mm: float) -> list[list[Position]]:
    """Return the rectangles on shelves, all lying and all standing."""
    return [shelves([own[which] for own in allowed], strip_mm, longest_mm) for which in (0, -1)]


def _packers(allowed: Sequence[Sequence[Size]]) -> Iterator[_Packer]:
    """Yield the other packers with the orientations that they do well with, what is best for most mixtures first."""
    lying = [own[:1] for own in allowed]
    by_rows = [
        (lying, True, 0.1, False),
        (allowed, False, 0.5, False),
        (allowed, False, 0.0, False),
        (allowed, True, 0.3, False),
        (allowed, False, 0.5, True),
        (allowed, False, 0.0, True),
    ]
    worth_rows = len(allowed) * len({height for own in allowed for _, height in own}) <= _LARGEST_FOR_ROWS
    for ways, largest, flatness, flat_end in by_rows if worth_rows else ():
        yield partial(rows, ways, largest=largest, flatness=flatness, flat_end=flat_end)
    for ways in (lying, allowed) if not worth_rows or len(allowed) <= _MOST_TO_NARROW else ():
        for at_taller in (True, False):
            yield partial(best_fit, ways, at_taller=at_taller)


def _shortest(grown: Sequence[Size], strip_mm: float, turnable: bool, enough_mm: float = 0.0) -> list[Position]:
    """Return the shortest packing, or the first that is no longer than `enough_mm` or than any packing must be."""
    area = sum(width * height for width, height in grown)
    tallest = max(min(size) if turnable else size[1] for size in grown)
    least_mm = max(area / strip_mm, tallest, enough_mm)
    allowed = _allowed(_ways(grown, turnable), strip_mm)
    best = min(_on_shelves(allowed, strip_mm, inf), key=_length)
    for pack in _packers(allowed):
        best_mm = _length(best)
        if best_mm <= least_mm + _AS_SHORT_MM:
            break
        positions = pack(strip_mm, inf, most_lost_mm2=best_mm * strip_mm - area)
        if len(positions) == len(grown) and _length(positions) < best_mm - _AS_SHORT_MM:
            best = positions
    return best


def _on_offcut(ways: Sequence[Sequence[Size]], strip_mm: float, longest_mm: float) -> Iterator[list[Position]]:
    """Yield packings of as many rectangles as there is room for."""
    allowed = _allowed(ways, strip_mm)
    yield from _on_shelves(allowed, strip_mm, longest_mm)
    for pack in _packers(allowed) if len(ways) <= _MOST_TO_TRY_ALL else ():
        yield pack(strip_mm, longest_mm, most_lost_mm2=inf)


def _narrowed(grown: Sequence[Size], best: list[Position], turnable: bool) -> list[Position]:
    """Return a packing of no greater length that uses less of the width, where one is found by halving."""
    length = _length(best)
    broadest = max(min(size) if turnable else size[0] for size in grown)
    narrowest = max(sum(width * height for width, height in grown) / length, broadest)
    if _width(best) - narrowest > _WORTH_NARROWING * _width(best):
        best = _slid_left(best)
    for _ in range(_NARROWINGS):
        widest = _width(best)
        if widest - narrowest <= _WORTH_NARROWING * widest:
            break
        middle = (narrowest + widest) / 2
        found = _shortest(grown, middle, turnable, length)
        if _length(found) <= length + _AS_SHORT_MM:
            best = _slid_left(found)
        else:
            narrowest = middle
    return best


def _slid_left(positions: Sequence[Position]) -> list[Position]:
    """Return the rectangles slid to the left as far as each goes."""
    slid: list[Position] = []
    for one in sorted(positions, key=lambda one: one.x_mm):
        top = one.y_mm + one.height_mm - TOUCH_MM
        stops = [
            other.x_mm + other.width_mm
            for other in slid
            if other.y_mm < top and other.y_mm + other.height_mm > one.y_mm + TOUCH_MM
        ]
        slid.append(Position(one.index, max(stops, default=0.0), one.y_mm, one.width_mm, one.height_mm))
    return slid


def _width(positions: Sequence[Position]) -> float:
    return max(position.x_mm + position.width_mm for position in positions)


def _length(positions: Sequence[Position]) -> float:
    return max(position.y_mm + position.height_mm for position in positions)


def _turned(one: Position) -> Position:
    return Position(one.index, one.y_mm, one.x_mm, one.height_mm, one.width_mm)


def _shrunk(positions: Sequence[Position], gap_mm: float) -> Nest:
    """Return a packing of grown rectangles as a nest of the true ones."""
    shrunk = tuple(
        Position(one.index, one.x_mm, one.y_mm, one.width_mm - gap_mm, one.height_mm - gap_mm)
        for one in sorted(positions, key=lambda one: one.index)
    )
    return Nest(
        positions=shrunk,
        length_mm=max((one.y_mm + one.height_mm for one in shrunk), default=0.0),
        width_mm=max((one.x_mm + one.width_mm for one in shrunk), default=0.0),
    )


def _covered(found: Nest) -> float:
    return sum(one.width_mm * one.height_mm for one in found.positions)
