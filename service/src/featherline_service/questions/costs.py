"""The question "what does it cost, and what do we charge?", for an order or for work known by its measures."""

from __future__ import annotations

from collections.abc import Sequence

from featherline.wire.costs import CostAnswer, CostRequest, CutPiece, Measured, Order, OrderWork, WhatIf
from featherline.wire.verdicts import Message
from featherline_service.book.shop_book import Book
from featherline_service.cost.times import Closing
from featherline_service.quantities import millimetres, seconds
from featherline_service.questions.checks import Checks, not_in_film
from featherline_service.questions.pricing import what_ifs
from featherline_service.questions.pricing.cost_lines import Part, Presswork, Work
from featherline_service.questions.pricing.film_lots import FilmPieces
from featherline_service.questions.pricing.prices import price_order
from featherline_service.questions.pricing.terms import read_terms
from featherline_service.questions.quote import quotes
from featherline_service.runtime.engine import ENGINE


def estimate(book: Book, request: CostRequest) -> CostAnswer:
    """Return cost and price of an order, or of work known by its measures alone.

    An order is checked and resolved as for a quote; one that must be declined has no cost, and the answer says why.

    Raises:
        RefusedError: with every fault, its pointer into the request.
    """
    checks = Checks()
    what_ifs.check(book, request.what_if, checks)
    match request:
        case OrderWork(order=order):
            return _of_order(book, order, request.what_if, checks)
        case Measured():
            return _of_measures(book, request, checks)


def _of_order(book: Book, request: Order, what_if: WhatIf | None, checks: Checks) -> CostAnswer:
    of_order = checks.under("/order")
    order, terms = quotes.read(book, request, of_order)
    quote = quotes.quote_of(book, order, terms, of_order)
    answer = None
    declined = tuple(
        Message(sentence=reason.sentence, message=reason.message or reason.code, parameters=reason.parameters)
        for reason in quote.reasons
        if reason.verdict == "decline"
    )
    if quote.cost is not None and quote.price is not None:
        answer = what_ifs.answer(what_if, quote.cost, quote.price, order.request.pairs)
    return CostAnswer(
        cost=quote.cost,
        price=quote.price,
        what_if=answer,
        declined=tuple(message.sentence for message in declined),
        declined_messages=declined,
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
    )


def _of_measures(book: Book, request: Measured, checks: Checks) -> CostAnswer:
    terms = read_terms(book, request, checks)
    pieces = [_pieces(book, piece, index, checks) for index, piece in enumerate(request.pieces)]
    dwells_s = [
        checks.value(seconds, pressing.dwell, f"/pressings/{index}/dwell")
        for index, pressing in enumerate(request.pressings)
    ]
    presswork = [_presswork(book, request, index, dwells_s, checks) for index in range(len(dwells_s))]
    checks.settle()
    assert terms is not None  # noqa: S101 - settle has raised where there are none
    part = Part(
        pieces=tuple(piece for piece in pieces if piece is not None),
        presswork=tuple(press_job for press_job in presswork if press_job is not None),
        owner=request.owner,
        shoe=None,
        pairs=request.pairs,
        characters=0,
    )
    cost, price = price_order(book, Work(parts=(part,), terms=terms), checks, quantities=request.quantities)
    answer = what_ifs.answer(request.what_if, cost, price, request.pairs)
    return CostAnswer(
        cost=cost, price=price, what_if=answer, declined=(), book=book.revision, book_until=book.until, engine=ENGINE
    )


def _pieces(book: Book, piece: CutPiece, index: int, checks: Checks) -> FilmPieces | None:
    at = f"/pieces/{index}"
    film = checks.record(book.films, "film", piece.film, f"{at}/film")
    width = checks.value(millimetres, piece.width, f"{at}/width")
    height = checks.value(millimetres, piece.height, f"{at}/height")
    cut_length = checks.value(millimetres, piece.cut_length, f"{at}/cut_length")
    if film is None or width is None or height is None or cut_length is None:
        return None
    if all(colour.id != piece.colour for colour in film.colours):
        checks.note(f"{at}/colour", not_in_film(film, piece.colour))
        return None
    return FilmPieces(
        film=film,
        colour=piece.colour,
        width_mm=width,
        height_mm=height,
        cut_length_mm=cut_length,
        corners=piece.corners,
        outlines=piece.waste_pieces,  # one for each counter, and the outermost for the surround
        waste_pieces=piece.waste_pieces,
        per_pair=piece.per_pair,
        pointer=f"{at}/width",
    )


def _presswork(
    book: Book, request: Measured, index: int, dwells_s: Sequence[float | None], checks: Checks
) -> Presswork | None:
    """Return a pressing with a known setting as work: one loading, with both shoes of a pair on the platen.

    Which pieces it bonds is not said, so the first pressing has the positioning, taping and peeling of all. Nothing is
    known of its window: the chance of spoiling a shoe is that of a slip and of a limit that is a guess, and its films
    are taken to hold.
    """
    pressing = request.pressings[index]
    at = f"/pressings/{index}"
    dwell = dwells_s[index]
    wait = 0.0 if pressing.wait is None else checks.value(seconds, pressing.wait, f"{at}/wait")
    cover = None
    if pressing.cover is not None:
        cover = checks.record(book.covers, "cover-sheet", pressing.cover, f"{at}/cover")
    if dwell is None or wait is None or (cover is None and pressing.cover is not None):
        return None
    films = [(book.films.get(piece.film), piece.per_pair) for piece in request.pieces if index == 0]
    spoilage = book.rates[book.bench.rates].spoilage
    return Presswork(
        closing=Closing(
            loading=index,
            setting=dwells_s.index(dwell),
            dwell_s=dwell,
            wait_s=wait,
            closings=pressing.per_pair,
            shoes=max(pressing.per_pair, 2),
            placed=sum(count for _, count in films),
            taped=sum(count for film, count in films if film is not None and not film.carrier.sticky),
        ),
        cover=cover,
        shoe_chance=min(1.0, spoilage.handling + spoilage.weak_guess),
        weak_chance=0.0,
    )
