"""A shop owner's what-if questions about a price, answered in the currency of the bench's rates."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from featherline.wire.costs import AtPrice, BreakEven, Cost, CostLine, ForMargin, Price, WhatIf, WhatIfAnswer
from featherline.wire.money import Charge, Money
from featherline_service.book.shop_book import Book
from featherline_service.cost.breakdown import total
from featherline_service.cost.money import LARGEST, MoneyError, decimal_of, exact_arithmetic, minor_step, money, rounded
from featherline_service.cost.what_if import at_price, break_even_pairs, largest_discount, price_for_margin
from featherline_service.messages.told import told
from featherline_service.messages.values import Amount, Quantity, said
from featherline_service.questions.checks import Checks, RefusedError, told_fault

_TENTHS_OF_PERCENT: Final = 1000


def check(book: Book, what_if: WhatIf | None, checks: Checks) -> None:
    """Note what is wrong with the questions: another currency, a price of zero, a margin of one or more."""
    if what_if is None:
        return
    currency = book.rates[book.bench.rates].currency
    for name, charge in (("outlay", what_if.outlay), ("at_price", what_if.at_price)):
        if charge is not None and charge.currency != currency:
            checks.note(
                f"/what_if/{name}/currency",
                told(
                    "money.other-currency",
                    "The bench's rates are in {currency}: give the sum in {currency}",
                    currency=currency,
                ),
            )
    if what_if.at_price is not None and decimal_of(what_if.at_price.amount) == 0:
        checks.note(
            "/what_if/at_price/amount", told("price.zero", "A margin needs a price above zero: give more than zero")
        )
    if what_if.for_margin is not None and decimal_of(what_if.for_margin) >= 1:
        checks.note(
            "/what_if/for_margin",
            told("margin.too-large", "A margin is a share of the price: give less than 1, such as '0.40'"),
        )


def answer(what_if: WhatIf | None, cost: Cost, price: Price, pairs: int) -> WhatIfAnswer | None:
    """Return the answer to a checked question for a cost and price of so many pairs.

    Raises:
        RefusedError: an answer is too large for the wire.
    """
    if what_if is None:
        return None
    try:
        return WhatIfAnswer(
            break_even=None if what_if.outlay is None else _break_even(what_if.outlay, cost, price, pairs),
            at_price=None if what_if.at_price is None else _at_price(what_if.at_price, cost, price, pairs),
            for_margin=None if what_if.for_margin is None else _for_margin(what_if.for_margin, cost, price, pairs),
        )
    except MoneyError as error:
        raise RefusedError((told_fault("/what_if", error.told),)) from error


def _break_even(outlay: Charge, cost: Cost, price: Price, pairs: int) -> BreakEven:
    spent, made = decimal_of(outlay.amount), decimal_of(cost.total.amount)
    sold = decimal_of((price.total if price.tax is None else price.tax.net).amount)
    by_others = made - total(cost.lines, frozenset({"labour"}))
    needed = break_even_pairs(spent, sold, made, pairs)
    own_needed = break_even_pairs(spent, sold, by_others, pairs)
    words = said(
        "what-if.break-even",
        paid="never" if needed is None else "by-pair",
        pair=needed or 0,
        own="same" if needed == own_needed else "never" if own_needed is None else "by-pair",
        own_pair=own_needed or 0,
    )
    return BreakEven(
        outlay=_money(spent, outlay.currency),
        contribution=_each(sold - made, pairs, outlay.currency),
        pairs=needed,
        own_hours_contribution=_each(sold - by_others, pairs, outlay.currency),
        own_hours_pairs=own_needed,
        **words._asdict(),
    )


def _at_price(asked: Charge, cost: Cost, price: Price, pairs: int) -> AtPrice:
    pair_price, shown = decimal_of(asked.amount), _shown_share(price)
    net = Fraction(pair_price) / shown
    spent = _without_fee(cost, pairs) + _fee_share(cost, price) * net
    left = at_price(net, spent, _pair(price.total, pairs) / shown)
    assert left.margin is not None  # noqa: S101 - `check` refuses a price of zero
    profit = _money(_half_even(left.profit, asked.currency), asked.currency)
    loss = left.margin < 0
    share = Quantity(round(-100.0 * float(left.margin), 1), "percent", 1) if loss else _at_least(left.margin)
    return AtPrice(
        each=_money(pair_price, asked.currency),
        profit=profit,
        margin=float(left.margin),
        discount=None if left.discount is None else float(left.discount),
        **said(
            "what-if.at-price",
            result="loss" if loss else "margin",
            profit=Amount(abs(decimal_of(profit.amount.removeprefix("-"))), profit.currency),
            share=share,
            of=_net_price(price),
            shared=_shared(price),
        )._asdict(),
    )


def _for_margin(asked: str, cost: Cost, price: Price, pairs: int) -> ForMargin:
    currency, shown, listed = cost.total.currency, _shown_share(price), _pair(price.total, pairs)
    with_tax, fee = _without_fee(cost, pairs) * shown, _fee_share(cost, price)
    # A share of the price goes to the card: what is left is the margin asked for.
    wanted = Fraction(decimal_of(asked)) + fee
    if wanted >= 1:
        raise RefusedError(
            (
                told_fault(
                    "/what_if/for_margin",
                    told("margin.unreachable", "With the card fee no price has that margin: give less"),
                ),
            )
        )
    pair_price = price_for_margin(wanted, with_tax, minor_step(currency))
    left = at_price(Fraction(pair_price), with_tax + fee * Fraction(pair_price), listed)
    discount = largest_discount(listed, with_tax, wanted, minor_step(currency)) if listed else None
    return ForMargin(
        each=money(pair_price, currency),
        total=money(pair_price * pairs, currency),
        margin=float(left.margin or 0),
        largest_discount=None if discount is None else float(discount),
        **said(
            "what-if.for-margin",
            each=Amount(pair_price, currency),
            shared=_shared(price),
            margin=decimal_of(asked),
            of=_net_price(price),
            discount=None if discount is None else _at_least(discount),
        )._asdict(),
    )


def _at_least(share: Fraction) -> Quantity:
    """Return a share of zero or more, rounded down: neither discount nor margin is more than is said."""
    return Quantity(math.floor(share * _TENTHS_OF_PERCENT) / 10, "percent", 1)


def _net_price(price: Price) -> Literal["price", "price-without-tax"]:
    """Return what margins are shares of."""
    return "price" if price.tax is None else "price-without-tax"


def _shared(price: Price) -> Literal["none", "set-up", "minimum", "both"]:
    """Return what a pair's price includes that the policy charges by lines of its own."""
    set_up, to_minimum = (
        charge is not None and decimal_of(charge.amount) != 0 for charge in (price.set_up, price.to_minimum)
    )
    if set_up and to_minimum:
        return "both"
    return "set-up" if set_up else "minimum" if to_minimum else "none"


def _fee_share(cost: Cost, price: Price) -> Fraction:
    """Return the part of a card's fee that grows with the price, as a share of the price without tax."""
    share = sum((Fraction(line.rate) for line in cost.lines if _grows_with_price(line)), Fraction(0))
    return share if price.tax is None else share * (1 + Fraction(price.tax.rate))


def _without_fee(cost: Cost, pairs: int) -> Fraction:
    """Return the cost of a pair without the part of a card's fee that grows with the price."""
    fee = total(line for line in cost.lines if _grows_with_price(line))
    return (Fraction(cost.total.amount) - Fraction(fee)) / pairs


def _grows_with_price(line: CostLine) -> bool:
    return line.what == "card" and line.unit == line.amount.currency


def _shown_share(price: Price) -> Fraction:
    """Return what is shown for a net price of 1: above 1 where prices are shown with tax."""
    if price.tax is None or price.tax.shown == "net":
        return Fraction(1)
    return 1 + Fraction(decimal_of(price.tax.rate))


def _pair(everything: Money, pairs: int) -> Fraction:
    return Fraction(decimal_of(everything.amount)) / pairs


def _half_even(amount: Fraction, currency: str) -> Decimal:
    step = minor_step(currency)
    with exact_arithmetic():
        return round(amount / Fraction(step)) * step


def _each(everything: Decimal, pairs: int, currency: str) -> Money:
    return money(rounded(everything / pairs, currency), currency)


def _money(amount: Decimal, currency: str) -> Money:
    if amount >= LARGEST:
        raise MoneyError("money.too-large", "The amount has more than fifteen digits: ask for less")
    return money(rounded(amount, currency), currency)
