"""Carts as a customer may bring them to a checkout: genuine ones, and others that were tampered with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from draws import drawn
from msgspec.structs import replace

from featherline import Client
from featherline.wire import BookShoe, Order, Placement, Size, TextArtwork

CARTS: Final = drawn(34)
"""Genuine carts, and of each of the six kinds of tampering as many: 204 in all where all are drawn."""
FIRST: Final = "ABCDEFGHJKLMNOPRSTUVW"


class Cart(NamedTuple):
    """An order, and the seal that comes with it."""

    order: Order
    seal: str


def orders() -> tuple[Order, ...]:
    """Return different orders that are ready."""
    names = [f"{first}{second}" for first in FIRST for second in "AO"][:CARTS]
    return tuple(
        Order(
            shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")),
            placements=(
                Placement(
                    panel="outer-quarter",
                    film="smooth",
                    colour="gorse",
                    artwork=TextArtwork(text=name, font="plain", letter_height="14 mm", letter_spacing=0.2),
                ),
            ),
        )
        for name in names
    )


def genuine(client: Client) -> tuple[Cart, ...]:
    """Return carts with the seals of a key."""
    carts = []
    for order in orders():
        offer = client.offer(order)
        assert "ready" == offer.verdict, offer.reasons
        assert offer.seal is not None
        carts.append(Cart(order, offer.seal.text))
    return tuple(carts)


def tampered(
    page: tuple[Cart, ...], till: tuple[Cart, ...], other_book: tuple[Cart, ...]
) -> Mapping[str, tuple[Cart, ...]]:
    """Return carts by what was done to them.

    Args:
        page: genuine carts of the page's key.
        till: the same orders, with seals that another key got.
        other_book: the same orders, with the page's seals by another revision of the book.
    """
    larger = Size(system="EU", value="43")
    return {
        "swapped": tuple(Cart(cart.order, page[index - 1].seal) for index, cart in enumerate(page)),
        "policy": tuple(cart._replace(order=replace(cart.order, policy="club")) for cart in page),
        "owner": tuple(cart._replace(order=replace(cart.order, owner="shop")) for cart in page),
        "key": till,
        "revision": other_book,
        "size": tuple(
            cart._replace(order=replace(cart.order, shoe=BookShoe(shoe="regatta-deck", size=larger))) for cart in page
        ),
    }
