"""What a shop owner asks of a price: when an outlay is paid back, what a price leaves, which price leaves a margin.

Exact: sums are decimals of one currency, in its units; shares are of the price.
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction

from featherline_service.cost.money import exactly


def break_even_pairs(outlay: Decimal, total_price: Decimal, total_cost: Decimal, pairs: int) -> int | None:
    r"""Return the fewest pairs that pay an outlay back, sold and made as in an order of `pairs`; None: none ever do.

    .. math:: n = \lceil O N / (P - C) \rceil

    Args:
        outlay: what is to be paid back.
        total_price: what the order is sold at.
        total_cost: what it costs to make.
        pairs: how many pairs the order is of.

    References:
        The break-even point, fixed cost over contribution: any textbook of cost accounting; from memory.
    """
    contribution = Fraction(total_price) - Fraction(total_cost)
    if contribution <= 0:
        return 0 if outlay == 0 else None
    return math.ceil(Fraction(outlay) * pairs / contribution)


def margin_at(price: Decimal, cost: Fraction) -> float:
    """Return the share of a price above zero that is not cost; negative where the price is below it."""
    return float(1 - cost / Fraction(price))


def price_for(margin: Decimal, cost: Fraction, step: Decimal) -> Decimal:
    """Return the lowest price, in whole steps, of which at least a share is margin.

    Args:
        margin: the share, from zero and below one.
        cost: the cost, in the currency's units.
        step: the currency's minor unit.
    """
    lowest = cost / (1 - Fraction(margin)) / Fraction(step)
    with exactly():
        return (Decimal(math.ceil(lowest)) * step).quantize(step, rounding=ROUND_CEILING)
