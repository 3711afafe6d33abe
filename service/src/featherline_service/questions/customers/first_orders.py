"""Orders that are computed before any caller asks, so that the first question of a process is answered sooner."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from itertools import islice, product
from typing import Final

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.records import Film, ShoeModel
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import quotes

MOST = 20
"""Most orders that are computed, of all books: each takes some hundredths of a second and a megabyte."""
_TEXT: Final = "A1"
_HEIGHT: Final = "14 mm"
_UNPRESSED: Final = frozenset({"heat.no-window", "surface.unsuited"})
"""Codes of reasons with which what would help is looked for among all films."""


def prepare(*books: Book) -> Iterator[None]:
    """Compute an order of each shoe in the finest film that bonds to it, and in all others where that has no window.

    Messages, price lists, panels and windows are then in memory. Where there is no window, what would help is looked
    for among all films and panels, which takes longest. Yields after each order.
    """
    yield from islice((None for book in books for _ in _orders(book)), MOST)


def _orders(book: Book) -> Iterator[None]:
    finest_first = sorted(book.films.values(), key=lambda film: (film.finest.stroke_mm, film.id))
    unpressed = []
    for shoe in book.shoes.values():
        surface = book.uppers[shoe.panels[0].upper].surface
        film = next((film for film in finest_first if surface in film.bonds_to), finest_first[0])
        if not _is_pressed(book, _order(book, shoe, film)):
            unpressed.append((shoe, film))
        yield
    for (shoe, tried), film in product(unpressed, finest_first):
        if film is not tried:
            _is_pressed(book, _order(book, shoe, film))
            yield


def _is_pressed(book: Book, order: Order) -> bool:
    with suppress(RefusedError):  # of a book that cannot answer, each request tells
        quote = quotes.compose(book, order)
        return all(reason.code not in _UNPRESSED for reason in quote.reasons)
    return True


def _order(book: Book, shoe: ShoeModel, film: Film) -> Order:
    middle = round(0.5 * (shoe.sizes.smallest + shoe.sizes.largest))
    artwork = TextArtwork(text=_TEXT, font=next(iter(book.fonts)), letter_height=_HEIGHT)
    panel, colour = shoe.panels[0].id, film.colours[0].id
    return Order(
        shoe=BookShoe(shoe=shoe.id, size=Size(system=shoe.sizes.system, value=f"{middle}")),
        placements=(Placement(panel=panel, film=film.id, colour=colour, artwork=artwork),),
    )
