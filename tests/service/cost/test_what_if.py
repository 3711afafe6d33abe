from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.cost.what_if import (
    at_price,
    break_even_pairs,
    largest_discount,
    margin_at,
    price_for_margin,
    target_profit_pairs,
)

CENT = Decimal("0.01")
SUMS = st.integers(0, 10**7).map(lambda cents: cents * CENT)


def test_the_break_even_point_of_a_press_by_hand() -> None:
    """1,200.00 at a contribution of 6.00 a pair: 200 pairs, and one more for one cent more."""
    assert 200 == break_even_pairs(Decimal("1200.00"), Decimal("10.00"), Decimal("4.00"), 1)
    assert 201 == break_even_pairs(Decimal("1200.01"), Decimal("10.00"), Decimal("4.00"), 1)
    assert 200 == break_even_pairs(Decimal("1200.00"), Decimal("120.00"), Decimal("48.00"), 12)


@pytest.mark.parametrize(("price", "expected"), [("4.00", None), ("3.99", None), ("4.01", 120_000)])
def test_without_a_contribution_there_is_no_break_even_point(price: str, expected: int | None) -> None:
    """At or below cost no number of pairs is enough; one cent above, 120,000 pairs are."""
    assert expected == break_even_pairs(Decimal("1200.00"), Decimal(price), Decimal("4.00"), 1)


def test_an_outlay_of_zero_needs_no_pairs() -> None:
    """An outlay of zero is covered by zero pairs at any price."""
    assert [0, 0] == [break_even_pairs(Decimal(0), Decimal(price), Decimal("4.00"), 1) for price in ("3.00", "9.00")]


@given(SUMS, st.integers(1, 10**6), st.integers(1, 10**6), st.integers(1, 100))
def test_the_break_even_number_is_the_smallest(outlay: Decimal, cost: int, profit: int, pairs: int) -> None:
    """The number of pairs covers the outlay, and one pair fewer does not."""
    needed = break_even_pairs(outlay, (cost + profit) * CENT, cost * CENT, pairs)
    assert needed is not None
    left = Fraction(profit, 100 * pairs)

    assert needed * left >= Fraction(outlay)
    assert needed == 0 or (needed - 1) * left < Fraction(outlay)


def test_margins_by_hand() -> None:
    """At a cost of 4.00 a price of 10.00 has a margin of 0.6, and 3.20 one of -0.25."""
    assert [0.6, -0.25] == [margin_at(Decimal(price), Fraction(4)) for price in ("10.00", "3.20")]


@given(st.integers(0, 10**7), st.integers(0, 9999), st.sampled_from(["1", "0.01", "0.001"]))
def test_the_price_for_a_margin_is_the_lowest(cost: int, share: int, step: str) -> None:
    """The price has at least the margin, and one minor unit less does not."""
    margin, own, unit = Decimal(share) / 10_000, Fraction(cost, 700), Decimal(step)
    price = price_for_margin(margin, own, unit)

    assert price % unit == 0
    assert Fraction(price) * (1 - Fraction(margin)) >= own
    assert price == 0 or Fraction(price - unit) * (1 - Fraction(margin)) < own


def test_a_price_set_by_hand() -> None:
    """8.00 instead of 10.00 at a cost of 6.00: a profit of 2.00, a margin of a quarter, a discount of a fifth."""
    found = at_price(Decimal("8.00"), Decimal("6.00"), Decimal("10.00"))

    assert (Decimal("2.00"), Fraction(1, 4), Fraction(1, 5)) == (found.profit, found.margin, found.discount)


def test_a_price_of_zero_has_no_margin_and_a_list_price_of_zero_no_discount() -> None:
    """The profit is the cost lost."""
    found = at_price(Decimal("0.00"), Decimal("6.00"), Decimal("0.00"))

    assert (Decimal("-6.00"), None, None) == (found.profit, found.margin, found.discount)


@given(st.integers(1, 10**7), st.integers(0, 10**7), st.integers(0, 9999))
def test_the_largest_discount_leaves_the_margin(listed: int, cost: int, share: int) -> None:
    """At the discounted price the margin is at least the one asked for, and at one minor unit less it is not."""
    margin, own, price = Decimal(share) / 10_000, Fraction(cost, 700), listed * CENT
    found = largest_discount(price, own, margin, CENT)

    if found is None:
        assert Fraction(price) * (1 - Fraction(margin)) < own
    else:
        assert 0 <= found.share <= 1
        assert Fraction(found.price) == Fraction(price) * (1 - found.share)
        assert Fraction(found.price) * (1 - Fraction(margin)) >= own
        assert found.price == 0 or Fraction(found.price - CENT) * (1 - Fraction(margin)) < own


@pytest.mark.parametrize(
    ("fixed", "profit", "contribution", "expected"),
    [("0", "0", "0", 0), ("100", "0", "0", None), ("100", "20", "-1", None), ("100", "20.01", "6", 21)],
)
def test_pairs_for_a_target_profit(fixed: str, profit: str, contribution: str, expected: int | None) -> None:
    """Nothing to earn takes no pairs, without a contribution no number is enough, else the next whole number is."""
    assert expected == target_profit_pairs(Decimal(fixed), Decimal(profit), Fraction(contribution))
