"""Orders: a shoe, the placements on it, and how many pairs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from featherline.wire import costs
from featherline.wire.artworks import TextArtwork
from featherline.wire.records import Press
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks, Places
from featherline_service.questions.order.placements import Placement, Reader
from featherline_service.questions.order.stacked_placements import check_stacks
from featherline_service.questions.shoes.shoes import Shoe
from featherline_service.runtime.cache import Latest


class Order(Struct, frozen=True, eq=False):
    """An order, `request`, with its shoe, press and placements."""

    request: costs.Order
    shoe: Shoe
    press: Press
    placements: tuple[Placement, ...]

    @property
    def marks(self) -> tuple[tuple[int, Placement], ...]:
        """The placements with their indices, each after its backing."""
        return tuple(
            (index, mark)
            for index, placement in enumerate(self.placements)
            for mark in (placement.backing, placement)
            if mark is not None
        )

    def under(self, placement: Placement) -> tuple[Placement, ...]:
        """Return what a placement lies on, its backing too, the lowest first."""
        below: list[Placement] = [] if placement.backing is None else [placement.backing]
        if placement.onto is not None:
            lower = self.placements[placement.onto]
            below = [*self.under(lower), lower, *below]
        return tuple(below)


_Read = tuple[Shoe, Press, tuple[Placement, ...]]
_latest: Final = Latest[_Read | None]()


def has_texts_alone(request: costs.Order) -> bool:
    """Return whether all artworks of an order are texts, whose outlines are small."""
    return all(isinstance(placement.artwork, TextArtwork) for placement in request.placements)


def read_order(book: Book, request: costs.Order, checks: Checks) -> Order | None:
    """Return an order; note what is wrong with it.

    An order of texts that differs from the one before in its pairs, or whatever else its placements do not depend on,
    has the very same placements.
    """
    if has_texts_alone(request):
        key = (book, request.shoe, request.press, request.units, request.placements)
        read = _latest.get(key, lambda: _read(book, request, Checks()))
        if read is not None:
            return None if checks.faults else Order(request, *read)
    read = _read(book, request, checks)
    return None if read is None else Order(request, *read)


def _read(book: Book, request: costs.Order, checks: Checks) -> _Read | None:
    """Return the shoe, press and placements of an order; note what is wrong with them."""
    reader = Reader(book, request, checks)
    placements = [
        reader.read(placement, checks.at(places_of(index))) for index, placement in enumerate(request.placements)
    ]
    check_stacks(request, checks)
    shoe, press = reader.shoe, reader.press
    understood = [placement for placement in placements if placement is not None]
    if shoe is None or press is None or len(understood) < len(placements) or checks.faults:
        return None
    return shoe, press, tuple(_on_others(placement, understood) for placement in understood)


def _on_others(placement: Placement, placements: Sequence[Placement]) -> Placement:
    """Return a placement with the colour of the one that it, or its backing, lies on."""
    if placement.onto is None:
        return placement
    colour = placements[placement.onto].colour
    behind = None if colour is None else colour.hex
    if placement.backing is None:
        return replace(placement, behind=behind)
    return replace(placement, backing=replace(placement.backing, behind=behind))


def places_of(index: int) -> Places:
    """Return where in an order the parts of a placement are, by the pointers of requests for a fit and for a recipe."""
    here = f"/placements/{index}"
    order = {"/shoe": "/shoe", "/press": "/press", "/onto/shoe": "/shoe", "/observations": "/observations"}
    return Places(rest=here, parts={**order, "/onto": here})
