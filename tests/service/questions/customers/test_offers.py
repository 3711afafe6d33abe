"""What a customer is shown of an answer."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec import Struct, inspect
from msgspec.structs import replace

from featherline.wire.costs import Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.from_prices import FromPriceAnswer, FromPriceRequest
from featherline.wire.measures import Mend
from featherline.wire.offers import FitOffer, FromPriceOffer, Offer, RosterOffer
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.rosters import Roster, RosterAnswer
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.questions import from_prices
from featherline_service.questions.customers import offers
from featherline_service.questions.fit import fits, placement_drawings
from featherline_service.questions.quote import quotes
from featherline_service.questions.roster import rosters
from featherline_service.runtime.engine import ENGINE

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
SECRETS = {"cost", "margin", "lines", "why", "warnings", "pressings", "plans", "recipe", "setting", "steps", "window"}
SECRETS |= {"buy", "film_use", "below_cost", "limit", "measure", "clearance_mm", "clearance_needed_mm", "plan", "times"}


def example(name: str, type_: Any) -> Any:  # noqa: ANN401 - of the type
    """Return an example request."""
    return msgspec.json.decode((EXAMPLES / f"{name}.json").read_bytes(), type=type_)


@pytest.fixture(scope="module")
def quote(book: Book) -> QuoteAnswer:
    """The quote of the example order."""
    answer: QuoteAnswer = quotes.compose(book, example("quote-request", Order))
    return answer


def names(type_: inspect.Type) -> Iterator[str]:
    """Yield the names of all fields of a type, and of the types in it."""
    match type_:
        case inspect.StructType():
            for field in type_.fields:
                yield field.encode_name
                yield from names(field.type)
        case inspect.Metadata():
            yield from names(type_.type)
        case inspect.UnionType():
            for member in type_.types:
                yield from names(member)
        case inspect.VarTupleType():
            yield from names(type_.item_type)


@pytest.mark.parametrize("type_", [Offer, FitOffer, RosterOffer, FromPriceOffer])
def test_no_offer_has_a_field_for_what_is_the_shops(type_: type[Struct]) -> None:
    """By type, at any depth, there is no field for a cost, a margin, a limit or a setting."""
    assert set() == SECRETS & set(names(inspect.type_info(type_)))


def test_the_search_for_names_finds_them_in_the_shops_own_answer() -> None:
    """The quote for the shop has fields that an offer has not."""
    assert {"cost", "margin", "why", "pressings", "recipe", "setting", "limit"} <= set(
        names(inspect.type_info(QuoteAnswer))
    )


def test_an_offer_has_the_quotes_verdict_and_price(quote: QuoteAnswer) -> None:
    """Verdict and prices are the quote's own, and what is paid is the total where there is no tax."""
    offer = offers.of_quote(quote)
    assert quote.price is not None
    assert offer.price is not None
    assert (quote.verdict, quote.price.each, quote.price.total, quote.price.total) == (
        offer.verdict, offer.price.each, offer.price.total, offer.price.paid,
    )  # fmt: skip
    assert [(band.from_pairs, band.each) for band in quote.price.price_list] == [
        (band.from_pairs, band.each) for band in offer.price.price_list
    ]


def test_a_roster_and_a_price_from_are_offered_row_by_row(book: Book) -> None:
    """Each row and candidate has the verdict, the faults and the price that the shop's answer has."""
    answer: RosterAnswer = rosters.compose(book, example("roster-request", Roster))
    roster = offers.of_roster(answer)
    assert [(row.verdict, row.faults, row.price) for row in answer.rows] == [
        (row.verdict, row.faults, row.price) for row in roster.rows
    ]
    assert answer.price is not None
    assert roster.price is not None
    assert (answer.price.total, answer.counts) == (roster.price.total, roster.counts)

    cheapest: FromPriceAnswer = from_prices.compose(book, example("from-price-request", FromPriceRequest))
    offered = offers.of_from_price(cheapest)
    assert [(one.verdict, one.faults, one.paid) for one in cheapest.candidates] == [
        (one.verdict, one.faults, one.paid) for one in offered.candidates
    ]


def test_what_has_no_price_is_offered_without_one(quote: QuoteAnswer, book: Book) -> None:
    """A declined quote, roster and list of candidates have no price in the offer either."""
    roster: RosterAnswer = rosters.compose(book, example("roster-request", Roster))
    cheapest: FromPriceAnswer = from_prices.compose(book, example("from-price-request", FromPriceRequest))
    assert None is offers.of_quote(replace(quote, price=None)).price
    assert None is offers.of_roster(replace(roster, price=None)).price
    assert None is offers.of_from_price(replace(cheapest, price=None)).price


@pytest.mark.parametrize("verdict", ["trial", "decline"])
def test_a_verdict_that_no_reason_for_customers_explains_says_to_ask(quote: QuoteAnswer, verdict: Verdict) -> None:
    """Reasons of the bench are left out, and then the shop is to be asked."""
    bench = Reason(code="heat.worst-case", verdict=verdict, subject="/placements/0", sentence="160 degC for 31 s.")
    offer = offers.of_quote(replace(quote, verdict=verdict, reasons=(bench,)))
    assert [("shop.ask", verdict)] == [(reason.code, reason.verdict) for reason in offer.reasons]


def test_a_reason_for_customers_is_told_once_in_their_words(quote: QuoteAnswer) -> None:
    """Reasons that say the same of the same place are one, without measure and limit."""
    twice = tuple(
        Reason(
            code="fit.outside", verdict="decline", subject="/placements/0", sentence=f"By {length} mm.", limit=length
        )
        for length in (3.0, 4.0)
    )
    (reason,) = offers.of_quote(replace(quote, verdict="decline", reasons=twice)).reasons
    assert ("fit.outside", "decline", "/placements/0") == (reason.code, reason.verdict, reason.subject)
    assert reason.sentence.startswith("It does not fit there")


def test_a_plug_ins_reason_is_shown_only_if_it_is_for_customers(quote: QuoteAnswer) -> None:
    """Its own sentence, where it says so; otherwise it is the bench's, and the customer is to ask."""
    silent = Reason(code="club.colours", verdict="decline", subject="/placements/0", sentence="The club wears gorse.")
    told = [
        [
            (reason.code, reason.sentence)
            for reason in offers.of_quote(replace(quote, verdict="decline", reasons=(own,))).reasons
        ]
        for own in (silent, replace(silent, audience="customer"))
    ]
    assert [["shop.ask"], ["club.colours"]] == [[code for code, _ in reasons] for reasons in told]
    assert "The club wears gorse." == told[1][0][1]


def test_mends_are_offered_without_other_films(book: Book) -> None:
    """A change of height is offered as a value; which other films there are is in the catalogue of the key."""
    fit = fits.check(book, example("fit-request", FitRequest))
    mends = tuple(
        Mend(kind=kind, subject="/artwork", value=value, verdict="ready", fits=True, sentence="So.")
        for kind, value in (("height", 12.0), ("film", "flake"))
    )
    answer = FitAnswer(fit=replace(fit, mends=mends), book=book.revision, engine=ENGINE)
    assert [("height", 12.0, True)] == [(mend.kind, mend.value, mend.fits) for mend in offers.of_fit(answer).mends]


def test_the_drawing_for_a_customer_has_no_clearance(book: Book) -> None:
    """Neither the line, its legend nor the sentence about the clearance that the shop keeps is in it."""
    request = example("fit-request", FitRequest)
    theirs, ours = (repr(draw(book, request)) for draw in (placement_drawings.draw_offer, placement_drawings.draw))
    assert ("clearance" in ours, "needed" in ours, "It fits: " in ours) == (True, True, True)
    assert ("clearance" in theirs, "needed" in theirs, "It fits." in theirs) == (False, False, True)
    assert "the right shoe" in repr(placement_drawings.draw_offer(book, replace(request, sides="right")))
