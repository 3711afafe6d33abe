"""A shop owner's what-if questions about a price, answered in the currency of the bench's rates."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from featherline.wire.costs import AtPrice, BreakEven, Cost, ForMargin, Price, WhatIf, WhatIfAnswer
from featherline.wire.money import Charge, Money
from featherline.wire.problems import Fault
from featherline_service.book.shop_book import Book
from featherline_service.cost.breakdown import total
from featherline_service.cost.money import LARGEST, MoneyError, decimal_of, minor_step, money, rounded
from featherline_service.cost.what_if import break_even_pairs, margin_at, price_for_margin
from featherline_service.questions.checks import Checks, RefusedError


def check(book: Book, what_if: WhatIf | None, checks: Checks) -> None:
    """Note what is wrong with the questions: another currency, a price of zero, a margin of one or more."""
    if what_if is None:
        return
    currency = book.rates[book.bench.rates].currency
    for name, charge in (("outlay", what_if.outlay), ("at_price", what_if.at_price)):
        if charge is not None and charge.currency != currency:
            checks.note(f"/what_if/{name}/currency", f"The bench's rates are in {currency}: give the sum in {currency}")
    if what_if.at_price is not None and decimal_of(what_if.at_price.amount) == 0:
        checks.note("/what_if/at_price/amount", "A margin needs a price above zero: give more than zero")
    if what_if.for_margin is not None and decimal_of(what_if.for_margin) >= 1:
        checks.note("/what_if/for_margin", "A margin is a share of the price: give less than 1, such as '0.40'")


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
            at_price=None if what_if.at_price is None else _at_price(what_if.at_price, cost, pairs),
            for_margin=None if what_if.for_margin is None else _for_margin(what_if.for_margin, cost, pairs),
        )
    except MoneyError as error:
        raise RefusedError((Fault(pointer="/what_if", detail=str(error)),)) from error


def _break_even(outlay: Charge, cost: Cost, price: Price, pairs: int) -> BreakEven:
    spent, sold, made = decimal_of(outlay.amount), decimal_of(price.total.amount), decimal_of(cost.total.amount)
    by_others = made - total(cost.lines, frozenset({"labour"}))
    needed = break_even_pairs(spent, sold, made, pairs)
    own = break_even_pairs(spent, sold, by_others, pairs)
    says = "No number of pairs pays it back at this price" if needed is None else f"Paid back with pair {needed}"
    hours = (
        "; nor if the owner's own hours are not counted"
        if own is None
        else f"; with pair {own} if the hours are the owner's own and not counted"
    )
    return BreakEven(
        outlay=_money(spent, outlay.currency),
        contribution=_each(sold - made, pairs, outlay.currency),
        pairs=needed,
        own_hours_contribution=_each(sold - by_others, pairs, outlay.currency),
        own_hours_pairs=own,
        sentence=f"{says}{hours if needed != own else ''}.",
    )


def _at_price(asked: Charge, cost: Cost, pairs: int) -> AtPrice:
    each, own = decimal_of(asked.amount), Fraction(decimal_of(cost.total.amount)) / pairs
    margin = margin_at(each, own)
    profit = _each(each * pairs - decimal_of(cost.total.amount), pairs, asked.currency)
    what = "A loss" if margin < 0 else "A margin"
    return AtPrice(
        each=_money(each, asked.currency),
        profit=profit,
        margin=margin,
        sentence=f"{what} of {abs(margin):.1%} of the price: {profit.amount} {profit.currency} a pair.",
    )


def _for_margin(asked: str, cost: Cost, pairs: int) -> ForMargin:
    currency = cost.total.currency
    own = Fraction(decimal_of(cost.total.amount)) / pairs
    each = price_for_margin(decimal_of(asked), own, minor_step(currency))
    margin = margin_at(each, own) if each else 0.0
    return ForMargin(
        each=money(each, currency),
        total=money(each * pairs, currency),
        margin=margin,
        sentence=f"From {each} {currency} a pair on, a share of {asked} of the price is margin.",
    )


def _each(everything: Decimal, pairs: int, currency: str) -> Money:
    return money(rounded(everything / pairs, currency), currency)


def _money(amount: Decimal, currency: str) -> Money:
    if amount >= LARGEST:
        raise MoneyError("The amount has more than fifteen digits: ask for less")
    return money(rounded(amount, currency), currency)
