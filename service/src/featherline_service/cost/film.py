"""Film needed for an order: pieces cut from offcuts, and the length of roll for the rest."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from functools import cache
from typing import Final

from msgspec import Struct

from featherline_service.cost.film_purchase import FilmRoll, LoadRule, charged_mm2
from featherline_service.cost.nesting.equal_rectangles import Position, Size
from featherline_service.cost.nesting.offcut_packing import Outline, enclosed_area_mm2, pack_offcut
from featherline_service.cost.nesting.outline_nesting import Outline as PieceOutline
from featherline_service.cost.nesting.outline_nesting import OutlineNest, Shape, nest_outlines
from featherline_service.cost.nesting.rectangles import check_widths, nest_extent_mm, pack_rectangles
from featherline_service.runtime.cache import cached

LARGEST_NEST: Final = 240
"""Most rectangles nested at once; a longer run is nested in batches, one after the other."""

_LEAST_MIXED_SHARE: Final = 0.5
"""Least share of a batch that a proportional mixture fills; below it, the batch takes the tallest pieces first."""

SMALLEST_KEPT_MM: Final = 25.0
"""Remnants narrower than this are thrown away [mm]: narrower than a small graphic; our judgement."""


_NO_LOSS: Final = LoadRule()


class Piece(Struct, frozen=True, kw_only=True):
    """A rectangle of film with its weed border [mm], and the number needed; `outline` is its true shape."""

    width_mm: float
    height_mm: float
    count: int
    outline: PieceOutline | None = None

    @property
    def area_mm2(self) -> float:
        """Area of the bounding rectangle of one piece [mm^2]."""
        return self.width_mm * self.height_mm


class Offcut(Struct, frozen=True, kw_only=True):
    """A remnant in stock [mm]: a rectangle, or the inside of `outline`, whose bounding box it then is."""

    id: str
    width_mm: float
    height_mm: float
    outline: Outline | None = None

    @property
    def area_mm2(self) -> float:
        """Its area [mm^2]."""
        return self.width_mm * self.height_mm if self.outline is None else enclosed_area_mm2(self.outline)


class Remnant(Struct, frozen=True, kw_only=True):
    """The largest rectangle left beside or beyond the film taken [mm]."""

    width_mm: float
    height_mm: float


class OffcutUse(Struct, frozen=True, kw_only=True):
    """Film taken from an offcut: number of pieces, area of their bounding rectangle, and the remnant worth keeping."""

    id: str
    pieces: int
    area_mm2: float
    left: Remnant | None


class Row(Struct, frozen=True, kw_only=True):
    """A row of a roster: how many of each piece a pair needs, in the order of the pieces, and the number of pairs."""

    per_pair: tuple[int, ...]
    pairs: int


class FilmTaken(Struct, frozen=True, kw_only=True):
    """Film taken for an order: from offcuts, and from a length of the roll and part of its width.

    `too_small` are the offcuts on which no piece fits. With `outlined`, the pieces on the roll are nested by their
    outlines, and `piece_area_mm2` counts the area of these outlines instead of their rectangles. `charged_mm2` is the
    roll film charged at the roll's price: where `apart`, that of the same pieces nested row by row.
    """

    pieces: int
    piece_area_mm2: float
    offcuts: tuple[OffcutUse, ...]
    too_small: tuple[str, ...]
    roll_length_mm: float
    roll_used_mm: float
    roll_left: Remnant | None
    charged_mm2: float
    apart: bool = False
    outlined: bool = False

    @property
    def roll_area_mm2(self) -> float:
        """Roll film taken: length times used width; the film beside it is left as an offcut."""
        return self.roll_length_mm * self.roll_used_mm


_Rectangles = tuple[tuple[Size, int], ...]
"""Sizes of rectangles, and how many there are of each."""


def _rectangles(pieces: Sequence[Piece], counts: Sequence[int]) -> _Rectangles:
    return tuple(((piece.width_mm, piece.height_mm), count) for piece, count in zip(pieces, counts, strict=True))


def _from_offcut(
    pieces: Sequence[Piece], left: Sequence[int], offcut: Offcut, gap_mm: float, turnable: bool
) -> tuple[OffcutUse, list[int]]:
    """Return the film taken from an offcut for the remaining pieces, and how many of each piece it holds."""
    room = offcut.area_mm2 + (offcut.width_mm + offcut.height_mm + gap_mm) * gap_mm
    # No more copies than the area can hold, so that a long run takes no longer to pack than a short one.
    most = [
        min(count, int(room / ((piece.width_mm + gap_mm) * (piece.height_mm + gap_mm)) + 1e-9))
        for piece, count in zip(pieces, left, strict=True)
    ]
    cut, area_mm2, remnant = _packed(_rectangles(pieces, most), offcut, gap_mm, turnable)
    return OffcutUse(id=offcut.id, pieces=sum(cut), area_mm2=area_mm2, left=remnant), list(cut)


@cached
def _packed(
    rectangles: _Rectangles, offcut: Offcut, gap_mm: float, turnable: bool
) -> tuple[tuple[int, ...], float, Remnant | None]:
    """Return how many rectangles of each size an offcut holds, the area that they take of it, and the remnant.

    The longer runs of a price list all fill an offcut alike.
    """
    sizes = [size for size, count in rectangles for _ in range(count)]
    kinds = [kind for kind, (_, count) in enumerate(rectangles) for _ in range(count)]
    positions: Sequence[Position]
    if offcut.outline is not None:
        within = pack_offcut(sizes, offcut.outline, gap_mm=gap_mm, turnable=turnable)
        positions, area_mm2, remnant = within.positions, within.area_mm2, _worth_keeping(within.left)
    else:
        packed = pack_rectangles(
            sizes, width_mm=offcut.width_mm, height_mm=offcut.height_mm, gap_mm=gap_mm, turnable=turnable
        )
        positions, area_mm2 = packed.positions, packed.area_mm2
        remnant = _worth_keeping(
            (offcut.width_mm - packed.width_mm, offcut.height_mm),
            (offcut.width_mm, offcut.height_mm - packed.length_mm),
        )
    laid = Counter(kinds[position.index] for position in positions)
    return tuple(laid[kind] for kind in range(len(rectangles))), area_mm2, remnant


def _worth_keeping(*sizes: Size) -> Remnant | None:
    """Return the largest of the rectangles, or None where it is too narrow to keep."""
    width, height = max(sizes, key=lambda size: size[0] * size[1])
    return Remnant(width_mm=width, height_mm=height) if min(width, height) >= SMALLEST_KEPT_MM else None


def _roll_length(  # noqa: PLR0917 - the arguments of the roll
    pieces: Sequence[Piece], left: Sequence[int], strip_mm: float, gap_mm: float, turnable: bool, largest_nest: int
) -> tuple[float, float]:
    """Return the length and used width of roll for the remaining number of each piece [mm]."""
    length = used = 0.0
    remaining = list(left)
    while any(remaining):
        batch = _batch(pieces, remaining, largest_nest)
        times = min(count // per_batch for count, per_batch in zip(remaining, batch, strict=True) if per_batch)
        nest_mm, across_mm = _nested(_rectangles(pieces, batch), strip_mm, gap_mm, turnable)
        length += times * (nest_mm + gap_mm)
        used = max(used, across_mm)
        remaining = [count - times * per_batch for count, per_batch in zip(remaining, batch, strict=True)]
    return max(length - gap_mm, 0.0), used


@cached
def _nested(rectangles: _Rectangles, strip_mm: float, gap_mm: float, turnable: bool) -> tuple[float, float]:
    """Return length and used width of a nest: the runs of a price list and the rows of a roster ask for the same."""
    sizes = [size for size, count in rectangles for _ in range(count)]
    return nest_extent_mm(sizes, strip_mm=strip_mm, gap_mm=gap_mm, turnable=turnable)


def _batch(pieces: Sequence[Piece], remaining: Sequence[int], largest_nest: int) -> list[int]:
    """Return how many of each piece to nest next: all, a proportional mixture, or the tallest that fill a batch."""
    pieces_left = sum(remaining)
    if pieces_left <= largest_nest:
        return list(remaining)
    mixture = [count * largest_nest // pieces_left for count in remaining]
    if sum(mixture) >= _LEAST_MIXED_SHARE * largest_nest:
        return mixture
    batch = [0] * len(pieces)
    room = largest_nest
    for kind in sorted(range(len(pieces)), key=lambda kind: (-pieces[kind].height_mm, -pieces[kind].width_mm)):
        batch[kind] = min(remaining[kind], room)
        room -= batch[kind]
    return batch


def take_film(
    pieces: tuple[Piece, ...],
    *,
    roll: FilmRoll,
    rule: LoadRule = _NO_LOSS,
    strip_mm: float,
    gap_mm: float,
    turnable: bool,
    offcuts: tuple[tuple[Offcut, ...], ...],
    outlines_s: int = 0,
    rows: tuple[Row, ...] = (),
    largest_nest: int = LARGEST_NEST,
) -> FilmTaken:
    """Return the film taken for the pieces: offcuts first, then the roll.

    The smallest offcut that holds all remaining pieces is used; where none does, the largest is filled first. The film
    taken from an offcut is the bounding rectangle of the pieces on it.

    Args:
        pieces: the pieces with their weed border, no two of the same size and outline.
        roll: the roll.
        rule: losses of every load of the roll, and the worth of remnants; offcuts are cut without losses.
        strip_mm: width of the roll that the cutter can use [mm].
        gap_mm: distance between pieces [mm].
        turnable: whether pieces may be turned by 90 degrees.
        offcuts: offcuts of this film and colour, in groups; a group is used up before the next.
        outlines_s: time to search for a shorter nest of the outlines on the roll [s]; 0: no search.
        rows: the rows that the pieces are of. With them, and without offcuts, the roll film charged is at most the sum
            for each row as an order of its own, and for each pair: a single order's rectangle includes no gap to the
            order cut next to it, and nested together, pieces have a gap all around. With offcuts, at most the share of
            that sum which the pieces on the roll have in the area of all pieces.
        largest_nest: most rectangles nested at once.

    Raises:
        NestingError: a piece does not fit the roll; `index` is its index in `pieces`.
        ValueError: the rows do not add up to the pieces.
    """
    check_widths([(piece.width_mm, piece.height_mm) for piece in pieces], strip_mm=strip_mm, turnable=turnable)
    left = [piece.count for piece in pieces]
    taken: list[OffcutUse] = []
    too_small: list[str] = []
    for group in offcuts:
        unused = sorted(group, key=lambda offcut: (offcut.area_mm2, offcut.id))
        while unused and any(left):
            offcut, used, cut = _best_offcut(pieces, left, unused, gap_mm, turnable)
            unused.remove(offcut)
            if used.pieces:
                taken.append(used)
                left = [count - done for count, done in zip(left, cut, strict=True)]
            else:
                too_small.append(offcut.id)
    length, across = _roll_length(pieces, left, strip_mm, gap_mm, turnable, largest_nest)
    area_mm2 = sum(piece.count * piece.area_mm2 for piece in pieces)
    nested = _nested_outlines(pieces, left, strip_mm, gap_mm, turnable, outlines_s)
    outlined = nested is not None and nested.length_mm * nested.width_mm < length * across
    if nested is not None and outlined:
        length, across = nested.length_mm, nested.width_mm
        area_mm2 -= sum(
            count * (piece.area_mm2 - enclosed_area_mm2(piece.outline))
            for piece, count in zip(pieces, left, strict=True)
            if piece.outline is not None
        )
    together_mm2 = charged_mm2(length, across, roll, rule)
    apart_mm2 = math.inf
    if _several(rows):

        def charged(counts: Sequence[int]) -> float:
            return charged_mm2(*_roll_length(pieces, counts, strip_mm, gap_mm, turnable, largest_nest), roll, rule)

        apart_mm2 = _row_by_row_mm2(pieces, left, rows, charged)
    return FilmTaken(
        pieces=sum(piece.count for piece in pieces),
        piece_area_mm2=area_mm2,
        outlined=outlined,
        offcuts=tuple(taken),
        too_small=tuple(too_small),
        roll_length_mm=length,
        roll_used_mm=across,
        roll_left=_worth_keeping((roll.width_mm - across, length)),
        charged_mm2=min(together_mm2, apart_mm2),
        apart=apart_mm2 < together_mm2,
    )


def _several(rows: Sequence[Row]) -> bool:
    """Return whether there is another way to nest the rows than together."""
    return len(rows) > 1 or any(row.pairs > 1 for row in rows)


def _row_by_row_mm2(
    pieces: Sequence[Piece], left: Sequence[int], rows: Sequence[Row], charged: Callable[[Sequence[int]], float]
) -> float:
    """Return the roll film charged for the remaining pieces row by row, or pair by pair where that is less [mm^2]."""
    totals = [sum(row.per_pair[kind] * row.pairs for row in rows) for kind in range(len(pieces))]
    if totals != [piece.count for piece in pieces]:
        raise ValueError("The rows need as many of each piece as there are")

    area_mm2 = cache(charged)
    whole_mm2 = sum(
        min(area_mm2(tuple(count * row.pairs for count in row.per_pair)), row.pairs * area_mm2(row.per_pair))
        for row in rows
    )
    boxes_mm2 = sum(piece.count * piece.area_mm2 for piece in pieces)
    left_mm2 = sum(count * piece.area_mm2 for piece, count in zip(pieces, left, strict=True))
    return whole_mm2 if left_mm2 == boxes_mm2 else whole_mm2 * left_mm2 / boxes_mm2


def _nested_outlines(  # noqa: PLR0917 - the arguments of the roll
    pieces: Sequence[Piece], left: Sequence[int], strip_mm: float, gap_mm: float, turnable: bool, budget_s: int
) -> OutlineNest | None:
    """Return the nest of the outlines; None without a time budget, with a piece without an outline, or no result."""
    if not budget_s:
        return None
    shapes = [
        Shape(outline=piece.outline, count=count)
        for piece, count in zip(pieces, left, strict=True)
        if piece.outline is not None
    ]
    if len(shapes) < len(pieces):
        return None
    return nest_outlines(shapes, strip_mm=strip_mm, gap_mm=gap_mm, turnable=turnable, budget_s=budget_s)


def _best_offcut(
    pieces: Sequence[Piece], left: Sequence[int], unused: Sequence[Offcut], gap_mm: float, turnable: bool
) -> tuple[Offcut, OffcutUse, list[int]]:
    """Return the smallest offcut that holds all remaining pieces, or else the largest, and the film taken from it."""
    needed = sum(count * piece.width_mm * piece.height_mm for piece, count in zip(pieces, left, strict=True))
    for offcut in unused:
        if offcut.area_mm2 >= needed:
            used, cut = _from_offcut(pieces, left, offcut, gap_mm, turnable)
            if cut == left:
                return offcut, used, cut
    return unused[-1], *_from_offcut(pieces, left, unused[-1], gap_mm, turnable)
