"""The question "from which price does this product start?": the cheapest of some orders that is ready."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire.costs import Order, Price
from featherline.wire.from_prices import CandidatePrice, FromPriceAnswer, FromPriceRequest
from featherline.wire.money import Money
from featherline.wire.problems import Fault
from featherline.wire.verdicts import Reason, Verdict
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.quote import quotes
from featherline_service.runtime.cache import cached
from featherline_service.runtime.engine import ENGINE


class _Outcome(Struct, frozen=True, kw_only=True):
    """The outcome of a candidate, its pointers into its order."""

    verdict: Verdict | None = None
    faults: tuple[Fault, ...] = ()
    reasons: tuple[Reason, ...] = ()
    price: Price | None = None

    @property
    def paid(self) -> Money | None:
        """The total, with tax where there is a rate."""
        if self.price is None:
            return None
        return self.price.total if self.price.tax is None else self.price.tax.gross


def compose(book: Book, request: FromPriceRequest) -> FromPriceAnswer:
    """Return the cheapest candidate that is ready, and why others are not.

    Raises:
        RefusedError: the candidates are for different numbers of pairs; a candidate's own faults are in its answer.
    """
    checks = Checks()
    pairs = request.candidates[0].pairs
    for index, order in enumerate(request.candidates):
        if order.pairs != pairs:
            checks.note(
                f"/candidates/{index}/pairs",
                told(
                    "candidates.pairs-differ",
                    "Prices of {pairs} and of {pairs_2} pairs do not compare: give {pairs_2}",
                    pairs=order.pairs,
                    pairs_2=pairs,
                ),
            )
    checks.settle()
    outcomes = [_outcome(book, order) for order in request.candidates]
    ready = [
        (Decimal(outcome.paid.amount), index)
        for index, outcome in enumerate(outcomes)
        if outcome.verdict == "ready" and outcome.paid is not None
    ]
    cheapest = min(ready)[1] if ready else None
    return FromPriceAnswer(
        cheapest=cheapest,
        price=None if cheapest is None else outcomes[cheapest].price,
        candidates=tuple(
            _answer(index, order, outcome)
            for index, (order, outcome) in enumerate(zip(request.candidates, outcomes, strict=True))
        ),
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
    )


@cached
def _outcome(book: Book, order: Order) -> _Outcome:
    checks = Checks()
    if order.outlines is not None:
        checks.note(
            "/outlines",
            told(
                "candidates.outlines",
                "A search for a nest takes too long for one of many: leave it out, or ask for a quote",
            ),
        )
    try:
        read = quotes.read(book, order, checks)
        quote = quotes.quote_of(book, *read, checks)
    except RefusedError as error:
        return _Outcome(faults=error.faults)
    left_out = tuple(reason for reason in quote.reasons if reason.verdict != "ready")
    return _Outcome(verdict=quote.verdict, reasons=left_out, price=quote.price)


def _answer(index: int, order: Order, outcome: _Outcome) -> CandidatePrice:
    places = Checks().under(f"/candidates/{index}")
    return CandidatePrice(
        candidate=index,
        reference=order.reference,
        verdict=outcome.verdict,
        faults=tuple(replace(fault, pointer=places.pointer(fault.pointer)) for fault in outcome.faults),
        reasons=tuple(replace(reason, subject=places.pointer(reason.subject)) for reason in outcome.reasons),
        each=None if outcome.price is None else outcome.price.each,
        paid=outcome.paid,
    )
