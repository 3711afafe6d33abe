"""The checkout of a web shop: what a line of the cart costs, if its order and its seal belong together.

The cart is in the customer's hands, in the page or in a cookie: the seal shows every change, without a database.
"""

from __future__ import annotations

from msgspec import Struct

from featherline import Client
from featherline.wire import Money, Order


class CartLine(Struct, frozen=True, forbid_unknown_fields=True):
    """A line of the cart: an order, and the seal of its offer."""

    order: Order
    seal: str


class Sold(Struct, frozen=True, kw_only=True):
    """What this shop sells by, which its server knows and no cart can say.

    `audience` is the id of the page's key, `policy` the price policy that the key is pinned to (both null for a service
    without keys), and `book` the revision of the book by which the server began the cart.
    """

    audience: str | None = None
    policy: str | None = None
    book: str


def at_checkout(client: Client, line: CartLine, sold: Sold) -> Money | None:
    """Return what the customer pays for a line, or None if the line needs a new offer.

    The cart was in the customer's hands, so a checkout believes nothing in it, and checks all of this:

    - the seal is the service's own, whole and in force, it is for this very order (its shoe, size, texts, owner and
      policy), it was given to this shop's page, and its price was not set by hand: the service says so;
    - the price is by the policy that the page sells by, and by the revision of the book that the cart was begun with;
    - the order can be done without a trial.

    It charges the total in the seal, with the tax where there is one, and nothing that the cart says of a price.
    """
    check = client.check_seal(line.seal, order=line.order, audience=sold.audience)
    quote = check.quote
    if check.status != "valid" or quote is None or quote.verdict != "ready":
        return None
    if quote.book != sold.book or (sold.policy is not None and quote.policy != sold.policy):
        return None
    return quote.total if quote.tax is None else quote.tax.gross
