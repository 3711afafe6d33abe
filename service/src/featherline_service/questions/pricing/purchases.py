"""What a shop buys for a run of work: film by class and colour in roll lengths, cover sheets, tape."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Final

from featherline.wire.money import Charge, Money
from featherline.wire.rosters import Purchase
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import decimal_of, exact_arithmetic, money, rounded
from featherline_service.messages.values import said
from featherline_service.quantities import length
from featherline_service.questions.pricing.cost_lines import Part
from featherline_service.questions.pricing.film_lots import FilmLot, packs_values, run_length

_M_MM: Final = 1000.0


def purchases(book: Book, lots: Sequence[FilmLot], parts: Sequence[Part], units: str) -> Iterator[Purchase]:
    """Yield what the work uses up, without offcuts, and without spoilt pairs."""
    for lot in lots:
        if lot.taken.roll_length_mm:
            yield _film(lot, units)
    covers = {
        press_job.cover.id: press_job.cover
        for part in parts
        for press_job in part.presswork
        if press_job.cover is not None
    }
    for cover in covers.values():
        closed = sum(
            press_job.closing.closed(part.pairs)
            for part in parts
            for press_job in part.presswork
            if press_job.cover is not None and press_job.cover.id == cover.id
        )
        sheets = math.ceil(closed / cover.lasts_presses)
        yield Purchase(
            what="cover",
            record=f"covers/{cover.id}",
            colour=None,
            quantity=float(closed),
            unit="closing",
            packs=sheets,
            price=_price(cover.price),
            **said("purchase.cover", cover=cover, closings=closed, lasts=cover.lasts_presses, sheets=sheets)._asdict(),
        )
    taped = sum(part.pairs * closing.taped for part in parts for closing in part.closings)
    if taped:
        rates = book.rates[book.bench.rates]
        yield Purchase(
            what="tape",
            record=f"rates/{rates.id}",
            colour=None,
            quantity=float(taped),
            unit="piece",
            packs=None,
            price=None,
            **said("purchase.tape", pieces=taped)._asdict(),
        )


def _film(lot: FilmLot, units: str) -> Purchase:
    film, length_mm = lot.film, lot.unrolled_mm
    colour = next(colour.name for colour in film.colours if colour.id == lot.colour)
    share = lot.packs.length_mm / (film.roll.length_m * _M_MM)
    with exact_arithmetic():
        price = decimal_of(film.roll.price.amount) * Decimal(str(share))
    return Purchase(
        what="film",
        record=f"films/{film.id}",
        colour=lot.colour,
        quantity=length_mm / _M_MM,
        unit="m",
        packs=lot.packs.count,
        price=money(rounded(price, film.roll.price.currency), film.roll.price.currency),
        **said(
            "purchase.film",
            film=film,
            colour=colour,
            length=run_length(length_mm, units),
            width=length(film.roll.width_mm, units),
            **packs_values(lot, units),
        )._asdict(),
    )


def _price(charge: Charge) -> Money:
    return money(rounded(decimal_of(charge.amount), charge.currency), charge.currency)
