"""Exact decimal money: minor units of ISO 4217, half-even rounding, plain decimal text."""

from __future__ import annotations

import re
from contextlib import AbstractContextManager
from decimal import (
    ROUND_CEILING,
    ROUND_HALF_EVEN,
    Context,
    Decimal,
    DivisionByZero,
    FloatOperation,
    InvalidOperation,
    Overflow,
    localcontext,
)
from functools import cache, lru_cache
from typing import Final

import iso4217

from featherline.wire.money import Charge, Money
from featherline_service.messages.told import ToldError

_DECIMALS: Final = re.compile(r"-?[0-9]{1,15}(\.[0-9]{1,12})?", re.ASCII)
LARGEST: Final = Decimal(10) ** 15
"""Amounts from here on do not fit an answer: it has room for fifteen digits before the point."""

TOO_LARGE: Final = "The amount has more than fifteen digits: ask for fewer pairs, or mend the rates in the book"

_LARGEST_MEASURE: Final = float(LARGEST)

_CONTEXT: Final = Context(
    prec=80,  # a product of two decimals of an answer has at most 54 digits, a sum of thousands fewer than 60
    rounding=ROUND_HALF_EVEN,
    traps=[InvalidOperation, DivisionByZero, Overflow, FloatOperation],
)


class MoneyError(ToldError):
    """An unknown currency or an amount out of range; the message says what to give instead."""


def exact_arithmetic() -> AbstractContextManager[Context]:
    """Return a context with 80 digits: sums and products of an answer's decimals are exact, floats are refused."""
    return localcontext(_CONTEXT)


@lru_cache(maxsize=1024)
def decimal_of(text: str) -> Decimal:
    """Return the decimal written as plain text.

    Raises:
        MoneyError: the text is not a plain decimal (an exponent, ``NaN``, digits of another script), or is too long.
    """
    if _DECIMALS.fullmatch(text) is None:
        raise MoneyError(
            "money.not-a-decimal",
            "{text!r} is not a plain decimal: write up to 15 digits, and up to 12 after a point",
            text=text[:32],
        )
    return Decimal(text)


def quantized(value: float, step: Decimal) -> Decimal:
    """Return a float as a decimal, rounded half-even to whole multiples of `step`.

    Raises:
        MoneyError: the value is not finite, or has more than fifteen digits before the point.
    """
    if not abs(value) < _LARGEST_MEASURE:
        raise MoneyError(
            "money.unpriceable-measure", "A measure of {value} cannot be priced: give a smaller one", value=value
        )
    # Inside `exact_arithmetic`, Decimal refuses floats.
    return Decimal.from_float(value).quantize(step, context=_CONTEXT)  # noqa: FURB164


def stepped(value: Decimal, step: Decimal) -> Decimal:
    """Return a decimal rounded half-even to whole multiples of `step`."""
    return value.quantize(step, context=_CONTEXT)


@cache
def minor_digits(currency: str) -> int:
    """Return the number of decimals of the currency's minor unit: 2 for EUR, 0 for JPY, 3 for KWD.

    Raises:
        MoneyError: ISO 4217 has no such code, or the code (gold, a test code) has no minor unit.

    References:
        ISO 4217 list one, maintained by SIX, as the package `iso4217` ships it.
    """
    try:
        digits = iso4217.Currency(currency).exponent
    except ValueError:
        raise MoneyError(
            "money.unknown-currency",
            "ISO 4217 has no currency {currency!r}: give a code such as EUR",
            currency=currency[:8],
        ) from None
    if digits is None:
        raise MoneyError(
            "money.no-minor-unit",
            "{currency} has no minor unit, so nothing can be priced in it: give a code such as EUR",
            currency=currency,
        )
    return digits


@cache
def minor_step(currency: str) -> Decimal:
    """Return the currency's minor unit: 0.01 for EUR, 1 for JPY, 0.001 for KWD."""
    return Decimal(1).scaleb(-minor_digits(currency))


def rounded(amount: Decimal, currency: str) -> Decimal:
    """Return an amount rounded half-even to the minor unit."""
    return amount.quantize(minor_step(currency), context=_CONTEXT)


def rounded_product(quantity: Decimal, rate: Decimal, currency: str) -> Decimal:
    """Return quantity times rate, rounded half-even to the minor unit."""
    return _CONTEXT.multiply(quantity, rate).quantize(minor_step(currency), context=_CONTEXT)


def rounded_up(amount: Decimal, currency: str) -> Decimal:
    """Return an amount rounded up to the minor unit."""
    return amount.quantize(minor_step(currency), ROUND_CEILING, _CONTEXT)


def money(amount: Decimal, currency: str) -> Money:
    """Return an amount of whole minor units in the form of an answer.

    Raises:
        MoneyError: the amount is not in whole minor units, or has more than fifteen digits before the point.
    """
    if abs(amount) >= LARGEST:
        raise MoneyError("money.too-large", TOO_LARGE)
    rounded_amount = rounded(amount, currency)
    if rounded_amount != amount:
        raise MoneyError(
            "money.not-in-minor-units",
            "{amount} is not in whole minor units of {currency}: round it first",
            amount=amount,
            currency=currency,
        )
    return Money(amount=f"{rounded_amount:f}", currency=currency)


def amount_of(charge: Charge, currency: str, what: str) -> Decimal:
    """Return the amount of a charge from the book.

    Args:
        charge: the charge.
        currency: the currency that it has to be in.
        what: its name in the message, such as ``"The roll of film smooth"``.

    Raises:
        MoneyError: the charge is in another currency.
    """
    if charge.currency != currency:
        raise MoneyError(
            "money.other-currency",
            "{what} is priced in {currency}, and the rates are in {currency_2}: mend the book, "
            "or ask for what is priced in {currency_2}",
            what=what,
            currency=charge.currency,
            currency_2=currency,
        )
    return decimal_of(charge.amount)
