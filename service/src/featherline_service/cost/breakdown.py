"""The lines of a cost: anyone can redo each by hand, and they add up exactly."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Final, Literal

from featherline.wire.costs import CostLine
from featherline_service.cost.money import LARGEST, MoneyError, exact, exactly, measure, money, rounded

What = Literal["film", "offcut", "cover", "tape", "packing", "labour", "press", "cutter", "spoilage", "overhead"]

MATERIAL: Final[frozenset[What]] = frozenset({"film", "offcut", "cover", "tape"})
WORKED: Final[frozenset[What]] = frozenset({"labour", "press", "cutter"})
"""What overhead is a share of."""

_RATE_STEP: Final = Decimal("1e-12")
"""The wire's decimals have twelve digits after the point."""


def line(
    what: What,
    *,
    detail: str,
    quantity: float | Decimal,
    step: Decimal,
    unit: str,
    rate: Decimal,
    currency: str,
    origin: str,
) -> CostLine:
    """Return a line: the quantity in whole multiples of `step`, times the rate, rounded to the currency's minor unit.

    Quantity and rate are rounded to what the line shows before they are multiplied, so that the amount can be redone
    from the line alone.

    Raises:
        MoneyError: the quantity is below zero, or an amount is too large for the wire.
    """
    with exactly():
        counted = measure(quantity, step) if isinstance(quantity, float) else quantity.quantize(step)
        shown = rate.quantize(_RATE_STEP)
        if counted < 0 or shown < 0:
            raise MoneyError(f"The {what} line would be below zero: give measures and rates of zero or more")
        if shown >= LARGEST:
            raise MoneyError(f"The rate of the {what} line has more than fifteen digits: mend the book")
        # As many decimals as needed, two at least: '24.00', '0.000124'.
        rate_text = max(f"{shown.normalize():f}", f"{shown:.2f}", key=lambda text: len(text.partition(".")[2]))
        amount = money(rounded(counted * shown, currency), currency)
    return CostLine(
        what=what,
        detail=detail,
        quantity=f"{counted:f}",
        unit=unit,
        rate=rate_text,
        amount=amount,
        origin=origin,
    )


def total(lines: Iterable[CostLine], only: frozenset[What] | None = None) -> Decimal:
    """Return the exact sum of the lines' amounts, or of those that `only` names."""
    with exactly():
        return sum((exact(one.amount.amount) for one in lines if only is None or one.what in only), Decimal(0))
