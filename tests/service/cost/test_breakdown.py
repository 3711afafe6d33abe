from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline.wire.costs import CostLine
from featherline_service.cost.breakdown import MATERIAL, LineKind, cost_line, total
from featherline_service.cost.money import MoneyError, minor_digits

STEP = Decimal("0.0001")


def a_line(
    quantity: float | Decimal, rate: Decimal, currency: str = "EUR", what: LineKind = "labour", step: Decimal = STEP
) -> CostLine:
    """Return a line, of labour by default."""
    return cost_line(
        what,
        detail="Work",
        quantity=quantity,
        step=step,
        unit="h",
        rate=rate,
        currency=currency,
        origin="rates/bench",
    )


@given(st.floats(0, 1e6), st.decimals(min_value=0, max_value=10**6, places=12), st.sampled_from(["JPY", "EUR", "KWD"]))
def test_an_amount_follows_from_its_line(quantity: float, rate: Decimal, currency: str) -> None:
    """The printed amount is the printed quantity times the printed rate, rounded half-even."""
    found = a_line(quantity, rate, currency)
    scale = 10 ** minor_digits(currency)

    assert Fraction(found.amount.amount) == Fraction(
        round(Fraction(found.quantity) * Fraction(found.rate) * scale), scale
    )
    assert abs(Fraction(found.quantity) - Fraction(quantity)) <= Fraction(1, 20_000)


@pytest.mark.parametrize(
    ("rate", "text"),
    [("24", "24.00"), ("24.5", "24.50"), ("0.000720", "0.00072"), ("1.2345678901234", "1.234567890123")],
)
def test_a_rate_has_as_many_decimals_as_needed(rate: str, text: str) -> None:
    """At least two decimals, at most twelve, no padding beyond two."""
    assert text == a_line(1.0, Decimal(rate)).rate


def test_the_total_of_all_lines_or_of_some_kinds() -> None:
    """Amounts add up exactly, over all lines and over the material alone."""
    lines = [
        a_line(1.0, Decimal("0.1")),
        a_line(2.0, Decimal("0.1"), what="film"),
        a_line(1.0, Decimal("0.07"), what="tape"),
    ]

    assert (Decimal("0.37"), Decimal("0.27"), Decimal(0)) == (total(lines), total(lines, MATERIAL), total([]))


@pytest.mark.parametrize(
    ("quantity", "rate"), [(-1.0, "1"), (1.0, "-1"), (1e14, "100"), (float("nan"), "1"), (1e-3, "1e15")]
)
def test_lines_out_of_range_are_refused(quantity: float, rate: str) -> None:
    """Below zero, not a number, or with more than fifteen digits."""
    with pytest.raises(MoneyError):
        a_line(quantity, Decimal(rate))


def test_a_decimal_quantity_is_kept() -> None:
    """A decimal count is printed unchanged."""
    assert a_line(Decimal(3), Decimal("0.02"), step=Decimal(1)).quantity == "3"
