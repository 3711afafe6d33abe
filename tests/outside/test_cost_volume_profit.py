"""What-if questions against the worked example of a cost accounting textbook."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from featherline_service.cost.what_if import at_price, break_even_pairs

# C. T. Horngren, S. M. Datar, M. V. Rajan, *Cost Accounting: A Managerial Emphasis*, chapter 3: software packages
# bought at 120 and sold at 200 at a fair, whose booth costs 2,000. From memory.
PRICE, COST, FIXED = Decimal(200), Decimal(120), Decimal(2000)


def test_the_contribution_margin() -> None:
    """Source: Horngren, Datar and Rajan, chapter 3, from memory: 80 a unit, 40 % of the price, 3,200 for 40 units."""
    one = at_price(Fraction(PRICE), Fraction(COST), Fraction(PRICE))

    assert (Fraction(80), Fraction(2, 5), Fraction(0)) == (one.profit, one.margin, one.discount)
    assert 3200 == at_price(40 * Fraction(PRICE), 40 * Fraction(COST), 40 * Fraction(PRICE)).profit


def test_the_breakeven_point() -> None:
    """Source: Horngren, Datar and Rajan, chapter 3, from memory: 25 units."""
    assert 25 == break_even_pairs(FIXED, PRICE, COST, 1)


@pytest.mark.parametrize(("income", "units"), [("1200", 40), ("0", 25)])
def test_the_units_for_a_target_operating_income(income: str, units: int) -> None:
    """Source: Horngren, Datar and Rajan, chapter 3, from memory: an income of 1,200 takes 40 units."""
    assert units == break_even_pairs(FIXED + Decimal(income), PRICE, COST, 1)
