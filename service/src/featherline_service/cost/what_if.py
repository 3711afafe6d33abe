"""Break-even quantity, margin at a price, and price for a margin.

Exact: amounts are decimals in units of one currency; a margin is a share of the price.
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction

from featherline_service.cost.money import exactly


def break_even_pairs(outlay: Decimal, total_price: Decimal, total_cost: Decimal, pairs: int) -> int | None:
    r"""Return the smallest number of pairs whose contribution covers an outlay; None where no number does.

    Price and cost of a pair are those of an order of `pairs`.

    .. math:: n = \lceil O N / (P - C) \rceil

    Args:
        outlay: the amount to be paid back.
        total_price: price of the order.
        total_cost: cost of the order.
        pairs: number of pairs in the order, at least 1.

    References:
        The break-even point, fixed cost over contribution: any textbook of cost accounting; from memory.
    """
    contribution = Fraction(total_price) - Fraction(total_cost)
    if contribution <= 0:
        return 0 if outlay == 0 else None
    return math.ceil(Fraction(outlay) * pairs / contribution)


def margin_at(price: Decimal, cost: Fraction) -> float:
    """Return the margin as a share of a price above zero; negative where the price is below the cost."""
    return float(1 - cost / Fraction(price))


def price_for(margin: Decimal, cost: Fraction, step: Decimal) -> Decimal:
    """Return the lowest price, in whole steps, with at least the given margin.

    Args:
        margin: share of the price, from 0 to below 1.
        cost: cost in the currency's units.
        step: the currency's minor unit.
    """
    lowest = cost / (1 - Fraction(margin)) / Fraction(step)
    with exactly():
        return (Decimal(math.ceil(lowest)) * step).quantize(step, rounding=ROUND_CEILING)
