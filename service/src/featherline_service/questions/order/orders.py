"""Orders: a shoe, the placements on it, and how many pairs."""

from __future__ import annotations

from msgspec import Struct

from featherline.wire import costs
from featherline.wire.records import Press
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks, Places
from featherline_service.questions.order.placements import Placement, Reader
from featherline_service.questions.shoes.shoes import Shoe


class Order(Struct, frozen=True, eq=False):
    """An order, `request`, with its shoe, press and placements."""

    request: costs.Order
    shoe: Shoe
    press: Press
    placements: tuple[Placement, ...]


def read_order(book: Book, request: costs.Order, checks: Checks) -> Order | None:
    """Return an order; note what is wrong with it."""
    reader = Reader(book, request, checks)
    placements = [
        reader.read(placement, checks.at(places_of(index))) for index, placement in enumerate(request.placements)
    ]
    shoe, press = reader.shoe, reader.press
    if shoe is None or press is None or None in placements:
        return None
    return Order(request, shoe, press, tuple(placement for placement in placements if placement is not None))


def places_of(index: int) -> Places:
    """Return where in an order the parts of a placement are, by the pointers of requests for a fit and for a recipe."""
    here = f"/placements/{index}"
    return Places(rest=here, parts={"/shoe": "/shoe", "/press": "/press", "/onto": here, "/onto/shoe": "/shoe"})
