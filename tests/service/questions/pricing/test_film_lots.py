"""The film of an order and of a roster: one rule for both."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from measured_work import PIECE, WORK
from msgspec.structs import replace

from featherline.wire.costs import Cost, FilmUse, Measured, Order
from featherline.wire.rosters import Roster, RosterRow
from featherline_service.book.shop_book import Book
from featherline_service.questions.costs import estimate
from featherline_service.questions.quote import quotes
from featherline_service.questions.roster import rosters

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
MARLOW = msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)


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
    [(None, 1, 25.0, "a roll has 25 m, so at most 1"), (1.0, 3, 1.0, "sold in multiples of 1 m, so at most 3")],
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
