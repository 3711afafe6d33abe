"""Plug-ins that fail, for tests."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import Any

from msgspec.structs import replace

from featherline.plugins import Drawing, Findings, Sale, SalePrice
from featherline.wire import Money, Order, PriceStep, Reason, TextArtwork


class Raises:
    """A price policy that raises."""

    def price(self, sale: Sale) -> SalePrice:
        """Divide by zero."""
        raise ZeroDivisionError(f"a secret of {sale.currency}")


class Leaves:
    """A price policy that ends the process."""

    def price(self, _sale: Sale) -> SalePrice:
        """Leave."""
        sys.exit(1)


class Short:
    """A price policy whose total is not what the lots add up to."""

    def price(self, sale: Sale) -> SalePrice:
        """Return a price that does not add up."""
        each = replace(sale.cost.total, amount=sale.cost.total.amount.replace(".", "1."))
        total = Money(amount="0.01", currency=sale.currency)
        return SalePrice(
            each=(each,) * len(sale.lots),
            total=total,
            why=(PriceStep(what="short", sentence="Less than it adds up to", amount=total),),
        )


class Loops:
    """A price policy that never comes to an end."""

    def price(self, _sale: Sale) -> SalePrice:
        """Go round and round."""
        while True:
            pass


class Spills:
    """A reader whose outlines are open."""

    media_types = ("text/x-spill",)

    def read(self, _content: bytes, _media_type: str) -> Any:  # noqa: ANN401 - whatever
        """Return what is no drawing."""
        return Drawing(d="M0 0H10V10")


class Leak:
    """A check that fails at orders of a text."""

    def check(self, order: Order, _found: Findings) -> Iterable[Reason]:
        """Return nothing, or fail."""
        for placement in order.placements:
            if isinstance(placement.artwork, TextArtwork) and "LEAK" in placement.artwork.text:
                raise RuntimeError(f"a secret of the check: {placement.artwork.text}")
        return ()
