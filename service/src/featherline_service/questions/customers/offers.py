"""Offers: what a customer is shown of an answer, made of it type by type.

A field that is not copied here is not sent, so that a new field of the shop's answers never shows by accident.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final

from msgspec import Struct

from featherline.wire.costs import Price, PriceTax
from featherline.wire.fits import FitAnswer
from featherline.wire.from_prices import CandidatePrice, FromPriceAnswer
from featherline.wire.measures import Mend
from featherline.wire.money import Money
from featherline.wire.offers import (
    CandidateOffer,
    FitOffer,
    FromPriceOffer,
    Offer,
    OfferBand,
    OfferMend,
    OfferPlacement,
    OfferPrice,
    OfferProposal,
    OfferReason,
    RosterOffer,
    RosterOfferPrice,
    RowOffer,
    RowOfferPlacement,
)
from featherline.wire.quotes import Proposal, QuoteAnswer, QuotedPlacement
from featherline.wire.rosters import RosterAnswer, RosterPrice, RowAnswer, RowPlacement
from featherline.wire.verdicts import Parameter, Reason, Verdict
from featherline_service.messages.catalogues import CUSTOMER, signatures
from featherline_service.messages.texts import english
from featherline_service.messages.values import said
from featherline_service.questions.reason_audiences import AUDIENCES, audience_of
from featherline_service.questions.verdicts import worst

ASK_THE_SHOP: Final = "shop.ask"
_TO_ASK: Final = frozenset({"trial", "decline"})


def of_quote(quote: QuoteAnswer) -> Offer:
    """Return the offer of a quote."""
    return Offer(
        reference=quote.reference,
        verdict=quote.verdict,
        reasons=_reasons(quote.verdict, quote.reasons),
        placements=tuple(map(_placement, quote.placements)),
        price=None if quote.price is None else _price(quote.price),
        proposals=tuple(map(_proposal, quote.proposals)),
        book=quote.book,
        book_until=quote.book_until,
        engine=quote.engine,
        seal=quote.seal,
    )


def of_fit(answer: FitAnswer) -> FitOffer:
    """Return the offer of a fit."""
    fit = answer.fit
    return FitOffer(
        verdict=fit.verdict,
        reasons=_reasons(fit.verdict, fit.reasons),
        mends=_mends(fit.mends),
        panel=fit.panel,
        face=fit.face,
        width_mm=fit.artwork.width_mm,
        height_mm=fit.artwork.height_mm,
        letter_height_mm=fit.artwork.letter_height_mm,
        largest=fit.largest,
        book=answer.book,
        book_until=answer.book_until,
        engine=answer.engine,
    )


def of_roster(answer: RosterAnswer) -> RosterOffer:
    """Return the offer of a roster."""
    return RosterOffer(
        reference=answer.reference,
        verdict=answer.verdict,
        counts=answer.counts,
        pairs=answer.pairs,
        rows=tuple(map(_row, answer.rows)),
        largest_letters=answer.largest_letters,
        price=None if answer.price is None else _roster_price(answer.price),
        book=answer.book,
        book_until=answer.book_until,
        engine=answer.engine,
        seal=answer.seal,
    )


def of_from_price(answer: FromPriceAnswer) -> FromPriceOffer:
    """Return the offer of a price 'from'."""
    return FromPriceOffer(
        cheapest=answer.cheapest,
        price=None if answer.price is None else _price(answer.price),
        candidates=tuple(map(_candidate, answer.candidates)),
        book=answer.book,
        book_until=answer.book_until,
        engine=answer.engine,
    )


PROJECTIONS: Final[dict[type[Struct], Callable[[Any], Struct]]] = {
    QuoteAnswer: of_quote,
    FitAnswer: of_fit,
    RosterAnswer: of_roster,
    FromPriceAnswer: of_from_price,
}
"""The offer of each answer that has one; no other answer may be shown to a customer."""


def _reasons(verdict: Verdict, reasons: Iterable[Reason]) -> tuple[OfferReason, ...]:
    """Return the reasons that are for the customer; where they do not explain the verdict, that the shop knows more."""
    told = tuple(dict.fromkeys(_told(reasons)))
    if verdict in _TO_ASK and worst(["ready", *(reason.verdict for reason in told)]) != verdict:
        message, parameters, sentence = said(f"{CUSTOMER}{ASK_THE_SHOP}", verdict=verdict)
        ask = OfferReason(
            code=ASK_THE_SHOP,
            verdict=verdict,
            subject="",
            sentence=sentence,
            message=message,
            parameters=parameters,
        )
        return (*told, ask)
    return told


def _told(reasons: Iterable[Reason]) -> Iterator[OfferReason]:
    for reason in reasons:
        if audience_of(reason) != "customer":
            continue
        if reason.code not in AUDIENCES:  # a plug-in's own words
            message, parameters, sentence = reason.message, reason.parameters, reason.sentence
        else:
            message = f"{CUSTOMER}{reason.code}"
            parameters = tuple(_shown(reason, message))
            sentence = english().say(message, parameters, _no_name).text
        yield OfferReason(
            code=reason.code,
            verdict=reason.verdict,
            subject=reason.subject,
            sentence=sentence,
            message=message,
            parameters=parameters,
        )


def _shown(reason: Reason, message: str) -> Iterator[Parameter]:
    """Yield the parameters of a message for customers: those of the reason that it declares, and no other."""
    by_name = {parameter.name: parameter for parameter in reason.parameters}
    for name in signatures()[message]:
        yield by_name.get(name) or Parameter(name=name, value=None)


def _no_name(kind: str, id_: str) -> str:
    raise AssertionError(f"A message for customers names the record {id_} of the {kind}")


def _proposal(proposal: Proposal) -> OfferProposal:
    return OfferProposal(
        changes=tuple(_told(proposal.changes)),
        verdict=proposal.verdict,
        total=proposal.total,
        order=proposal.order,
    )


def _mends(mends: Iterable[Mend]) -> tuple[OfferMend, ...]:
    """Return the changes that a customer can make; which films a key may sell is in its catalogue."""
    return tuple(
        OfferMend(kind=mend.kind, subject=mend.subject, value=mend.value, verdict=mend.verdict, fits=mend.fits)
        for mend in mends
        if mend.kind != "film"
    )


def _placement(placement: QuotedPlacement) -> OfferPlacement:
    fit = placement.fit
    return OfferPlacement(
        panel=placement.panel,
        sides=placement.sides,
        verdict=fit.verdict,
        width_mm=fit.artwork.width_mm,
        height_mm=fit.artwork.height_mm,
        letter_height_mm=fit.artwork.letter_height_mm,
        mends=_mends(fit.mends),
    )


def _paid(total: Money, tax: PriceTax | None) -> Money:
    return total if tax is None else tax.gross


def _price(price: Price) -> OfferPrice:
    return OfferPrice(
        policy=price.policy,
        each=price.each,
        set_up=price.set_up,
        to_minimum=price.to_minimum,
        total=price.total,
        tax=price.tax,
        paid=_paid(price.total, price.tax),
        price_list=tuple(OfferBand(from_pairs=band.from_pairs, each=band.each) for band in price.price_list),
        quantities=price.quantities,
    )


def _roster_price(price: RosterPrice) -> RosterOfferPrice:
    return RosterOfferPrice(
        policy=price.policy,
        set_up=price.set_up,
        to_minimum=price.to_minimum,
        total=price.total,
        tax=price.tax,
        paid=_paid(price.total, price.tax),
        price_list=price.price_list,
        leaves_out=price.leaves_out,
    )


def _row(row: RowAnswer) -> RowOffer:
    return RowOffer(
        row=row.row,
        id=row.id,
        verdict=row.verdict,
        faults=row.faults,
        reasons=() if row.verdict is None else _reasons(row.verdict, row.reasons),
        pairs=row.pairs,
        placements=tuple(map(_row_placement, row.placements)),
        price=row.price,
    )


def _row_placement(placement: RowPlacement) -> RowOfferPlacement:
    return RowOfferPlacement(
        text=placement.text,
        verdict=placement.verdict,
        width_mm=placement.width_mm,
        height_mm=placement.height_mm,
        letter_height_mm=placement.letter_height_mm,
        mends=_mends(placement.mends),
    )


def _candidate(candidate: CandidatePrice) -> CandidateOffer:
    return CandidateOffer(
        candidate=candidate.candidate,
        reference=candidate.reference,
        verdict=candidate.verdict,
        faults=candidate.faults,
        reasons=() if candidate.verdict is None else _reasons(candidate.verdict, candidate.reasons),
        each=candidate.each,
        paid=candidate.paid,
    )
