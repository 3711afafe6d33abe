"""The film of an order and of a roster: one rule for both."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, Final

import msgspec
import pytest
from measured_work import PIECE, WORK
from msgspec.structs import replace

from featherline.wire.costs import Cost, FilmUse, Measured, Order
from featherline.wire.rosters import Roster, RosterRow
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.cost.film import FilmTaken, Offcut, OffcutUse, Remnant
from featherline_service.cost.film_purchase import LoadRule
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.costs import estimate
from featherline_service.questions.pricing.film_lots import (
    FilmLot,
    FilmPieces,
    cuts,
    film_lines,
    film_lots,
    film_use,
    too_wide,
)
from featherline_service.questions.pricing.terms import Terms
from featherline_service.questions.quote import quotes
from featherline_service.questions.roster import rosters

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
MARLOW = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)
RECTANGLES: Final = Terms(
    policy=None,  # type: ignore[arg-type] - film does not ask for it
    offcuts={},
    rush=False,
    outlines_s=0,
    hours_a_day=None,
    units="metric",
)
BOX: Final = ((0.0, 0.0), (26.0, 0.0), (26.0, 16.0), (0.0, 16.0))


@pytest.fixture(scope="module")
def plain(book: Book) -> Book:
    """Return the demo book without offcuts: smooth film 500 mm wide, a border of 3 mm, two passes, an ease of 1.5."""
    smooth = book.films["smooth"]
    assert smooth.cutting is not None
    cutting = replace(smooth.cutting, border_mm=3.0, gap_mm=2.0, passes=2, weeding_ease=1.5)
    price = replace(smooth.roll.price, amount="500.00")
    film = replace(smooth, cutting=cutting, roll=replace(smooth.roll, width_mm=500.0, length_m=200.0, price=price))
    cutter = replace(book.cutters[book.bench.cutter], width_mm=600.0)
    rates = {name: replace(one, offcut_share="0.5") for name, one in book.rates.items()}
    return replace(book, films={**book.films, "smooth": film}, offcuts={}, cutters={cutter.id: cutter}, rates=rates)


def pieces(book: Book, film: str = "smooth", **changes: Any) -> FilmPieces:  # noqa: ANN401
    """Return two pieces of 20 by 10 mm for a pair."""
    record = book.films[film]
    made = FilmPieces(
        film=record,
        colour=record.colours[0].id,
        width_mm=20.0,
        height_mm=10.0,
        cut_length_mm=60.0,
        corners=4,
        outlines=1,
        waste_pieces=2,
        per_pair=2,
        pointer="/placements/0/artwork",
    )
    return replace(made, **changes)


def taken(**changes: Any) -> FilmTaken:  # noqa: ANN401
    """Return film of which 100 mm of the roll and 300 mm of its width are taken for five pieces."""
    made = FilmTaken(
        pieces=5,
        piece_area_mm2=20_000.0,
        offcuts=(),
        too_small=(),
        roll_length_mm=100.0,
        roll_used_mm=300.0,
        roll_left=None,
        charged_mm2=30_000.0,
    )
    return replace(made, **changes)


def lot(book: Book, film: str = "smooth", offcuts: tuple[Offcut, ...] = (), **changes: Any) -> FilmLot:  # noqa: ANN401
    """Return a lot of film."""
    made = pieces(book, film)
    return FilmLot(
        film=made.film,
        colour=made.colour,
        offcuts=offcuts,
        pieces=((made, 5),),
        taken=taken(**changes),
        rule=LoadRule(),
    )


def test_a_piece_has_its_border_on_all_sides(plain: Book) -> None:
    """A print, which is not cut, has none."""
    cut, printed = pieces(plain), pieces(plain, "printed")

    assert ((26.0, 16.0), 416.0) == (cut.box_mm, cut.box_mm2)
    assert ((20.0, 10.0), 200.0) == (printed.box_mm, printed.box_mm2)
    assert ("smooth", plain.films["smooth"].colours[0].id) == cut.lot


def test_film_is_loaded_for_every_offcut_and_the_roll(plain: Book) -> None:
    """None is for a print."""
    used = tuple(OffcutUse(id=name, pieces=1, area_mm2=9.0, left=None) for name in ("a", "b"))

    made = taken(), taken(offcuts=used), taken(offcuts=used, roll_length_mm=0.0), taken(roll_length_mm=0.0)
    assert [1, 3, 2, 0] == [replace(lot(plain), taken=one).loads for one in made]
    assert [0, 0] == [replace(lot(plain, "printed"), taken=one).loads for one in made[:2]]


@pytest.mark.parametrize(
    ("film", "width", "height", "goes"),
    [
        ("smooth", 494.0, 900.0, True),
        ("smooth", 494.1, 900.0, False),
        ("smooth", 900.0, 494.0, True),  # turned
        ("flock", 900.0, 200.0, False),  # its nap does not allow that
        ("flock", 200.0, 900.0, True),
    ],
)
def test_a_piece_goes_on_its_roll_with_its_border(
    plain: Book, film: str, width: float, height: float, goes: bool
) -> None:
    """Turned, where the film shows no direction; no wider than the cutter takes."""
    wide = pieces(plain, film, width_mm=width, height_mm=height)
    assert goes == (too_wide(plain, wide) is None)
    cutter = replace(plain.cutters[plain.bench.cutter], width_mm=100.0)
    narrow = replace(plain, cutters={cutter.id: cutter})
    assert too_wide(narrow, wide) is not None
    assert too_wide(narrow, pieces(narrow, "printed", width_mm=200.0, height_mm=200.0)) is None


def test_a_piece_is_cut_along_its_outlines_and_its_border(plain: Book) -> None:
    """The border is a box with four corners, or in a lot of outlines the outline; without a border it is not cut."""
    own = plain.films["smooth"].cutting
    assert own is not None
    bare = replace(plain.films["smooth"], cutting=replace(own, border_mm=0.0))
    triangle = pieces(plain, outline=BOX[:3])
    boxed, outlined = (cuts([(triangle, 7)], lots)[0] for lots in ((), {triangle.lot}))

    assert (60.0 + 84.0, 4 + 1 + 4, 60.0, 2, 7, 2, 1.5) == (
        boxed.knife_mm,
        boxed.stops,
        boxed.weed_mm,
        boxed.waste_pieces,
        boxed.count,
        boxed.passes,
        boxed.weeding_ease,
    )
    assert pytest.approx(60.0 + 26.0 + 16.0 + math.hypot(26.0, 16.0)) == outlined.knife_mm
    (uncut,) = cuts([(replace(pieces(plain), film=bare), 1)], ())
    assert (60.0, 5) == (uncut.knife_mm, uncut.stops)
    (outline,) = cuts([(replace(triangle, film=bare), 1)], {triangle.lot})
    assert (60.0, 5) == (outline.knife_mm, outline.stops)
    assert [] == cuts([(pieces(plain, "printed"), 7)], ())
    (none,) = cuts([(pieces(plain), 1)], {pieces(plain).lot})
    assert 144.0 == none.knife_mm


def test_film_costs_by_its_area(plain: Book) -> None:
    """A roll of 100 m2 for 500 EUR: 300 cm2 of it 0.15 EUR, and an offcut half as much."""
    rates = plain.rates[plain.bench.rates]
    used = OffcutUse(id="scrap", pieces=2, area_mm2=5000.0, left=None)
    colour = plain.films["smooth"].colours[0].name
    offcut, roll = film_lines(replace(lot(plain), taken=taken(offcuts=(used,))), rates, "metric")

    assert ("offcut", "50.00", "cm2", "0.00025", "0.01", "films/smooth") == (
        offcut.what,
        offcut.quantity,
        offcut.unit,
        offcut.rate,
        offcut.amount.amount,
        offcut.origin,
    )
    assert ("film", "300.00", "cm2", "0.0005", "0.15", "films/smooth") == (
        roll.what,
        roll.quantity,
        roll.unit,
        roll.rate,
        roll.amount.amount,
        roll.origin,
    )
    name = f"{plain.films['smooth'].name}, {colour}"
    assert offcut.detail == f"{name}: pieces 2 from offcut scrap, at a share of 0.5 of the roll's price"
    assert roll.detail == f"{name}: pieces 3 from 100.0 mm of the roll, 300.0 mm of its width in use"
    assert [] == film_lines(replace(lot(plain), taken=taken(roll_length_mm=0.0)), rates, "metric")


def test_a_line_of_film_says_how_it_is_nested_and_that_no_offcut_did(plain: Book) -> None:
    """And is in the caller's units and the lot's own colour."""
    rates = plain.rates[plain.bench.rates]
    small = Offcut(id="scrap", width_mm=5.0, height_mm=5.0)
    (outlined,) = film_lines(lot(plain, outlined=True), rates, "us")
    (without,) = film_lines(lot(plain, offcuts=(small,)), rates, "metric")
    last = plain.films["smooth"].colours[-1]
    (other,) = film_lines(replace(lot(plain), colour=last.id), rates, "metric")

    assert outlined.detail.endswith("3.94 in of the roll, 11.81 in of its width in use, nested by their outlines")
    assert without.detail.endswith("in use; none of the offcuts takes a piece")
    assert f", {last.name}: " in other.detail


def test_film_that_is_used_is_told_with_what_is_left(plain: Book) -> None:
    """Roll and offcuts together, less the pieces; what is worth keeping by where it is of."""
    rest = Remnant(width_mm=50.0, height_mm=40.0)
    used = OffcutUse(id="scrap", pieces=2, area_mm2=5000.0, left=rest)
    whole = replace(lot(plain), taken=taken(offcuts=(used,), roll_left=replace(rest, width_mm=200.0)))
    use = film_use(whole, "metric")

    assert ("smooth", whole.colour, 5, 20_000.0, 500.0, 100.0) == (
        use.film,
        use.colour,
        use.pieces,
        use.piece_area_mm2,
        use.roll_width_mm,
        use.roll_length_mm,
    )
    assert (35_000.0, 15_000.0, ("scrap",), "rectangles") == (use.film_mm2, use.waste_mm2, use.offcuts, use.nested)
    assert [("scrap", 50.0, 40.0), ("roll", 200.0, 40.0)] == [
        (left.of, left.width_mm, left.height_mm) for left in use.left_over
    ]
    dense = film_use(lot(plain, piece_area_mm2=40_000.0, outlined=True), "metric")
    assert (0.0, "outlines", ()) == (dense.waste_mm2, dense.nested, dense.left_over)


def test_an_offcut_that_is_not_used_says_why(plain: Book) -> None:
    """It takes no piece, not even the narrowest with its border, or others take them all."""
    offcuts = tuple(Offcut(id=name, width_mm=15.0, height_mm=200.0) for name in ("used", "small", "spare"))
    used = OffcutUse(id="used", pieces=5, area_mm2=5000.0, left=None)
    whole = replace(lot(plain, offcuts=offcuts), taken=taken(offcuts=(used,), too_small=("small",)))
    bigger = replace(whole, pieces=((pieces(plain, width_mm=90.0, height_mm=90.0), 1), *whole.pieces))
    why = "no piece goes on its 15.0 mm x 200.0 mm; the smallest, with its weed border, is 26.0 mm x 16.0 mm"
    for one in (whole, bigger):
        assert [
            ("small", f"Nothing is cut from offcut small: {why}."),
            ("spare", "Nothing is cut from offcut spare: others take all the pieces."),
        ] == [(left.offcut, left.sentence) for left in film_use(one, "metric").unused]


def test_pieces_of_one_film_and_colour_are_one_lot(plain: Book) -> None:
    """All rows together, in the order of the request; the request's offcuts come before the book's."""
    other = plain.films["smooth"].colours[1].id
    offered = Offcut(id="offered", width_mm=1.0, height_mm=1.0)
    kept = next(iter(load().offcuts.values()))
    own = replace(plain, offcuts={kept.id: replace(kept, film="smooth", colour=pieces(plain).colour)})
    terms = replace(RECTANGLES, offcuts={pieces(plain).lot: (offered,)})
    rows = [((pieces(plain), pieces(plain, colour=other)), 3), ((pieces(plain, per_pair=1, width_mm=30.0),), 4)]
    first, second = film_lots(own, rows, terms, Checks())

    assert (pieces(plain).colour, other) == (first.colour, second.colour)
    assert [6, 4] == [count for _, count in first.pieces]
    assert (10, 6) == (first.taken.pieces, second.taken.pieces)
    assert (["offered", kept.id], []) == ([one.id for one in first.offcuts], [one.id for one in second.offcuts])


def test_film_with_a_nap_is_taken_as_it_lies(plain: Book) -> None:
    """So much of the roll as a piece is high with its border, and of its width as it is wide."""
    piece = pieces(plain, "flock", per_pair=1)
    (whole,) = film_lots(plain, [((piece,), 1)], RECTANGLES, Checks())
    width, height = piece.box_mm

    assert pytest.approx((height, width)) == (whole.taken.roll_length_mm, whole.taken.roll_used_mm)


def test_every_piece_that_does_not_go_on_is_a_fault(plain: Book) -> None:
    """At its own pointer, before anything is nested."""
    wide = [pieces(plain, width_mm=900.0, height_mm=900.0, pointer=pointer) for pointer in ("/a", "/b")]
    with pytest.raises(RefusedError) as refused:
        film_lots(plain, [((wide[0], pieces(plain)), 1), ((wide[1],), 1)], RECTANGLES, Checks())

    assert ["/a", "/b"] == [fault.pointer for fault in refused.value.faults]


def roll_mm(cost: Cost | None) -> float:
    """Return the length of roll that work takes."""
    assert cost is not None
    return sum(film.roll_length_mm for film in cost.film)


def test_a_roster_takes_no_more_film_than_its_pairs_one_by_one(book: Book) -> None:
    """So many single pairs of the same name, ordered alone and cut row by row, and the roster of them."""
    bare = replace(book, offcuts={})
    alone = roll_mm(quotes.compose(bare, MARLOW).cost)
    for pairs in (2, 7, 31, 157):
        rows = tuple(RosterRow(fields={}) for _ in range(pairs))
        together = roll_mm(rosters.compose(bare, Roster(order=MARLOW, rows=rows)).cost)

        assert together <= pairs * alone * (1 + 1e-9)


def test_rows_and_pairs_take_the_same_film(book: Book) -> None:
    """Twenty pairs are cut alike whether they are one order or twenty rows."""
    rows = tuple(RosterRow(fields={}) for _ in range(20))
    together = rosters.compose(book, Roster(order=MARLOW, rows=rows)).cost

    assert roll_mm(quotes.compose(book, replace(MARLOW, pairs=20)).cost) == roll_mm(together)


@pytest.mark.parametrize("apart", [True, False])
def test_film_charged_as_cut_one_by_one_is_said_so(plain: Book, apart: bool) -> None:
    """The line says why less is charged than the nest of all rows takes."""
    (lot,) = film_lots(plain, [((pieces(plain),), 1)], RECTANGLES, Checks())
    charged = replace(lot, taken=replace(lot.taken, apart=apart))
    (line,) = film_lines(charged, plain.rates["bench"], "metric")

    assert apart is ("charged as if the rows, or their pairs, were cut one by one, which takes less" in line.detail)


def losing(book: Book, *, remnant_share: str | None = None, sold_by_m: float | None = None) -> Book:
    """Return the book without offcuts, with a cutter that loses 30 and 20 mm of every load of a roll of 500 mm."""
    smooth = book.films["smooth"]
    assert 500.0 == smooth.roll.width_mm
    return replace(
        book,
        offcuts={},
        cutters={"bench-cutter": replace(book.cutters["bench-cutter"], lead_in_mm=30.0, trim_mm=20.0)},
        films={**book.films, "smooth": replace(smooth, roll=replace(smooth.roll, sold_by_m=sold_by_m))},
        rates={"bench": replace(book.rates["bench"], remnant_share=remnant_share)},
    )


def film_of(book: Book, work: Measured) -> tuple[FilmUse, str, str]:
    """Return the film of measured work, and quantity and words of its line."""
    cost = estimate(book, work).cost
    assert cost is not None
    (use,) = cost.film
    line = next(line for line in cost.lines if line.what == "film")
    return use, line.quantity, line.detail


@pytest.mark.parametrize(
    ("share", "words"), [(None, "for lead-in and trim"), ("0.40", "kept, at a share of 0.40 of its price")]
)
def test_film_charged_is_what_is_used_lost_and_not_worth_keeping(book: Book, share: str | None, words: str) -> None:
    """The nest, 50 mm of the whole width, and of the film beside the nest the share that it loses in worth.

    The line is of that area at the roll's price, and the film used is the nest alone.
    """
    use, quantity, detail = film_of(losing(book, remnant_share=share), WORK)
    used_mm = use.film_mm2 / use.roll_length_mm
    beside = (1 - float(share or 1)) * (500 - used_mm) * use.roll_length_mm

    assert use.film_mm2 + 50 * 500 + beside == pytest.approx(use.charged_mm2)
    assert use.charged_mm2 / 100 == pytest.approx(float(quantity), abs=0.005)
    assert words in detail


def test_film_too_narrow_to_keep_is_lost(book: Book) -> None:
    """A strip of 16 mm over the width: with a worth of remnants stated, nobody keeps what is beside it."""
    low = replace(WORK, pieces=(replace(PIECE, height="6 mm"),))
    use, _, detail = film_of(losing(book, remnant_share="0.40"), low)

    assert use.roll_length_mm < 25
    assert 500 * (use.roll_length_mm + 50) == pytest.approx(use.charged_mm2)
    assert "too narrow to keep" in detail


def test_without_losses_and_worth_the_nest_alone_is_charged(book: Book) -> None:
    """As the demo book states neither, its films are charged at length times width in use."""
    use, _, detail = film_of(replace(book, offcuts={}), WORK)

    assert use.film_mm2 == use.charged_mm2
    assert "lead-in" not in detail


def test_printed_film_is_not_loaded_and_loses_nothing(book: Book) -> None:
    """A printed transfer is not fed through the cutter. Common practice, no source."""
    printed = replace(PIECE, film="printed", colour=book.films["printed"].colours[0].id)
    use, _, _ = film_of(losing(book), replace(WORK, pieces=(printed,)))

    assert use.film_mm2 == use.charged_mm2


@pytest.mark.parametrize(
    ("sold_by_m", "packs", "pack_m", "words"),
    [(None, 1, 25.0, "1 roll of 25 m is enough"), (1.0, 3, 1.0, "sold in multiples of 1 m: 3 m is enough")],
)
def test_an_order_says_what_must_be_bought(
    book: Book, sold_by_m: float | None, packs: int, pack_m: float, words: str
) -> None:
    """More than 2 m of roll with its losses: one roll of 25 m, or three metres where the supplier cuts them."""
    use, _, _ = film_of(losing(book, sold_by_m=sold_by_m), replace(WORK, pairs=250))
    assert use.buy is not None

    assert (use.roll_length_mm + 50) / 1000 == pytest.approx(use.buy.unrolled_m)
    assert 2 < use.buy.unrolled_m <= 3
    assert (packs, pack_m) == (use.buy.packs, use.buy.pack_m)
    assert words in use.buy.sentence


def test_a_roster_is_bought_by_the_metre_at_its_price(book: Book) -> None:
    """The purchase has the losses, the metres, and the price of one: a 25th of the roll's."""
    shop = losing(book, sold_by_m=1.0)
    rows = tuple(RosterRow(fields={}) for _ in range(157))
    answer = rosters.compose(shop, Roster(order=MARLOW, rows=rows))
    assert answer.cost is not None
    (use,) = answer.cost.film
    bought = next(one for one in answer.buy if one.what == "film")
    assert use.buy is not None
    assert bought.price is not None

    assert use.buy.unrolled_m == bought.quantity
    assert -(-bought.quantity // 1) == bought.packs
    assert float(shop.films["smooth"].roll.price.amount) / 25 == pytest.approx(float(bought.price.amount), abs=0.005)


def test_a_roster_is_charged_no_more_film_than_its_single_pairs(book: Book) -> None:
    """157 single pairs lose 50 mm each: the roster, which loses them once, is charged less than a tenth."""
    shop = losing(book, remnant_share="0")
    rows = tuple(RosterRow(fields={}) for _ in range(157))
    cost = rosters.compose(shop, Roster(order=MARLOW, rows=rows)).cost
    alone = quotes.compose(shop, MARLOW).cost
    assert cost is not None
    assert alone is not None

    assert cost.film[0].charged_mm2 < 157 * alone.film[0].charged_mm2 / 4


def test_every_roll_is_another_load(book: Book) -> None:
    """A nest of more than 25 m is cut from two rolls: both lose their lead-in, and both are loaded by hand."""
    cost = estimate(losing(book), replace(WORK, pairs=5000)).cost
    assert cost is not None
    (use,) = cost.film
    assert use.buy is not None
    loading = next(line for line in cost.lines if line.detail.startswith("Loading film"))

    assert 25_000 < use.roll_length_mm < 49_000
    assert (use.roll_length_mm + 100) / 1000 == pytest.approx(use.buy.unrolled_m)
    assert 2 == use.buy.packs
    assert 2 * book.rates["bench"].handling.load_film_s / 3600 == pytest.approx(float(loading.quantity), abs=1e-4)
