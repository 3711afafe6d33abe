"""What a sealed order would be answered today, case by case."""

from __future__ import annotations

import asyncio
import math
import time
from datetime import timedelta
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.costs import Order
from featherline.wire.seals import SealedQuote, SealToday
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable
from featherline_service.computing.pool import Caller
from featherline_service.computing.this_process import ThisProcess
from featherline_service.web.answering.answer_cache import AnswerCache, Asker
from featherline_service.web.answering.outcomes import answerer
from featherline_service.web.answering.question import Question
from featherline_service.web.answering.revisions import Revisions
from featherline_service.web.answering.today import Today
from featherline_service.web.http.negotiation import JSON
from featherline_service.web.http.problems import PLUGIN_FAILED, ProblemError
from featherline_service.web.routes import questions

OFFERS = questions.questions(questions.OFFER_ORDER)[JSON]
ORDER = msgspec.convert(
    {
        "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
        "placements": [
            {
                "panel": "outer-quarter",
                "film": "smooth",
                "colour": "gorse",
                "artwork": {"kind": "text", "text": "M", "font": "plain", "height": "22 mm"},
            }
        ],
    },
    Order,
)
MONEY = {"amount": "1.00", "currency": "EUR"}
QUOTE = msgspec.convert(
    {
        "asked": "order",
        "order": msgspec.to_builtins(ORDER),
        "digest": "0" * 64,
        "verdict": "ready",
        "policy": "counter",
        "each": MONEY,
        "total": MONEY,
        "sealed": "2026-06-01T12:00:00Z",
        "expires": "2026-07-01T12:00:00Z",
        "book": f"sha256:{'0' * 64}",
        "engine": "0.0.1",
    },
    SealedQuote,
)


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book."""
    return load()


def told(book: Book, quote: SealedQuote, order: Order | None = None, offers: Question = OFFERS) -> SealToday:
    """Return what is told of the content of a seal."""
    answers = AnswerCache(ThisProcess(answerer([book], {offers.name: offers})), 0, 60.0)
    today = Today(answers, offers, Revisions(Timetable((book,)), timedelta(days=30), time.time))
    return asyncio.run(today.tell(quote, order, Asker(Caller("page", "questions"), wait_s=math.inf)))


def test_a_price_set_by_hand_changes_by_its_verdict_alone(book: Book) -> None:
    """It was never the book's."""
    by_hand = replace(QUOTE, kind="by-hand")

    assert ["changed", "unchanged", "changed"] == [
        told(book, quote).kind for quote in (QUOTE, by_hand, replace(by_hand, verdict="trial"))
    ]


def test_what_is_declined_today_says_why_to_the_customer(book: Book) -> None:
    """The reasons are the customer's; what the book no longer has cannot be asked for."""
    placement = ORDER.placements[0]
    large = replace(ORDER, placements=(replace(placement, artwork=replace(placement.artwork, height="80 mm")),))
    gone = replace(ORDER, placements=(replace(placement, film="gone"),))
    answers = [told(book, replace(QUOTE, order=order)) for order in (large, gone)]

    assert [("declined", "decline", None), ("declined", None, None)] == [
        (answer.kind, answer.verdict, answer.total) for answer in answers
    ]
    assert answers[0].sentence.startswith("It would be declined today. It does not fit there")
    assert answers[1].sentence.startswith("It cannot be asked for any longer: The book has no film 'gone'")


def test_an_order_that_the_seal_does_not_have_comes_with_the_request(book: Book) -> None:
    """Without it, as for a roster, nothing is known of today; a long sentence is cut."""
    without = replace(QUOTE, order=None)
    many = replace(ORDER, placements=(replace(ORDER.placements[0], film="x" * 48),) * 12)
    long = told(book, without, many).sentence

    assert ["unknown", "changed"] == [told(book, without, order).kind for order in (None, ORDER)]
    assert (1000, "…") == (len(long), long[-1])


def test_the_owner_in_the_seal_counts(book: Book) -> None:
    """A key that is pinned to an owner was answered for it, whatever the order says."""
    shop, customer = (told(book, replace(QUOTE, owner=owner)).total for owner in ("shop", "customer"))
    said = told(book, replace(QUOTE, order=replace(ORDER, owner="shop"))).total

    assert shop == said
    assert customer == told(book, QUOTE).total


def test_another_problem_is_the_callers(book: Book) -> None:
    """What cannot be answered now is neither declined nor unchanged."""

    def fail(_book: Book, _request: Any, _language: str) -> Any:  # noqa: ANN401 - of any question
        raise ProblemError(PLUGIN_FAILED, "A plug-in failed.")

    failing = Question(OFFERS.name, OFFERS.body, fail)

    with pytest.raises(ProblemError, match="plug-in failed"):
        told(book, QUOTE, offers=failing)
