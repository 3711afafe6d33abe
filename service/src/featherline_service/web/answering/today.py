"""What a sealed order would be answered today, by the book in force."""

from __future__ import annotations

from typing import Final, Literal

import msgspec
from msgspec.structs import replace

from featherline.seals import canonical
from featherline.wire.costs import Order
from featherline.wire.offers import Offer, OfferPrice
from featherline.wire.seals import SealedQuote, SealToday
from featherline.wire.texts import Revision
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.answering.answer_cache import AnswerCache, Asker
from featherline_service.web.answering.question import Question
from featherline_service.web.answering.revisions import Revisions
from featherline_service.web.http.problems import REFUSED, ProblemError

Kind = Literal["changed", "declined", "unknown"]

_LONGEST: Final = 1000
_decode: Final = msgspec.json.Decoder(Offer).decode


class Today:
    """Tells what a sealed order would be answered today: as one of the `offers`, which have no cost and no setting."""

    def __init__(self, answers: AnswerCache, offers: Question, revisions: Revisions) -> None:
        self._answers = answers
        self._offers = offers
        self._revisions = revisions

    async def tell(self, quote: SealedQuote, order: Order | None, asker: Asker) -> SealToday:
        """Return what a sealed order would be answered. Without a change of book or service nothing is computed.

        Args:
            quote: The content of the seal.
            order: The order at hand, for a seal that does not have it.
            asker: Who asks.

        Raises:
            ProblemError: It cannot be answered now.
            DeadlineError: It is not answered in time.
        """
        number = self._revisions.number()
        book = self._revisions.books[number].revision
        if (quote.book, quote.engine) == (book, ENGINE):
            return _unchanged(quote, book, "The book is the same as when the price was sealed.")
        order = quote.order or order
        if order is None:
            return _said("unknown", "The seal does not have the order: send the order along.", book)
        asked = replace(order, policy=quote.policy, owner=quote.owner or order.owner)
        try:
            answer = await self._answers.ask(self._offers, canonical(asked), asker._replace(pins=None, book=number))
        except ProblemError as problem:
            if problem.kind != REFUSED:
                raise
            faults = " ".join(f"{fault.detail}." for fault in problem.faults)
            return _said("declined", f"It cannot be asked for any longer: {faults}", book)
        offer = _decode(answer.body)
        if offer.price is None:
            reasons = " ".join(reason.sentence for reason in offer.reasons)
            return _said("declined", f"It would be declined today. {reasons}", book, offer)
        if _is_same(quote, offer, offer.price):
            return _unchanged(quote, book, "The book has changed, and the answer would be the same.")
        total = f"{offer.price.total.amount} {offer.price.total.currency}"
        was = f"{quote.total.amount} {quote.total.currency}"
        sentence = (
            f"The book has changed: today it would be {total} ({offer.verdict}), and was {was} ({quote.verdict})."
        )
        return _said("changed", sentence, book, offer)


def _is_same(quote: SealedQuote, offer: Offer, price: OfferPrice) -> bool:
    if quote.kind == "by-hand":
        return offer.verdict == quote.verdict
    return (offer.verdict, price.each, price.total, price.tax) == (quote.verdict, quote.each, quote.total, quote.tax)


def _unchanged(quote: SealedQuote, book: Revision, sentence: str) -> SealToday:
    return SealToday(
        kind="unchanged",
        sentence=sentence,
        verdict=quote.verdict,
        each=quote.each,
        total=quote.total,
        tax=quote.tax,
        book=book,
    )


def _said(kind: Kind, sentence: str, book: Revision, offer: Offer | None = None) -> SealToday:
    price = None if offer is None else offer.price
    return SealToday(
        kind=kind,
        sentence=sentence if len(sentence) <= _LONGEST else sentence[: _LONGEST - 1].rstrip() + "…",
        verdict=None if offer is None else offer.verdict,
        each=None if price is None else price.each,
        total=None if price is None else price.total,
        tax=None if price is None else price.tax,
        book=book,
    )
