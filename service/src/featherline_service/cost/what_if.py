"""Break-even quantity, price for a margin, largest discount, and what a price set by hand leaves.

Exact: amounts are decimals in units of one currency; a margin is a share of the price, a discount of the list price.
"""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction

from msgspec import Struct

from featherline_service.cost.money import exact_arithmetic


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


def price_for_margin(margin: Decimal | Fraction, cost: Fraction, step: Decimal) -> Decimal:
    """Return the lowest price, in whole steps, with at least the given margin.

    Args:
        margin: share of the price, from 0 to below 1.
        cost: cost in the currency's units.
        step: the currency's minor unit.
    """
    lowest = cost / (1 - Fraction(margin)) / Fraction(step)
    with exact_arithmetic():
        return (Decimal(math.ceil(lowest)) * step).quantize(step, rounding=ROUND_CEILING)


class AtPrice(Struct, frozen=True, kw_only=True):
    """What a price set by hand leaves: profit, margin as a share of the price, and discount as a share of the list.

    The discount is negative where the price is above the list price, and null without a list price above zero. The
    margin is null at a price of zero.
    """

    profit: Fraction
    margin: Fraction | None
    discount: Fraction | None


def at_price(price: Fraction, cost: Fraction, list_price: Fraction) -> AtPrice:
    r"""Return what a price leaves, for a pair or for an order.

    .. math:: profit = P - C, \quad margin = 1 - C / P, \quad discount = 1 - P / L

    Args:
        price: the price set by hand, zero or more.
        cost: the cost.
        list_price: the price by the policy.

    References:
        Contribution margin and contribution margin percentage: C. T. Horngren, S. M. Datar, M. V. Rajan, *Cost
        Accounting: A Managerial Emphasis*, chapter on cost-volume-profit analysis; from memory.
    """
    return AtPrice(
        profit=price - cost,
        margin=1 - cost / price if price else None,
        discount=1 - price / list_price if list_price else None,
    )


def largest_discount(
    list_price: Fraction, cost: Fraction, margin: Decimal | Fraction, step: Decimal
) -> Fraction | None:
    r"""Return the largest discount that leaves a margin, as a share of the list price.

    None where the list price itself does not have it.

    The price is the lowest in whole steps with the margin, :math:`P = \lceil C / (1 - m) \rceil`, and the discount
    :math:`1 - P / L`.

    Args:
        list_price: the price by the policy, above zero.
        cost: the cost.
        margin: the margin to leave, as a share of the price, from 0 to below 1.
        step: the currency's minor unit.

    References:
        Target contribution margin percentage: Horngren, Datar and Rajan, as in `at_price`; from memory.
    """
    price = price_for_margin(margin, cost, step)
    return None if price > list_price else 1 - Fraction(price) / list_price
