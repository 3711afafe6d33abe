"""What the regatta club pays: the cost and half of it, to the next multiple of five minor units, a pair."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Final

from featherline.plugins import Lot, Sale, SalePrice
from featherline.wire import Money, PriceStep

SHARE: Final = Decimal("1.5")
RUSH: Final = Decimal("1.25")
STEP: Final = 5  # minor units


class ClubPrice:
    """Prices every lot for itself: rows of a roster that cost more are dearer."""

    def price(self, sale: Sale) -> SalePrice:
        """Return what the club is charged."""
        unit = Decimal(1).scaleb(-_places(sale))
        factor = SHARE * RUSH if sale.rush else SHARE
        each = [self._each(lot, factor, unit) for lot in sale.lots]
        total = sum((price * lot.pairs for price, lot in zip(each, sale.lots, strict=True)), Decimal(0))
        how = f"The cost and a half of it{', a quarter more in a rush' if sale.rush else ''}, for the club"
        return SalePrice(
            each=tuple(_money(price, sale) for price in each),
            total=_money(total, sale),
            why=(
                PriceStep(what="cost", sentence="What the work costs the shop", amount=sale.cost.total),
                PriceStep(what="club", sentence=how, amount=_money(total, sale)),
            ),
        )

    def _each(self, lot: Lot, factor: Decimal, unit: Decimal) -> Decimal:
        units = Decimal(lot.cost.amount) * factor / lot.pairs / unit
        return math.ceil(units / STEP) * STEP * unit


def _places(sale: Sale) -> int:
    """Return how many decimals the currency has: those that the cost is written with."""
    return len(sale.cost.total.amount.partition(".")[2])


def _money(amount: Decimal, sale: Sale) -> Money:
    return Money(amount=f"{amount:.{_places(sale)}f}", currency=sale.currency)
