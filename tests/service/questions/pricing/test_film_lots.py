"""The film of an order and of a roster: one rule for both."""

from __future__ import annotations

from pathlib import Path

import msgspec
from msgspec.structs import replace

from featherline.wire.costs import Cost, Order
from featherline.wire.rosters import Roster, RosterRow
from featherline_service.book.shop_book import Book
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
