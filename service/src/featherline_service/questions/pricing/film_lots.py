"""The film of an order, lot by lot: what is taken from offcuts and rolls, what it costs, and how it is cut."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.costs import CostLine, FilmPurchase, FilmUse, LeftOver, UnusedOffcut
from featherline.wire.records import Film, Rates
from featherline_service.book.shop_book import Book
from featherline_service.cost.breakdown import cost_line, line_amount
from featherline_service.cost.film import SMALLEST_KEPT_MM, FilmTaken, Offcut, Piece, Row, take_film
from featherline_service.cost.film_purchase import FilmRoll, LoadRule, Packs, loads, packs, unrolled_mm
from featherline_service.cost.money import decimal_of, exact_arithmetic
from featherline_service.cost.nesting.outline_nesting import Outline, perimeter_mm
from featherline_service.cost.nesting.rectangles import NestingError, check_widths
from featherline_service.cost.times import Cut
from featherline_service.messages.values import Quantity, Said, Value, said
from featherline_service.quantities import length, plain, say_length
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing.offcuts import LotKey, of_book
from featherline_service.questions.pricing.terms import CostTerms
from featherline_service.questions.pricing.trial_costs import film_cm2
from featherline_service.runtime.cache import cached

_GRAINED: Final = frozenset({"flock", "metallic"})
"""Families of film that show which way they lie, by nap or by lustre: pieces are not turned. Common practice."""

_CM2_MM2: Final = 100
_M_MM: Final = 1000.0
_FILM_STEP_CM2: Final = Decimal("0.01")  # a square millimetre


class FilmPieces(Struct, frozen=True, kw_only=True, cache_hash=True):
    """Pieces of one shape in one colour of a film: their box without the weed border, knife path, waste, and number.

    `outlines` is how many closed paths are cut. `pointer` is where the request asks for them. `outline` is the one to
    nest them by, with the weed border, where that is asked.
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
    outline: Outline | None = None

    @property
    def lot(self) -> LotKey:
        """The film and colour that they are cut from."""
        return self.film.id, self.colour

    @property
    def box_mm(self) -> tuple[float, float]:
        """Width and height with the weed border."""
        border = 0.0 if self.film.cutting is None else self.film.cutting.border_mm
        return self.width_mm + 2 * border, self.height_mm + 2 * border

    @property
    def box_mm2(self) -> float:
        """Area of a piece with its weed border."""
        width, height = self.box_mm
        return width * height


class FilmLot(Struct, frozen=True, kw_only=True):
    """All pieces of one film and colour and how many of each, the offcuts there are of it, and the film taken."""

    film: Film
    colour: str
    offcuts: tuple[Offcut, ...]
    pieces: tuple[tuple[FilmPieces, int], ...]
    taken: FilmTaken
    rule: LoadRule

    @property
    def loads(self) -> int:
        """How often film is loaded into the cutter: every offcut, and every roll; never for what is not cut."""
        if self.film.cutting is None:
            return 0
        return len(self.taken.offcuts) + loads(self.taken.roll_length_mm, roll_of(self.film), self.rule)

    @property
    def unrolled_mm(self) -> float:
        """The length of roll that is taken up, with what its loads lose."""
        return unrolled_mm(self.taken.roll_length_mm, roll_of(self.film), self.rule)

    @property
    def packs(self) -> Packs:
        """What has to be bought of it, as its supplier sells it."""
        return packs(self.unrolled_mm, roll_of(self.film))


@dataclass(frozen=True, eq=False)
class _Stock:
    """A film in a colour as the shop has it, and how pieces are laid on it; hashed by identity.

    `strip_mm` is the width of the roll that is of use. The first of the groups of offcuts is used up before the second.
    """

    roll: FilmRoll
    rule: LoadRule
    strip_mm: float
    gap_mm: float
    turnable: bool
    offcuts: tuple[tuple[Offcut, ...], tuple[Offcut, ...]]


@cached
def _stock(book: Book, film: Film, colour: str, offered: tuple[Offcut, ...]) -> _Stock:
    return _Stock(
        roll=roll_of(film),
        rule=_load_rule(book, film),
        strip_mm=_strip_mm(book, film),
        gap_mm=0.0 if film.cutting is None else film.cutting.gap_mm,
        turnable=film.family not in _GRAINED,
        offcuts=(offered, of_book(book, film.id, colour)),
    )


def _take(
    stock: _Stock, pieces: tuple[Piece, ...], rows: tuple[Row, ...], outlines_s: int, largest_nest: int
) -> FilmTaken:
    return take_film(
        pieces,
        roll=stock.roll,
        rule=stock.rule,
        strip_mm=stock.strip_mm,
        gap_mm=stock.gap_mm,
        turnable=stock.turnable,
        offcuts=stock.offcuts,
        outlines_s=outlines_s,
        largest_nest=largest_nest,
        rows=rows,
    )


_taken: Final = cached(_take)


def _taken_in_runs(
    stock: _Stock, pieces: tuple[Piece, ...], counts: tuple[int, ...], largest_nest: int
) -> tuple[FilmTaken, ...]:
    """Return the film taken for runs of so many pairs, each of which needs these pieces."""
    per_pair = tuple(piece.count for piece in pieces)
    return tuple(
        _take(
            stock,
            tuple(replace(piece, count=piece.count * pairs) for piece in pieces),
            (Row(per_pair=per_pair, pairs=pairs),),
            0,
            largest_nest,
        )
        for pairs in counts
    )


def too_wide(book: Book, piece: FilmPieces) -> Said | None:
    """Return what is wrong with a piece that does not go on its film's roll; None where it does."""
    try:
        check_widths([piece.box_mm], strip_mm=_strip_mm(book, piece.film), turnable=piece.film.family not in _GRAINED)
    except NestingError as error:
        width, height, strip = (Quantity(round(length, 1), "mm", 1) for length in (*error.size_mm, error.strip_mm))
        return said("fault.film.too-narrow", width=width, height=height, film=piece.film, strip=strip)
    return None


def _strip_mm(book: Book, film: Film) -> float:
    """Return the width of a film's roll that is of use [mm]: of what is cut, no more than the cutter takes."""
    if film.cutting is None:
        return film.roll.width_mm
    return min(film.roll.width_mm, book.cutters[book.bench.cutter].width_mm)


def roll_of(film: Film) -> FilmRoll:
    """Return the roll of a film in millimetres."""
    roll = film.roll
    return FilmRoll(
        width_mm=roll.width_mm,
        length_mm=roll.length_m * _M_MM,
        sold_by_mm=None if roll.sold_by_m is None else roll.sold_by_m * _M_MM,
    )


def _load_rule(book: Book, film: Film) -> LoadRule:
    """Return what every load of a film loses, and what remnants are worth, by cutter and rates."""
    cutter, share = book.cutters[book.bench.cutter], book.rates[book.bench.rates].remnant_share
    rule = LoadRule() if share is None else LoadRule(remnant_share=float(share), least_kept_mm=SMALLEST_KEPT_MM)
    if film.cutting is None:
        return rule
    return replace(rule, lead_in_mm=cutter.lead_in_mm or 0.0, trim_mm=cutter.trim_mm or 0.0)


def film_lots(
    book: Book,
    rows: Sequence[tuple[Sequence[FilmPieces], int]],
    terms: CostTerms,
    checks: Checks,
) -> tuple[FilmLot, ...]:
    """Return the film taken, film by film and colour by colour, in the order of the request.

    Args:
        book: the shop book, with the offcuts kept.
        rows: the pieces of a pair, and the number of pairs, of an order or of each row of a roster. All are nested
            together, and take no more of the roll than row by row or pair by pair.
        terms: the offcuts that the request brings, which are used before the book's, and how long to search for a nest
            of the pieces' outlines, for each film and colour.
        checks: notes faults at the place of the pieces in the request.

    Raises:
        RefusedError: pieces do not go on their film's roll; each fault at the piece's pointer.
    """
    lots: dict[LotKey, list[_LotRow]] = {}
    for pieces, pairs in rows:
        for piece in pieces:
            fault = too_wide(book, piece)
            if fault is not None:
                checks.note(piece.pointer, fault)
        for key in dict.fromkeys(piece.lot for piece in pieces):
            lots.setdefault(key, []).append((tuple(piece for piece in pieces if piece.lot == key), pairs))
    checks.settle()
    return tuple(_lot(book, of_lot, terms.offcuts.get(key, ()), terms) for key, of_lot in lots.items())


_Shape = tuple[tuple[float, float], Outline | None]
"""The box of a piece with its weed border, and its outline where that is nested."""
_LotRow = tuple[tuple[FilmPieces, ...], int]
"""The pieces of a pair from one film and colour, and the number of pairs."""


def _lot(book: Book, rows: Sequence[_LotRow], offered: tuple[Offcut, ...], terms: CostTerms) -> FilmLot:
    pieces = tuple((piece, piece.per_pair * pairs) for row, pairs in rows for piece in row)
    film, colour = pieces[0][0].film, pieces[0][0].colour
    counts: dict[_Shape, int] = {}
    for piece, count in pieces:
        counts[piece.box_mm, piece.outline] = counts.get((piece.box_mm, piece.outline), 0) + count
    places = {shape: place for place, shape in enumerate(counts)}
    stock = _stock(book, film, colour, offered)
    taken = _taken(
        stock,
        tuple(
            Piece(width_mm=width, height_mm=height, count=count, outline=outline)
            for ((width, height), outline), count in counts.items()
        ),
        tuple(Row(per_pair=_per_pair(row, places), pairs=pairs) for row, pairs in rows),
        terms.outlines_s,
        terms.largest_nest,
    )
    return _film_lot(film, colour, stock, pieces, taken)


def lots_of_runs(
    book: Book, pieces: Sequence[FilmPieces], counts: tuple[int, ...], terms: CostTerms
) -> tuple[tuple[FilmLot, ...], ...]:
    """Return the film of a run of each number of pairs, as `film_lots`; nested by rectangles.

    Args:
        book: the shop book, with the offcuts kept.
        pieces: the pieces of a pair, all of which go on their film's roll.
        counts: numbers of pairs.
        terms: the offcuts that the request brings, and the largest nest.
    """
    runs: list[list[FilmLot]] = [[] for _ in counts]
    for key in dict.fromkeys(piece.lot for piece in pieces):
        row = [piece for piece in pieces if piece.lot == key]
        film, colour = row[0].film, row[0].colour
        stock = _stock(book, film, colour, terms.offcuts.get(key, ()))
        shapes: dict[tuple[float, float], int] = {}
        for piece in row:
            shapes[piece.box_mm] = shapes.get(piece.box_mm, 0) + piece.per_pair
        of_pair = tuple(Piece(width_mm=wide, height_mm=high, count=each) for (wide, high), each in shapes.items())
        taken = _taken_in_runs(stock, of_pair, counts, terms.largest_nest)
        for run, pairs, film_taken in zip(runs, counts, taken, strict=True):
            wanted = tuple((piece, piece.per_pair * pairs) for piece in row)
            run.append(_film_lot(film, colour, stock, wanted, film_taken))
    return tuple(map(tuple, runs))


def _film_lot(
    film: Film, colour: str, stock: _Stock, pieces: tuple[tuple[FilmPieces, int], ...], taken: FilmTaken
) -> FilmLot:
    offcuts = stock.offcuts[0] + stock.offcuts[1]
    return FilmLot(film=film, colour=colour, offcuts=offcuts, pieces=pieces, taken=taken, rule=stock.rule)


def _per_pair(row: Sequence[FilmPieces], places: Mapping[_Shape, int]) -> tuple[int, ...]:
    """Return how many pieces of each shape a row takes for a pair."""
    counts = [0] * len(places)
    for piece in row:
        counts[places[piece.box_mm, piece.outline]] += piece.per_pair
    return tuple(counts)


def cuts(wanted: Iterable[tuple[FilmPieces, int]], outlined: Collection[LotKey]) -> list[Cut]:
    """Return pieces, so many of each, as blade and weeder see them: none for a printed transfer.

    The weed border is cut as a box; of the lots that are `outlined`, along the outline.
    """
    found = []
    for piece, count in wanted:
        cutting = piece.film.cutting
        if cutting is None:
            continue
        box = 2 * sum(piece.box_mm) if cutting.border_mm else 0.0
        if box and piece.lot in outlined and piece.outline is not None:
            box = perimeter_mm(piece.outline)
        found.append(
            Cut(
                knife_mm=piece.cut_length_mm + box,
                stops=piece.corners + piece.outlines + (4 if box else 0),
                weed_mm=piece.cut_length_mm,
                waste_pieces=piece.waste_pieces,
                count=count,
                passes=cutting.passes,
                weeding_ease=cutting.weeding_ease,
            )
        )
    return found


def film_lines(lot: FilmLot, rates: Rates, units: str) -> list[CostLine]:
    """Return what the film costs: from every offcut at the offcut share, and from the roll."""
    film, taken = lot.film, lot.taken
    colour = next(colour.name for colour in film.colours if colour.id == lot.colour)
    rate, offcut_rate = _cm2_rates(film, rates)
    lines = [
        cost_line(
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
        lost_mm = lot.unrolled_mm - taken.roll_length_mm
        lost = f", {say_length(lost_mm, units)} more for lead-in and trim" if lost_mm else ""
        apart = (
            ", charged as if the rows, or their pairs, were cut one by one, which takes less film"
            if taken.apart
            else ""
        )
        too_small = "; none of the offcuts takes a piece" if lot.offcuts and not taken.offcuts else ""
        lines.append(
            cost_line(
                "film",
                detail=f"{film.name}, {colour}: pieces {on_roll} from {say_length(taken.roll_length_mm, units)} of the "
                f"roll, {say_length(taken.roll_used_mm, units)} of its width in use"
                f"{', nested by their outlines' if taken.outlined else ''}{lost}{_unused_width(lot, rates)}{apart}"
                f"{too_small}",
                quantity=taken.charged_mm2 / _CM2_MM2,
                step=_FILM_STEP_CM2,
                unit="cm2",
                rate=rate,
                currency=rates.currency,
                origin=f"films/{film.id}",
            )
        )
    return lines


def film_amount(lot: FilmLot, rates: Rates) -> Decimal:
    """Return the sum of the lines that `film_lines` returns, which takes less."""
    rate, offcut_rate = _cm2_rates(lot.film, rates)
    taken, currency = lot.taken, rates.currency
    amount = Decimal(0)
    for used in taken.offcuts:
        amount += line_amount("offcut", used.area_mm2 / _CM2_MM2, _FILM_STEP_CM2, offcut_rate, currency)
    if taken.roll_length_mm:
        amount += line_amount("film", taken.charged_mm2 / _CM2_MM2, _FILM_STEP_CM2, rate, currency)
    return amount


@lru_cache(maxsize=256)
def _cm2_rates(film: Film, rates: Rates) -> tuple[Decimal, Decimal]:
    """Return what a square centimetre of a film costs, from the roll and from an offcut."""
    with exact_arithmetic():
        rate = film_cm2(film, rates)
        return rate, rate * decimal_of(rates.offcut_share)


def _unused_width(lot: FilmLot, rates: Rates) -> str:
    """Return in words how the film beside a nest is charged, where the rates say what it is worth."""
    if rates.remnant_share is None:
        return ""
    beside_mm = lot.film.roll.width_mm - lot.taken.roll_used_mm
    if min(beside_mm, lot.taken.roll_length_mm) < lot.rule.least_kept_mm:
        return "; the film beside it is too narrow to keep"
    return f"; the film beside it is kept, at a share of {rates.remnant_share} of its price"


def film_use(lot: FilmLot, units: str) -> FilmUse:
    """Return the film taken, as the answer says it."""
    taken = lot.taken
    left = [(used.id, used.left) for used in taken.offcuts] + [("roll", taken.roll_left)]
    film_mm2 = taken.roll_area_mm2 + sum(used.area_mm2 for used in taken.offcuts)
    return FilmUse(
        film=lot.film.id,
        colour=lot.colour,
        pieces=taken.pieces,
        piece_area_mm2=taken.piece_area_mm2,
        roll_width_mm=lot.film.roll.width_mm,
        roll_length_mm=taken.roll_length_mm,
        film_mm2=film_mm2,
        charged_mm2=taken.charged_mm2,
        buy=_purchase(lot, units) if taken.roll_length_mm else None,
        waste_mm2=max(0.0, film_mm2 - taken.piece_area_mm2),
        offcuts=tuple(used.id for used in taken.offcuts),
        unused=tuple(_unused(lot, units)),
        left_over=tuple(
            LeftOver(of=of, width_mm=rest.width_mm, height_mm=rest.height_mm) for of, rest in left if rest is not None
        ),
        nested="outlines" if taken.outlined else "rectangles",
    )


def _purchase(lot: FilmLot, units: str) -> FilmPurchase:
    """Return what has to be bought of a film's roll."""
    return FilmPurchase(
        unrolled_m=lot.unrolled_mm / _M_MM,
        packs=lot.packs.count,
        pack_m=lot.packs.length_mm / _M_MM,
        **said("film.purchase", length=run_length(lot.unrolled_mm, units), **packs_values(lot, units))._asdict(),
    )


def run_length(length_mm: float, units: str) -> Quantity | None:
    """Return a length of roll as it is said: from a metre on in metres, where units are metric."""
    if units == "metric" and length_mm >= _M_MM:
        number = plain(float(f"{length_mm / _M_MM:.4g}"))
        return Quantity(number.value, "m", number.decimals)
    return length(length_mm, units)


def packs_values(lot: FilmLot, units: str) -> Mapping[str, Value]:
    """Return what has to be bought of a film, as values of a message: rolls, or a multiple of what it is sold by."""
    return {
        "sold": "rolls" if lot.film.roll.sold_by_m is None else "lengths",
        "packs": lot.packs.count,
        "pack": run_length(lot.packs.length_mm, units),
        "enough": run_length(lot.packs.count * lot.packs.length_mm, units),
    }


def _unused(lot: FilmLot, units: str) -> Iterable[UnusedOffcut]:
    """Yield the offcuts that nothing was taken from, and why."""
    used = {one.id for one in lot.taken.offcuts}
    gives_room = min((piece for piece, _ in lot.pieces), key=lambda piece: min(piece.box_mm))
    smallest_width, smallest_height = (length(side, units) for side in gives_room.box_mm)
    for offcut in lot.offcuts:
        if offcut.id in used:
            continue
        words = said(
            "film.offcut-unused",
            offcut=offcut.id,
            why="too-small" if offcut.id in lot.taken.too_small else "others",
            width=length(offcut.width_mm, units),
            height=length(offcut.height_mm, units),
            smallest_width=smallest_width,
            smallest_height=smallest_height,
        )
        yield UnusedOffcut(offcut=offcut.id, **words._asdict())
