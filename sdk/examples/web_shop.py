"""A web shop's add-on: the price of a name on a shoe while the customer types, sealed in the cart, and checked.

An offer is requested when the customer pauses, and once for each order, whoever types it. The page's key has the scope
`price`: its answers have no cost and no margin, and it may be seen by everybody. The cart line has the order and its
seal; at the checkout the seal shows whether the two still belong together, without a database.

    pip install 'featherline[seals]'
    python web_shop.py                  # asks FEATHERLINE_URL, else http://127.0.0.1:8037
"""

from __future__ import annotations

import asyncio
from collections.abc import MutableMapping

from msgspec import Struct

from featherline import AsyncClient
from featherline.wire import BookShoe, Money, Offer, Order, Placement, Size, TextArtwork

PAUSE_S = 0.25  # after it the customer has stopped typing
MOST_OFFERS = 10_000


class CartLine(Struct, frozen=True):
    """A line of the cart. It may be in a cookie, since the seal shows every change."""

    order: Order
    seal: str


class Field:
    """The text field of one customer. All customers share the cache of offers: equal orders have equal offers."""

    def __init__(self, client: AsyncClient, offers: MutableMapping[Order, Offer]) -> None:
        self._client = client
        self._offers = offers
        self._keystrokes = 0

    async def on_keystroke(self, order: Order) -> Offer | None:
        """Return the offer to show after a keystroke, or None if another keystroke has followed."""
        self._keystrokes += 1
        keystroke = self._keystrokes
        if order not in self._offers:
            await asyncio.sleep(PAUSE_S)
            if keystroke != self._keystrokes:
                return None
            offer = await self._client.offer(order, timeout=3)
            if len(self._offers) >= MOST_OFFERS:
                self._offers.pop(next(iter(self._offers)))
            self._offers[order] = offer
        return self._offers[order] if keystroke == self._keystrokes else None


def into_cart(order: Order, offer: Offer) -> CartLine | None:
    """Return the line for the cart, or None unless the order is ready: a shoe to try first is not sold over the web."""
    if offer.verdict != "ready" or offer.seal is None:
        return None
    return CartLine(order, offer.seal.text)


class Sold(Struct, frozen=True, kw_only=True):
    """What this shop sells by, which its server knows and no cart can say.

    `audience` is the id of the page's key, `policy` the price policy that the key is pinned to (both null for a service
    without keys), and `book` the revision of the book by which the server began the cart.
    """

    audience: str | None = None
    policy: str | None = None
    book: str


async def at_checkout(client: AsyncClient, line: CartLine, sold: Sold) -> Money | None:
    """Return what the customer pays for a line, or None if the line needs a new offer.

    The cart was in the customer's hands, so a checkout believes nothing in it, and checks all of this:

    - the seal is the service's own, whole and in force, it is for this very order (its shoe, size, texts, owner and
      policy), it was given to this shop's page, and its price was not set by hand: the service says so;
    - the price is by the policy that the page sells by, and by the revision of the book that the cart was begun with;
    - the order can be done without a trial.

    It charges the total in the seal, with the tax where there is one, and nothing that the cart says of a price.
    """
    check = await client.check_seal(line.seal, order=line.order, audience=sold.audience)
    quote = check.quote
    if check.status != "valid" or quote is None or quote.verdict != "ready":
        return None
    if quote.book != sold.book or (sold.policy is not None and quote.policy != sold.policy):
        return None
    return quote.total if quote.tax is None else quote.tax.gross


def order_of(text: str) -> Order:
    """Return the order of a text on the outer quarters of the customer's deck shoes."""
    artwork = TextArtwork(text=text, font="plain", letter_height="9 mm")
    placement = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=artwork)
    return Order(shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")), placements=(placement,))


async def main() -> None:
    """Type MARLOW, put it into the cart and check it; then check another text under the same seal."""
    async with AsyncClient() as client:
        field = Field(client, {})
        shown: list[asyncio.Task[Offer | None]] = []
        for end in range(1, len("MARLOW") + 1):
            shown.append(asyncio.create_task(field.on_keystroke(order_of("MARLOW"[:end]))))
            await asyncio.sleep(PAUSE_S / 10)
        for offer in filter(None, await asyncio.gather(*shown)):
            if offer.price is not None:
                print(f"{offer.verdict}: + {offer.price.paid.amount} {offer.price.paid.currency}")
            line, sold = into_cart(order_of("MARLOW"), offer), Sold(book=offer.book)
            if line is not None:
                print("at the checkout:", await at_checkout(client, line, sold))
                swapped = CartLine(order_of("SCHOONER"), line.seal)
                print("another text, the same seal:", await at_checkout(client, swapped, sold))


if __name__ == "__main__":
    asyncio.run(main())
