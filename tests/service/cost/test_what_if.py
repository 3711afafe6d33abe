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
    price_for_margin,
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
    found = at_price(Fraction(8), Fraction(6), Fraction(10))

    assert (Fraction(2), Fraction(1, 4), Fraction(1, 5)) == (found.profit, found.margin, found.discount)


def test_a_price_of_zero_has_no_margin_and_a_list_price_of_zero_no_discount() -> None:
    """The profit is the cost lost."""
    found = at_price(Fraction(0), Fraction(6), Fraction(0))

    assert (Fraction(-6), None, None) == (found.profit, found.margin, found.discount)


@given(st.integers(1, 10**7), st.integers(0, 10**7), st.integers(0, 9999))
def test_the_largest_discount_leaves_the_margin(listed: int, cost: int, share: int) -> None:
    """At the discounted price the margin is at least the one asked for, and at one minor unit less it is not."""
    margin, own, price = Decimal(share) / 10_000, Fraction(cost, 700), Fraction(listed, 100)
    discount = largest_discount(price, own, margin, CENT)

    if discount is None:
        assert price * (1 - Fraction(margin)) < own
    else:
        left = price * (1 - discount)
        assert 0 <= discount <= 1
        assert left * (1 - Fraction(margin)) >= own
        assert left == 0 or (left - Fraction(CENT)) * (1 - Fraction(margin)) < own
