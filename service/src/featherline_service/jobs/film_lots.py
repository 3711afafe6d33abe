"""The film of an order, lot by lot: what is taken from offcuts and rolls, what it costs, and how it is cut."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Final

from msgspec import Struct

from featherline.wire.costs import CostLine, FilmUse, LeftOver
from featherline.wire.records import Film, Rates
from featherline_service.book.shelves import Book
from featherline_service.cost.breakdown import line
from featherline_service.cost.film import Offcut, Piece, Taken, take
from featherline_service.cost.money import charged, exact, exactly
from featherline_service.cost.nesting import NestingError
from featherline_service.cost.times import Cut
from featherline_service.jobs.refusals import Checks
from featherline_service.quantities import say_length

_GRAINED: Final = frozenset({"flock", "metallic"})
"""Families of film that show which way they lie, by nap or by lustre: pieces are not turned. Common practice."""

_CM2_MM2: Final = 100
_M_MM: Final = 1000
_FILM_STEP_CM2: Final = Decimal("0.01")  # a square millimetre


class FilmPieces(Struct, frozen=True, kw_only=True):
    """Pieces of one shape in one colour of a film: their box without the weed border, knife path, waste, and number.

    `outlines` is how many closed paths are cut. `pointer` is where the request asks for them.
    """

    film: Film
    colour: str
    width_mm: float
    height_mm: float
    cut_length_mm: float
    corners: int
    outlines: int
    waste_pieces: int
    per_pair: int
    pointer: str


class FilmLot(Struct, frozen=True, kw_only=True):
    """All pieces of one film and colour, the offcuts kept of it, and the film taken for them."""

    film: Film
    colour: str
    kept: tuple[Offcut, ...]
    pieces: tuple[FilmPieces, ...]
    taken: Taken

    @property
    def loads(self) -> int:
        """How often film is loaded into the cutter: every offcut, and the roll; never for what is not cut."""
        return 0 if self.film.cutting is None else len(self.taken.offcuts) + (self.taken.roll_length_mm > 0)


def film_lots(book: Book, wanted: Sequence[FilmPieces], pairs: int) -> tuple[FilmLot, ...]:
    """Return the film taken, film by film and colour by colour, in the order of the request.

    Raises:
        RefusedError: pieces do not go on their film's roll; each fault at the piece's pointer.
    """
    cutter = book.cutters[book.bench.cutter]
    checks = Checks()
    lots = []
    keys = dict.fromkeys((piece.film.id, piece.colour) for piece in wanted)
    for film_id, colour in keys:
        pieces = tuple(piece for piece in wanted if (piece.film.id, piece.colour) == (film_id, colour))
        film = pieces[0].film
        cutting = film.cutting
        border = 0.0 if cutting is None else cutting.border_mm
        kept = tuple(
            Offcut(id=offcut.id, width_mm=offcut.width_mm, height_mm=offcut.height_mm)
            for offcut in book.offcuts.values()
            if (offcut.film, offcut.colour) == (film_id, colour)
        )
        try:
            taken = take(
                tuple(
                    Piece(
                        width_mm=piece.width_mm + 2 * border,
                        height_mm=piece.height_mm + 2 * border,
                        count=piece.per_pair * pairs,
                    )
                    for piece in pieces
                ),
                roll_mm=film.roll.width_mm,
                strip_mm=film.roll.width_mm if cutting is None else min(film.roll.width_mm, cutter.width_mm),
                gap_mm=0.0 if cutting is None else cutting.gap_mm,
                turnable=film.family not in _GRAINED,
                offcuts=kept,
            )
        except NestingError as error:
            checks.note(pieces[error.index].pointer, str(error))
            continue
        lots.append(FilmLot(film=film, colour=colour, kept=kept, pieces=pieces, taken=taken))
    checks.settle()
    return tuple(lots)


def cuts(lot: FilmLot) -> list[Cut]:
    """Return the pieces of a film as blade and weeder see them: none for a printed transfer."""
    cutting = lot.film.cutting
    if cutting is None:
        return []
    found = []
    for piece in lot.pieces:
        box = 2 * (piece.width_mm + piece.height_mm + 4 * cutting.border_mm) if cutting.border_mm else 0.0
        found.append(
            Cut(
                knife_mm=piece.cut_length_mm + box,
                stops=piece.corners + piece.outlines + (4 if box else 0),
                weed_mm=piece.cut_length_mm,
                waste_pieces=piece.waste_pieces,
                per_pair=piece.per_pair,
                passes=cutting.passes,
                weeding_ease=cutting.weeding_ease,
            )
        )
    return found


def film_lines(lot: FilmLot, rates: Rates, units: str) -> list[CostLine]:
    """Return what the film costs: from every offcut at the offcut share, and from the roll."""
    film, taken = lot.film, lot.taken
    colour = next(colour.name for colour in film.colours if colour.id == lot.colour)
    with exactly():
        price = charged(film.roll.price, rates.currency, f"The roll of film {film.id}")
        # Through text: the decimals that the book's author wrote, not the binary fractions nearest to them.
        roll_cm2 = Decimal(str(film.roll.width_mm)) * Decimal(str(film.roll.length_m)) * _M_MM / _CM2_MM2
        rate = price / roll_cm2
        offcut_rate = rate * exact(rates.offcut_share)
    lines = [
        line(
            "offcut",
            detail=f"{film.name}, {colour}: pieces {used.pieces} from offcut {used.id}, at a share of "
            f"{rates.offcut_share} of the roll's price",
            quantity=used.area_mm2 / _CM2_MM2,
            step=_FILM_STEP_CM2,
            unit="cm2",
            rate=offcut_rate,
            currency=rates.currency,
            origin=f"films/{film.id}",
        )
        for used in taken.offcuts
    ]
    if taken.roll_length_mm:
        on_roll = taken.pieces - sum(used.pieces for used in taken.offcuts)
        too_small = "; none of the offcuts takes a piece" if lot.kept and not taken.offcuts else ""
        lines.append(
            line(
                "film",
                detail=f"{film.name}, {colour}: pieces {on_roll} from {say_length(taken.roll_length_mm, units)} of the "
                f"roll, {say_length(taken.roll_used_mm, units)} of its width in use{too_small}",
                quantity=taken.roll_area_mm2 / _CM2_MM2,
                step=_FILM_STEP_CM2,
                unit="cm2",
                rate=rate,
                currency=rates.currency,
                origin=f"films/{film.id}",
            )
        )
    return lines


def film_use(lot: FilmLot) -> FilmUse:
    """Return the film taken, as the answer says it."""
    taken = lot.taken
    left = [(used.id, used.left) for used in taken.offcuts] + [("roll", taken.roll_left)]
    return FilmUse(
        film=lot.film.id,
        colour=lot.colour,
        pieces=taken.pieces,
        piece_area_mm2=taken.piece_area_mm2,
        roll_width_mm=lot.film.roll.width_mm,
        roll_length_mm=taken.roll_length_mm,
        film_mm2=taken.roll_area_mm2 + sum(used.area_mm2 for used in taken.offcuts),
        offcuts=tuple(used.id for used in taken.offcuts),
        left_over=tuple(
            LeftOver(of=of, width_mm=kept.width_mm, height_mm=kept.height_mm) for of, kept in left if kept is not None
        ),
    )
