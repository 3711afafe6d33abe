from __future__ import annotations

from decimal import Decimal, FloatOperation
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline.wire.money import Charge, Money
from featherline_service.cost.money import (
    MoneyError,
    amount_of,
    decimal_of,
    exact_arithmetic,
    minor_digits,
    minor_step,
    money,
    quantized,
    rounded,
    rounded_up,
)

AMOUNTS = st.decimals(min_value=0, max_value=10**14, places=12)
CURRENCIES = st.sampled_from(["JPY", "EUR", "USD", "KWD"])


@pytest.mark.parametrize("code", ["eur", "ABC", "", "EURO", "XAU", "XXX", "XTS", "€" * 1000])
def test_codes_without_a_minor_unit_are_refused(code: str) -> None:
    """Unknown codes and codes without a minor unit (gold, no currency, testing) are refused."""
    with pytest.raises(MoneyError, match="such as EUR"):
        minor_digits(code)


@pytest.mark.parametrize(
    "text",
    [
        "1e999999",
        "NaN",
        "Infinity",
        "1_000",
        "\u0663",
        "\uff11\uff12",
        " 1",
        "1\n",
        "+1",
        "",
        ".5",
        "5.",
        "9" * 16,
        "9" * 10_000_000,
    ],
)
def test_texts_that_are_no_plain_decimals_are_refused(text: str) -> None:
    """Only plain decimals of bounded length become numbers."""
    with pytest.raises(MoneyError, match="plain decimal"):
        decimal_of(text)


@given(AMOUNTS, CURRENCIES)
def test_rounding_is_half_even(amount: Decimal, currency: str) -> None:
    """The rounded amount equals the exact fraction rounded half to even."""
    digits = minor_digits(currency)

    assert Fraction(round(Fraction(amount) * 10**digits), 10**digits) == Fraction(rounded(amount, currency))


@pytest.mark.parametrize(("amount", "expected"), [("0.125", "0.12"), ("0.135", "0.14"), ("0.1250000001", "0.13")])
def test_half_a_cent_goes_to_the_even_cent(amount: str, expected: str) -> None:
    """Exactly half goes to the even neighbour, and more than half up."""
    assert Decimal(expected) == rounded(Decimal(amount), "EUR")


@given(AMOUNTS, CURRENCIES)
def test_raised_rounds_up_to_the_minor_unit(amount: Decimal, currency: str) -> None:
    """The result is at or above the amount by less than a minor unit."""
    assert 0 <= rounded_up(amount, currency) - amount < minor_step(currency)


def test_products_and_sums_are_exact_at_the_limits_of_an_answer() -> None:
    """The square of the largest decimal of an answer plus the smallest loses no digit."""
    large, small = Decimal("999999999999999.999999999999"), Decimal("0.000000000001")
    with exact_arithmetic():
        assert Fraction(large) ** 2 + Fraction(small) == Fraction(large * large + small)


def test_floats_are_refused_among_decimals() -> None:
    """Comparing a decimal with a float raises."""
    with exact_arithmetic(), pytest.raises(FloatOperation):
        Decimal(1) < 0.5  # noqa: B015 - comparing is what is refused


@pytest.mark.parametrize(("currency", "text"), [("JPY", "5"), ("EUR", "5.00"), ("KWD", "5.000")])
def test_money_has_the_decimals_of_its_currency(currency: str, text: str) -> None:
    """An amount is written with as many decimals as the minor unit has."""
    assert Money(amount=text, currency=currency) == money(Decimal(5), currency)


@pytest.mark.parametrize(("currency", "step"), [("JPY", "1"), ("EUR", "0.01"), ("KWD", "0.001")])
def test_the_minor_step_is_one_minor_unit(currency: str, step: str) -> None:
    """One yen, one cent, one fils."""
    assert Decimal(step) == minor_step(currency)


def test_money_takes_fifteen_digits() -> None:
    """The largest amount that the wire can hold is written as it is, and the largest measure is one of a line."""
    assert Money(amount="999999999999999.99", currency="EUR") == money(Decimal("999999999999999.99"), "EUR")
    assert Decimal(999_999_999_999_999) == quantized(999_999_999_999_999.0, Decimal(1))


@pytest.mark.parametrize("amount", ["0.001", "0.009", "1000000000000000", "-1000000000000000", "2000000000000000"])
def test_money_refuses_amounts_that_an_answer_cannot_hold(amount: str) -> None:
    """Fractions of a minor unit and sixteen digits are refused, not rounded."""
    with pytest.raises(MoneyError):
        money(Decimal(amount), "EUR")


def test_mixed_currencies_are_refused() -> None:
    """The message for a charge in another currency names both currencies."""
    with pytest.raises(MoneyError, match="USD, and the rates are in EUR"):
        amount_of(Charge(amount="1.00", currency="USD"), "EUR", "The roll of film smooth")
    with pytest.raises(MoneyError, match="AUD, and the rates are in EUR"):
        amount_of(Charge(amount="1.00", currency="AUD"), "EUR", "The roll of film smooth")


def test_a_charge_in_the_rates_currency_is_its_amount() -> None:
    """Currencies are compared as texts: one that was read elsewhere is the same."""
    read_elsewhere = b"EUR".decode()
    assert Decimal("1.00") == amount_of(
        Charge(amount="1.00", currency="EUR"), read_elsewhere, "The roll of film smooth"
    )


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e15, -1e15, 1e300])
def test_measures_out_of_range_are_refused(value: float) -> None:
    """Values that are not finite, or too large for an answer, are refused."""
    with pytest.raises(MoneyError):
        quantized(value, Decimal("0.01"))


def test_a_measure_is_rounded_to_its_step() -> None:
    """A float becomes a decimal in whole multiples of the step."""
    assert Decimal("0.0333") == quantized(120 / 3600, Decimal("0.0001"))
