"""The law of the price list, asked through the questions: of any policy, order and roster.

With more pairs the total never falls and the price of a pair never rises; the rows of an answer sum to its total.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from measured_work import PIECE, PRESSING, WORK
from msgspec.structs import replace
from random_policies import policies

from featherline.wire.costs import Measured, Price, QuantityPrice
from featherline.wire.money import Charge
from featherline.wire.records import OrderCosts, Policy
from featherline.wire.rosters import Roster, RosterPrice
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.costs import estimate
from featherline_service.questions.roster import rosters

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
BREAKS = st.sampled_from([1, 2, 3, 7, 10, 12, 25, 33, 100])
"""Few counts, so that runs of the same pairs are costed once for all policies."""

WORKS = (
    WORK,
    replace(WORK, pieces=(PIECE, replace(PIECE, film="metallic", colour="brass")), owner="shop"),
    replace(WORK, pieces=(replace(PIECE, per_pair=1),), pressings=(replace(PRESSING, wait="170 s", per_pair=2),)),
)

WORTH = {"EUR": Decimal(1), "USD": Decimal(1), "JPY": Decimal(150), "KWD": Decimal("0.3")}
"""What a euro of the book becomes."""


def in_currency(item: Any, currency: str) -> Any:  # noqa: ANN401 - a record as plain values
    """Return a record, as plain values, with every sum in another currency."""
    match item:
        case {"amount": amount, "currency": "EUR"}:
            return {"amount": f"{Decimal(amount) * WORTH[currency]:f}", "currency": currency}
        case dict():
            return {key: currency if key == "currency" else in_currency(part, currency) for key, part in item.items()}
        case list() | tuple():
            return [in_currency(part, currency) for part in item]
        case _:
            return item


@cache
def book_in(currency: str) -> tuple[Book, dict[str, Policy]]:
    """Return the book with its sums in a currency and some costs of an order, and its policies, which can be changed.

    What does not depend on a policy is thereby computed once for all policies of a currency.
    """
    book = load()

    def converted(shelf: Any) -> Any:  # noqa: ANN401 - records of any kind
        return {
            name: msgspec.convert(in_currency(msgspec.to_builtins(record), currency), type(record))
            for name, record in shelf.items()
        }

    rates = converted(book.rates)
    post = Charge(amount=f"{Decimal('4.20') * WORTH[currency]:f}", currency=currency)
    rates = {name: replace(own, orders=OrderCosts(post=post, card_share="0.014")) for name, own in rates.items()}
    drawn: dict[str, Policy] = {}
    other = replace(
        book,
        rates=rates,
        films=converted(book.films),
        covers=converted(book.covers),
        shoes=converted(book.shoes),
        policies=drawn,
    )
    return other, drawn


def check_sums(price: Price | RosterPrice, rows: Fraction) -> None:
    """Check that rows, set-up and what reaches the minimum are the total, that of the last step and the shown one."""
    total = Fraction(price.total.amount)
    extra = sum(Fraction(sum_.amount) for sum_ in (price.set_up, price.to_minimum) if sum_ is not None)

    assert rows + extra == total
    assert price.why[-1].amount == price.total
    if price.tax is not None:
        assert Fraction(price.tax.net.amount) + Fraction(price.tax.tax.amount) == Fraction(price.tax.gross.amount)
        assert total == Fraction((price.tax.net if price.tax.shown == "net" else price.tax.gross).amount)


def check_law(table: tuple[QuantityPrice, ...]) -> None:
    """Check that with more pairs the total does not fall, nor the price of a pair, or what it comes to, rise."""
    for fewer, more in pairwise(table):
        assert fewer.pairs < more.pairs
        assert Fraction(fewer.total.amount) <= Fraction(more.total.amount)
        assert Fraction(fewer.each.amount) >= Fraction(more.each.amount)
        assert Fraction(fewer.total.amount) / fewer.pairs >= Fraction(more.total.amount) / more.pairs


@settings(max_examples=drawn(100), deadline=None)
@given(policies(BREAKS), st.sampled_from(WORKS), st.integers(1, 120), st.booleans())
def test_the_law_holds_of_the_costs_of_any_policy(policy: Policy, work: Measured, first: int, rush: bool) -> None:
    """Twelve orders of one more pair each, and large ones, asked in one request.

    Methods, breaks, floors, endings, taxes by line and by document, least totals, and 0, 2 and 3 minor digits.
    """
    book, drawn = book_in(policy.currency)
    drawn["drawn"] = policy
    counts = (*range(first, first + 12), 200, 499, 500)
    asked = replace(work, policy="drawn", pairs=first % 3 + 1, quantities=counts, rush=rush and policy.rush is not None)
    answer = estimate(book, asked)
    cost, price = answer.cost, answer.price
    assert cost is not None
    assert price is not None

    check_law(price.quantities)
    assert counts == tuple(line.pairs for line in price.quantities)
    check_sums(price, Fraction(price.each.amount) * asked.pairs)
    assert Fraction(cost.total.amount) == sum(Fraction(line.amount.amount) for line in cost.lines)
    for line in price.quantities:
        alone = Fraction(line.each.amount) * line.pairs + Fraction((price.set_up or price.total).amount)
        least = Fraction(0 if policy.minimum_order is None else policy.minimum_order.amount)
        assert alone == Fraction(line.total.amount) or alone < least <= Fraction(line.total.amount)
    if policy.ending is not None:
        step, less = Fraction(policy.ending.step.amount), Fraction(policy.ending.less.amount)
        assert 0 == (Fraction(price.each.amount) + less) % step
    assert Fraction(price.each.amount) >= Fraction(policy.floor_per_pair.amount)


CREW: Roster = msgspec.json.decode((EXAMPLES / "roster-request.json").read_bytes(), type=Roster)


@settings(max_examples=drawn(25), deadline=None)
@given(
    policies(BREAKS).filter(lambda policy: policy.currency in {"EUR", "JPY"}),
    st.sampled_from([1, 6, 8, 9, 22, 97]),
    st.integers(1, 3),
)
def test_the_law_holds_of_the_rosters_of_any_policy(policy: Policy, before: int, more: int) -> None:
    """A row with more pairs neither lowers the total nor raises the price of any row; the rows sum to the total."""
    book, drawn = book_in(policy.currency)
    drawn["drawn"] = policy
    order, (first, second, *_, spare) = replace(CREW.order, policy="drawn"), CREW.rows
    found = []
    for pairs in (before, before + more):
        answer = rosters.compose(book, replace(CREW, order=order, rows=(replace(first, pairs=pairs), second, spare)))
        assert answer.price is not None
        prices = [row.price for row in answer.rows if row.price is not None]
        assert 3 == len(prices)
        assert all(
            Fraction(price.each.amount) * count == Fraction(price.total.amount)
            for price, count in zip(prices, (pairs, 1, 2), strict=True)
        )
        check_sums(answer.price, sum((Fraction(price.total.amount) for price in prices), Fraction(0)))
        found.append((Fraction(answer.price.total.amount), [Fraction(price.each.amount) for price in prices]))
    (fewer, dear), (most, cheap) = found

    assert fewer <= most
    assert all(now <= then for now, then in zip(cheap, dear, strict=True))


@pytest.mark.parametrize("currency", WORTH)
def test_a_books_sums_are_all_converted(currency: str) -> None:
    """So that the laws are tried with as many minor digits as the currency has."""
    book, _ = book_in(currency)

    assert {currency} == {record.currency for record in book.rates.values()}
    assert {currency} == {film.roll.price.currency for film in book.films.values()}
    assert {currency} == {shoe.pair_value.currency for shoe in book.shoes.values()}
