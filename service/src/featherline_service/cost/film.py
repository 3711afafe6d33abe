"""How much film an order takes: out of which offcuts, and how long a piece of the roll."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from msgspec import Struct

from featherline_service.cost.nesting.offcut_packing import Outline, enclosed_mm2, fill_outline
from featherline_service.cost.nesting.outline_nesting import Outline as PieceOutline
from featherline_service.cost.nesting.outline_nesting import OutlineNest, Shape, nest_outlines
from featherline_service.cost.nesting.packers import Size
from featherline_service.cost.nesting.rectangles import check_widths, fill, nest
from featherline_service.runtime.cache import kept

_LARGEST_NEST: Final = 240
"""Most rectangles nested at once. A longer run is nested in batches, one after the other, as a bench would."""

_WORTH_REPEATING: Final = 0.5
"""Share of a batch that a thinned mixture has to fill; with less, the batch is of pieces about equally tall."""


_SMALLEST_KEPT_MM: Final = 25.0
"""Film narrower than a small graphic is not worth keeping; our judgement."""


class Piece(Struct, frozen=True, kw_only=True):
    """A piece of film, weed border included, and how many the order needs [mm]."""

    width_mm: float
    height_mm: float
    count: int
    outline: PieceOutline | None = None

    @property
    def area_mm2(self) -> float:
        """The film of one, by its box."""
        return self.width_mm * self.height_mm


class Offcut(Struct, frozen=True, kw_only=True):
    """A piece of film that was kept [mm]: a rectangle, or, with an `outline`, what lies within that in its box."""

    id: str
    width_mm: float
    height_mm: float
    outline: Outline | None = None

    @property
    def area_mm2(self) -> float:
        """The film that it is."""
        return self.width_mm * self.height_mm if self.outline is None else enclosed_mm2(self.outline)


class Left(Struct, frozen=True, kw_only=True):
    """The largest rectangle that stays whole beside or beyond what was taken [mm]."""

    width_mm: float
    height_mm: float


class TakenOffcut(Struct, frozen=True, kw_only=True):
    """What was taken from an offcut: how many pieces, the rectangle that holds them, and what is worth keeping."""

    id: str
    pieces: int
    area_mm2: float
    left: Left | None


class Taken(Struct, frozen=True, kw_only=True):
    """The film taken for an order: from offcuts, and a length of the roll, of whose width a share is in use.

    `too_small` are offcuts on which no piece goes. `outlined`: the pieces on the roll lie by their outlines, and their
    area is that of these.
    """

    pieces: int
    piece_area_mm2: float
    offcuts: tuple[TakenOffcut, ...]
    too_small: tuple[str, ...]
    roll_length_mm: float
    roll_used_mm: float
    roll_left: Left | None
    outlined: bool = False

    @property
    def roll_area_mm2(self) -> float:
        """Roll film taken: length times the width in use. What lies beside it stays usable as an offcut."""
        return self.roll_length_mm * self.roll_used_mm


def _copies(pieces: Sequence[Piece], counts: Sequence[int]) -> tuple[list[tuple[float, float]], list[int]]:
    """Return the rectangles of so many of each piece, and which piece each is."""
    kinds = [kind for kind, count in enumerate(counts) for _ in range(count)]
    return [(pieces[kind].width_mm, pieces[kind].height_mm) for kind in kinds], kinds


def _from_offcut(
    pieces: Sequence[Piece], left: Sequence[int], offcut: Offcut, gap_mm: float, turnable: bool
) -> tuple[TakenOffcut, list[int]]:
    """Return what the offcut gives of the pieces that are left, and how many of each piece it gives."""
    room = offcut.area_mm2 + (offcut.width_mm + offcut.height_mm + gap_mm) * gap_mm
    # No more copies than its area could hold, so that a long run costs no more to fit than a short one.
    most = [
        min(count, int(room / ((piece.width_mm + gap_mm) * (piece.height_mm + gap_mm)) + 1e-9))
        for piece, count in zip(pieces, left, strict=True)
    ]
    sizes, kinds = _copies(pieces, most)
    if offcut.outline is None:
        found = fill(sizes, width_mm=offcut.width_mm, height_mm=offcut.height_mm, gap_mm=gap_mm, turnable=turnable)
        kept = _worth_keeping(
            (offcut.width_mm - found.width_mm, offcut.height_mm), (offcut.width_mm, offcut.height_mm - found.length_mm)
        )
        laid, area_mm2 = [position.index for position in found.positions], found.area_mm2
    else:
        within = fill_outline(sizes, offcut.outline, gap_mm=gap_mm, turnable=turnable)
        kept = _worth_keeping(within.left)
        laid, area_mm2 = [position.index for position in within.positions], within.area_mm2
    given = [0] * len(pieces)
    for index in laid:
        given[kinds[index]] += 1
    return TakenOffcut(id=offcut.id, pieces=len(laid), area_mm2=area_mm2, left=kept), given


def _worth_keeping(*sizes: Size) -> Left | None:
    """Return the largest of some rectangles, where it is large enough to be of use."""
    width, height = max(sizes, key=lambda size: size[0] * size[1])
    return Left(width_mm=width, height_mm=height) if min(width, height) >= _SMALLEST_KEPT_MM else None


def _off_the_roll(
    pieces: Sequence[Piece], left: Sequence[int], strip_mm: float, gap_mm: float, turnable: bool
) -> tuple[float, float]:
    """Return length and used width of the roll for so many of each piece."""
    length = used = 0.0
    remaining = list(left)
    while any(remaining):
        batch = _batch(pieces, remaining)
        times = min(count // per_batch for count, per_batch in zip(remaining, batch, strict=True) if per_batch)
        sizes, _ = _copies(pieces, batch)
        found = nest(sizes, strip_mm=strip_mm, gap_mm=gap_mm, turnable=turnable)
        length += times * (found.length_mm + gap_mm)
        used = max(used, found.width_mm)
        remaining = [count - times * per_batch for count, per_batch in zip(remaining, batch, strict=True)]
    return max(length - gap_mm, 0.0), used


def _batch(pieces: Sequence[Piece], remaining: Sequence[int]) -> list[int]:
    """Return how many of each piece to nest next: all, a thinned mixture, or those about equally tall."""
    pieces_left = sum(remaining)
    if pieces_left <= _LARGEST_NEST:
        return list(remaining)
    thinned = [count * _LARGEST_NEST // pieces_left for count in remaining]
    if sum(thinned) >= _WORTH_REPEATING * _LARGEST_NEST:
        return thinned
    batch = [0] * len(pieces)
    room = _LARGEST_NEST
    for kind in sorted(range(len(pieces)), key=lambda kind: (-pieces[kind].height_mm, -pieces[kind].width_mm)):
        batch[kind] = min(remaining[kind], room)
        room -= batch[kind]
    return batch


@kept
def take(
    pieces: tuple[Piece, ...],
    *,
    roll_mm: float,
    strip_mm: float,
    gap_mm: float,
    turnable: bool,
    offcuts: tuple[tuple[Offcut, ...], ...],
    outlines_s: int = 0,
) -> Taken:
    """Return the film that the pieces take: offcuts first, then the roll.

    The smallest offcut that takes all that is left is used; where none does, the largest is filled first. Film is taken
    from an offcut by the rectangle that holds the pieces.

    Args:
        pieces: the pieces with their weed border, all of different sizes.
        roll_mm: width of the roll [mm].
        strip_mm: width of it that the cutter can use [mm].
        gap_mm: distance between pieces [mm].
        turnable: whether pieces may be turned by 90 degrees.
        offcuts: what there is of this film in this colour: of the first group all that serve, then of the next.
        outlines_s: how long to search for a nest of the pieces' outlines on the roll that takes less film [s]; 0: not.

    Raises:
        NestingError: a piece does not go on the roll; `index` is its place in `pieces`.
    """
    check_widths([(piece.width_mm, piece.height_mm) for piece in pieces], strip_mm=strip_mm, turnable=turnable)
    left = [piece.count for piece in pieces]
    taken: list[TakenOffcut] = []
    too_small: list[str] = []
    for group in offcuts:
        unused = sorted(group, key=lambda offcut: (offcut.area_mm2, offcut.id))
        while unused and any(left):
            offcut, used, given = _best_offcut(pieces, left, unused, gap_mm, turnable)
            unused.remove(offcut)
            if used.pieces:
                taken.append(used)
                left = [count - gave for count, gave in zip(left, given, strict=True)]
            else:
                too_small.append(offcut.id)
    length, across = _off_the_roll(pieces, left, strip_mm, gap_mm, turnable)
    area_mm2 = sum(piece.count * piece.area_mm2 for piece in pieces)
    found = _by_outlines(pieces, left, strip_mm, gap_mm, turnable, outlines_s)
    outlined = found is not None and found.length_mm * found.width_mm < length * across
    if found is not None and outlined:
        length, across = found.length_mm, found.width_mm
        area_mm2 -= sum(
            count * (piece.area_mm2 - enclosed_mm2(piece.outline))
            for piece, count in zip(pieces, left, strict=True)
            if piece.outline is not None
        )
    return Taken(
        pieces=sum(piece.count for piece in pieces),
        piece_area_mm2=area_mm2,
        outlined=outlined,
        offcuts=tuple(taken),
        too_small=tuple(too_small),
        roll_length_mm=length,
        roll_used_mm=across,
        roll_left=_worth_keeping((roll_mm - across, length)),
    )


def _by_outlines(  # noqa: PLR0917 - as the roll is
    pieces: Sequence[Piece], left: Sequence[int], strip_mm: float, gap_mm: float, turnable: bool, budget_s: int
) -> OutlineNest | None:
    """Return the nest of the outlines of so many of each piece, where they have some and a search finds one."""
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
) -> tuple[Offcut, TakenOffcut, list[int]]:
    """Return the smallest offcut that takes all that is left, or else the largest, and what it gives."""
    needed = sum(count * piece.width_mm * piece.height_mm for piece, count in zip(pieces, left, strict=True))
    for offcut in unused:
        if offcut.area_mm2 >= needed:
            used, given = _from_offcut(pieces, left, offcut, gap_mm, turnable)
            if given == left:
                return offcut, used, given
    return unused[-1], *_from_offcut(pieces, left, unused[-1], gap_mm, turnable)
