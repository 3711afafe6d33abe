"""A web shop's add-on: the price of a name on a shoe while the customer types, sealed in the cart, and checked.

A quote is requested when the customer pauses, and once for each order, whoever types it. The cart line has the order
and its seal; at the checkout the seal shows whether the two still belong together, without a database.

    pip install 'featherline[seals]'
    python web_shop.py                  # asks FEATHERLINE_URL, else http://127.0.0.1:8037
"""

from __future__ import annotations

import asyncio
from collections.abc import MutableMapping

from msgspec import Struct

from featherline import AsyncClient, seals
from featherline.wire import BookShoe, Money, Order, Placement, QuoteAnswer, Size, TextArtwork

PAUSE_S = 0.25  # after it the customer has stopped typing
MOST_QUOTES = 10_000


class CartLine(Struct, frozen=True):
    """A line of the cart. It may be in a cookie, since the seal shows every change."""

    order: Order
    seal: str


class Field:
    """The text field of one customer. All customers share the cache of quotes: equal orders have equal quotes."""

    def __init__(self, client: AsyncClient, quotes: MutableMapping[Order, QuoteAnswer]) -> None:
        self._client = client
        self._quotes = quotes
        self._keystrokes = 0

    async def on_keystroke(self, order: Order) -> QuoteAnswer | None:
        """Return the quote to show after a keystroke, or None if another keystroke has followed."""
        self._keystrokes += 1
        keystroke = self._keystrokes
        if order not in self._quotes:
            await asyncio.sleep(PAUSE_S)
            if keystroke != self._keystrokes:
                return None
            quote = await self._client.quote(order, timeout=3)
            if len(self._quotes) >= MOST_QUOTES:
                self._quotes.pop(next(iter(self._quotes)))
            self._quotes[order] = quote
        return self._quotes[order] if keystroke == self._keystrokes else None


def into_cart(order: Order, quote: QuoteAnswer) -> CartLine | None:
    """Return the line for the cart, or None unless the order is ready: a shoe to try first is not sold over the web."""
    if quote.verdict != "ready" or quote.seal is None:
        return None
    return CartLine(order, quote.seal.text)


async def at_checkout(client: AsyncClient, line: CartLine) -> Money | None:
    """Return the sealed price of a line, or None if the line needs a new quote."""
    check = await client.check_seal(line.seal)
    if check.status != "valid" or check.quote is None or check.quote.digest != seals.digest(line.order):
        return None
    return check.quote.total


def order_of(text: str) -> Order:
    """Return the order of a text on the outer quarters of the customer's deck shoes."""
    artwork = TextArtwork(text=text, font="plain", letter_height="9 mm")
    placement = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=artwork)
    return Order(shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")), placements=(placement,))


async def main() -> None:
    """Type MARLOW, put it into the cart and check it; then check another text under the same seal."""
    async with AsyncClient() as client:
        field = Field(client, {})
        shown: list[asyncio.Task[QuoteAnswer | None]] = []
        for end in range(1, len("MARLOW") + 1):
            shown.append(asyncio.create_task(field.on_keystroke(order_of("MARLOW"[:end]))))
            await asyncio.sleep(PAUSE_S / 10)
        for quote in filter(None, await asyncio.gather(*shown)):
            if quote.price is not None:
                print(f"{quote.verdict}: + {quote.price.total.amount} {quote.price.total.currency}")
            line = into_cart(order_of("MARLOW"), quote)
            if line is not None:
                print("at the checkout:", await at_checkout(client, line))
                print(
                    "another text, the same seal:", await at_checkout(client, CartLine(order_of("SCHOONER"), line.seal))
                )


if __name__ == "__main__":
    asyncio.run(main())
