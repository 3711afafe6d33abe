from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order
from featherline.wire.from_prices import FromPriceAnswer, FromPriceRequest
from featherline.wire.records import Tax
from featherline_service.book.shop_book import Book
from featherline_service.questions import from_prices
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import quotes

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
REQUEST = msgspec.json.decode((EXAMPLES / "from-price-request.json").read_bytes(), type=FromPriceRequest)
NAME, INITIAL, LARGE, UNKNOWN = REQUEST.candidates


def asked(book: Book, *orders: Order) -> FromPriceAnswer:
    """Return the answer to some candidates."""
    return from_prices.compose(book, FromPriceRequest(candidates=orders))


def test_the_cheapest_that_is_ready_is_named_with_its_quotes_price(book: Book) -> None:
    """The initial by the letter is cheaper than the name; the price is that of its quote."""
    found = from_prices.compose(book, REQUEST)
    quote = quotes.compose(book, INITIAL)

    assert 1 == found.cheapest
    assert quote.price == found.price
    assert ["ready", "ready", "decline", None] == [each.verdict for each in found.candidates]
    assert [order.reference for order in REQUEST.candidates] == [each.reference for each in found.candidates]


def test_what_is_left_out_says_why(book: Book) -> None:
    """A letter too large has its reasons and a film that is not there its fault, at their places in the request."""
    _, _, large, unknown = from_prices.compose(book, REQUEST).candidates

    assert large.reasons
    assert all(reason.subject.startswith("/candidates/2/placements/0") for reason in large.reasons)
    assert all(reason.verdict != "ready" for reason in large.reasons)
    assert ["/candidates/3/placements/0/film"] == [fault.pointer for fault in unknown.faults]
    assert (None, None, ()) == (unknown.each, unknown.paid, unknown.reasons)


def test_a_trial_is_priced_and_left_out(book: Book) -> None:
    """A pair that has to be tried first has a price, and is not the cheapest."""
    tried = msgspec.json.decode((EXAMPLES / "walk-in.json").read_bytes(), type=Order)
    found = asked(book, replace(tried, policy="letters"), NAME)

    assert ("trial", 1) == (found.candidates[0].verdict, found.cheapest)
    assert found.candidates[0].paid is not None


def test_nothing_may_be_ready(book: Book) -> None:
    """Then there is no price, and the candidates say why."""
    found = asked(book, LARGE, UNKNOWN)

    assert (None, None) == (found.cheapest, found.price)
    assert 2 == len(found.candidates)


def test_of_equal_prices_the_first_is_the_cheapest(book: Book) -> None:
    """The order of the candidates decides where the prices do not."""
    assert [0, 1] == [asked(book, *orders).cheapest for orders in ((INITIAL, INITIAL), (NAME, INITIAL, INITIAL))]


def test_prices_are_compared_with_tax(book: Book) -> None:
    """Letters at 9.00 without tax are paid with 10.89 at 21 %, and are dearer than the counter's 9.90 with tax."""
    tax = {shown: msgspec.convert({"rate": "0.21", "shown": shown}, Tax) for shown in ("net", "gross")}
    (placement,) = INITIAL.placements
    assert isinstance(placement.artwork, TextArtwork)
    word = replace(
        INITIAL, placements=(replace(placement, artwork=replace(placement.artwork, text="MARLO", height="9 mm")),)
    )
    taxed = replace(
        book,
        policies={
            "letters": replace(book.policies["letters"], tax=tax["net"]),
            "counter": replace(book.policies["counter"], tax=tax["gross"], share="0.01"),
        },
    )
    by_letter, counter = asked(taxed, word, replace(word, policy="counter")).candidates
    sums = [sum_.amount for sum_ in (by_letter.each, by_letter.paid, counter.each, counter.paid) if sum_ is not None]

    assert ["9.00", "10.89", "9.90", "9.90"] == sums
    assert 1 == asked(taxed, word, replace(word, policy="counter")).cheapest


def test_other_numbers_of_pairs_are_refused(book: Book) -> None:
    """Prices of different numbers of pairs do not compare."""
    with pytest.raises(RefusedError) as caught:
        asked(book, NAME, replace(NAME, pairs=2), replace(NAME, pairs=3))

    assert ["/candidates/1/pairs", "/candidates/2/pairs"] == [fault.pointer for fault in caught.value.faults]


def test_a_search_for_a_nest_is_a_candidates_fault(book: Book) -> None:
    """It takes seconds; all faults of that order come together, and spoil no other."""
    found = asked(book, replace(UNKNOWN, outlines="4 s"), INITIAL)

    assert ["/candidates/0/outlines", "/candidates/0/placements/0/film"] == sorted(
        fault.pointer for fault in found.candidates[0].faults
    )
    assert 1 == found.cheapest
