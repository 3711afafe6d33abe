from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.cost.what_if import break_even_pairs, margin_at, price_for

CENT = Decimal("0.01")
SUMS = st.integers(0, 10**7).map(lambda cents: cents * CENT)


def test_a_press_is_paid_back_by_hand() -> None:
    """1,200.00 at 10.00 a pair that costs 4.00: 200 pairs, to the pair; a cent more is one pair more."""
    assert 200 == break_even_pairs(Decimal("1200.00"), Decimal("10.00"), Decimal("4.00"), 1)
    assert 201 == break_even_pairs(Decimal("1200.01"), Decimal("10.00"), Decimal("4.00"), 1)
    assert 200 == break_even_pairs(Decimal("1200.00"), Decimal("120.00"), Decimal("48.00"), 12)


@pytest.mark.parametrize(("price", "expected"), [("4.00", None), ("3.99", None), ("4.01", 120_000)])
def test_what_leaves_nothing_pays_nothing_back(price: str, expected: int | None) -> None:
    """At cost or below no number of pairs is enough; a cent above, many are."""
    assert expected == break_even_pairs(Decimal("1200.00"), Decimal(price), Decimal("4.00"), 1)


def test_no_outlay_is_paid_back_at_once() -> None:
    """With nothing to pay back no pair is needed, at whatever price."""
    assert [0, 0] == [break_even_pairs(Decimal(0), Decimal(price), Decimal("4.00"), 1) for price in ("3.00", "9.00")]


@given(SUMS, st.integers(1, 10**6), st.integers(1, 10**6), st.integers(1, 100))
def test_break_even_is_the_first_pair_that_does(outlay: Decimal, cost: int, profit: int, pairs: int) -> None:
    """So many pairs cover the outlay, and one fewer does not."""
    needed = break_even_pairs(outlay, (cost + profit) * CENT, cost * CENT, pairs)
    assert needed is not None
    left = Fraction(profit, 100 * pairs)

    assert needed * left >= Fraction(outlay)
    assert needed == 0 or (needed - 1) * left < Fraction(outlay)


def test_margins_by_hand() -> None:
    """Of 10.00 at a cost of 4.00 six tenths are margin, of 3.20 a quarter is lost."""
    assert [0.6, -0.25] == [margin_at(Decimal(price), Fraction(4)) for price in ("10.00", "3.20")]


@given(st.integers(0, 10**7), st.integers(0, 9999), st.sampled_from(["1", "0.01", "0.001"]))
def test_the_price_for_a_margin_is_the_lowest_that_has_it(cost: int, share: int, step: str) -> None:
    """At it the margin is at least the one asked for; a minor unit less, and it is not."""
    margin, own, unit = Decimal(share) / 10_000, Fraction(cost, 700), Decimal(step)
    price = price_for(margin, own, unit)

    assert price % unit == 0
    assert Fraction(price) * (1 - Fraction(margin)) >= own
    assert price == 0 or Fraction(price - unit) * (1 - Fraction(margin)) < own
