"""Lines of a cost: quantity times rate, rounded to the minor unit, so that each line can be checked by hand."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache
from typing import Final, Literal

from featherline.wire.costs import CostLine
from featherline_service.cost.money import (
    LARGEST,
    TOO_LARGE,
    MoneyError,
    decimal_of,
    exact_arithmetic,
    money,
    quantized,
    rounded_product,
    stepped,
)

LineKind = Literal[
    "film", "offcut", "cover", "tape", "packing", "labour", "press", "cutter", "failed-cuts", "test-cuts", "spoilage",
    "overhead", "artwork", "post", "card",
]  # fmt: skip

MATERIAL: Final[frozenset[LineKind]] = frozenset({"film", "offcut", "cover", "tape", "test-cuts"})
OVERHEAD_BASE: Final[frozenset[LineKind]] = frozenset({"labour", "press", "cutter"})
"""Kinds of line that overhead is charged on."""

_RATE_STEP: Final = Decimal("1e-12")
"""Smallest step of a decimal in an answer: twelve digits after the point."""


def cost_line(
    what: LineKind,
    *,
    detail: str,
    quantity: float | Decimal,
    step: Decimal,
    unit: str,
    rate: Decimal,
    currency: str,
    origin: str,
) -> CostLine:
    """Return a line whose amount is quantity times rate, rounded half-even to the currency's minor unit.

    Quantity and rate are rounded to the printed digits before they are multiplied, so that the amount can be
    recalculated from the line alone.

    Args:
        what: kind of line.
        detail: the line in words.
        quantity: how much was used, in `unit`.
        step: the quantity is rounded half-even to whole multiples of this.
        unit: unit of the quantity, as printed.
        rate: price of one unit, rounded to twelve decimals.
        currency: ISO 4217 code.
        origin: the record of the book that the rate comes from.

    Raises:
        MoneyError: quantity or rate is below zero, not finite, or too large for an answer's decimals.
    """
    printed_quantity, printed_rate, amount = _priced(what, quantity, step, rate, currency)
    return CostLine(
        what=what,
        detail=detail,
        quantity=f"{printed_quantity:f}",
        unit=unit,
        rate=_rate_text(printed_rate),
        amount=money(amount, currency),
        origin=origin,
    )


def line_amount(what: LineKind, quantity: float | Decimal, step: Decimal, rate: Decimal, currency: str) -> Decimal:
    """Return the amount of the line that `cost_line` returns, which takes less. MoneyError: as there."""
    return _priced(what, quantity, step, rate, currency)[2]


def _priced(
    what: LineKind, quantity: float | Decimal, step: Decimal, rate: Decimal, currency: str
) -> tuple[Decimal, Decimal, Decimal]:
    """Return quantity and rate as printed, and their product rounded half-even to the minor unit."""
    printed_quantity = quantized(quantity, step) if isinstance(quantity, float) else stepped(quantity, step)
    printed_rate = stepped(rate, _RATE_STEP)
    if printed_quantity < 0 or printed_rate < 0:
        raise MoneyError(
            "money.line-below-zero",
            "The {what} line would be below zero: give measures and rates of zero or more",
            what=what,
        )
    if printed_rate >= LARGEST:
        raise MoneyError(
            "money.rate-too-large", "The rate of the {what} line has more than fifteen digits: mend the book", what=what
        )
    amount = rounded_product(printed_quantity, printed_rate, currency)
    if amount >= LARGEST:
        raise MoneyError("money.too-large", TOO_LARGE)
    return printed_quantity, printed_rate, amount


@lru_cache(maxsize=256)
def _rate_text(rate: Decimal) -> str:
    """Return a rate with as many decimals as needed, at least two: '24.00', '0.000124'."""
    with exact_arithmetic():
        return max(f"{rate.normalize():f}", f"{rate:.2f}", key=lambda text: len(text.partition(".")[2]))


def total(lines: Iterable[CostLine], only: frozenset[LineKind] | None = None) -> Decimal:
    """Return the exact sum of the amounts of all lines, or of the kinds in `only`."""
    with exact_arithmetic():
        return sum((decimal_of(item.amount.amount) for item in lines if only is None or item.what in only), Decimal(0))
