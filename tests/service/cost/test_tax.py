from __future__ import annotations

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.cost.money import MoneyError, minor_step
from featherline_service.cost.tax import TaxLine, TaxRule, tax_document

RULES = st.builds(
    TaxRule,
    shown=st.sampled_from(["net", "gross"]),
    level=st.sampled_from(["line", "document"]),
    rounding=st.sampled_from(["half-up", "half-even", "down"]),
)
RATES = st.sampled_from(["0", "0.055", "0.06", "0.077", "0.19", "0.20", "0.21", "0.25"]).map(Decimal)
ROWS = st.lists(st.tuples(st.integers(-10_000, 1_000_000), RATES), max_size=8)
CURRENCIES = st.sampled_from(["JPY", "EUR", "KWD"])
MODES = {"half-up": ROUND_HALF_UP, "half-even": ROUND_HALF_EVEN, "down": ROUND_DOWN}


@given(ROWS, RULES, CURRENCIES)
def test_net_and_tax_add_up_to_gross(rows: list[tuple[int, Decimal]], rule: TaxRule, currency: str) -> None:
    """In every line, at every rate and in total, to the minor unit; rates add up to the total, lines to it by line."""
    unit = minor_step(currency)
    lines = [TaxLine(amount=units * unit, rate=rate) for units, rate in rows]
    found = tax_document(lines, rule, currency)

    for taxed in (found.total, *(own.taxed for own in found.rates), *found.lines):
        assert taxed.net + taxed.tax == taxed.gross
        assert taxed.tax % unit == 0
    assert sum(line.amount for line in lines) == (found.total.net if rule.shown == "net" else found.total.gross)
    assert found.total.tax == sum(own.taxed.tax for own in found.rates)
    if rule.level == "line":
        assert found.total.tax == sum(line.tax for line in found.lines)
    else:
        assert () == found.lines


@given(st.integers(0, 10**7), RATES, RULES, CURRENCIES)
def test_a_single_line_is_rounded_as_by_the_decimal_module(
    units: int, rate: Decimal, rule: TaxRule, currency: str
) -> None:
    """The tax of one line is the exact tax rounded by decimal's mode of the same name, whatever the level."""
    unit = minor_step(currency)
    found = tax_document([TaxLine(amount=units * unit, rate=rate)], rule, currency)
    share = Fraction(rate) if rule.shown == "net" else Fraction(rate) / (1 + Fraction(rate))
    tax = units * Fraction(unit) * share

    assert (Decimal(tax.numerator) / Decimal(tax.denominator)).quantize(unit, MODES[rule.rounding]) == found.total.tax


def test_half_up_and_half_even_differ_on_a_half() -> None:
    """0.50 at 5 % is 0.025: half up 0.03, half even 0.02; a credit of 0.50 is rounded alike."""
    for amount, up, even in (("0.50", "0.03", "0.02"), ("-0.50", "-0.03", "-0.02")):
        lines = [TaxLine(amount=Decimal(amount), rate=Decimal("0.05"))]
        taxes = [
            tax_document(lines, TaxRule(shown="net", level="line", rounding=rounding), "EUR").total.tax
            for rounding in ("half-up", "half-even")
        ]
        assert [Decimal(up), Decimal(even)] == taxes


def test_a_gross_price_contains_its_tax() -> None:
    """Of 12.10 at 21 %, 2.10 is tax and 10.00 net."""
    found = tax_document(
        [TaxLine(amount=Decimal("12.10"), rate=Decimal("0.21"))],
        TaxRule(shown="gross", level="line", rounding="half-up"),
        "EUR",
    )

    assert (Decimal("10.00"), Decimal("2.10"), Decimal("12.10")) == (
        found.total.net,
        found.total.tax,
        found.total.gross,
    )


def test_by_line_and_by_document_may_differ() -> None:
    """Three lines of 0.05 net at 21 %: 0.01 each by line, 0.03; 0.0315 by document, 0.03; ten lines 0.10 and 0.11."""
    lines = [TaxLine(amount=Decimal("0.05"), rate=Decimal("0.21"))]
    by_line = TaxRule(shown="net", level="line", rounding="half-up")
    by_document = TaxRule(shown="net", level="document", rounding="half-up")
    taxes = [tax_document(lines * count, rule, "EUR").total.tax for count in (3, 10) for rule in (by_line, by_document)]

    assert [Decimal("0.03"), Decimal("0.03"), Decimal("0.10"), Decimal("0.11")] == taxes


@pytest.mark.parametrize(
    ("amount", "rate", "step"),
    [("0.005", "0.2", None), ("1.00", "-0.1", None), ("1.00", "0.2", "0.003"), ("1.00", "0.2", "0")],
)
def test_amounts_rates_and_steps_out_of_range_are_refused(amount: str, rate: str, step: str | None) -> None:
    """Fractions of a minor unit, a rate below zero, and a step that does not divide the minor unit."""
    rule = TaxRule(shown="net", level="line", rounding="half-up", line_step=None if step is None else Decimal(step))
    with pytest.raises(MoneyError):
        tax_document([TaxLine(amount=Decimal(amount), rate=Decimal(rate))], rule, "EUR")
