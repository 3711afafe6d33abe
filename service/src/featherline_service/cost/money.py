"""Exact money: the minor units of ISO 4217, half-even rounding, plain text."""

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
from functools import cache
from typing import Final

import iso4217

from featherline.wire.money import Charge, Money

_DECIMALS: Final = re.compile(r"-?[0-9]{1,15}(\.[0-9]{1,12})?", re.ASCII)
LARGEST: Final = Decimal(10) ** 15
"""First amount that the wire's decimals (fifteen digits before the point) cannot hold."""

_CONTEXT: Final = Context(
    prec=80,  # a product of two of the wire's decimals has at most 54 digits, a sum of thousands of them fewer than 60
    rounding=ROUND_HALF_EVEN,
    traps=[InvalidOperation, DivisionByZero, Overflow, FloatOperation],
)


class MoneyError(ValueError):
    """A currency or an amount that cannot be reckoned with; the message says what to give instead."""


def exactly() -> AbstractContextManager[Context]:
    """Reckon exactly inside the block: sums and products of the wire's decimals lose nothing, floats are refused."""
    return localcontext(_CONTEXT)


def exact(text: str) -> Decimal:
    """Return the number that a plain decimal text stands for, exactly.

    Raises:
        MoneyError: the text is anything else: an exponent, ``NaN``, digits of another script, or too long.
    """
    if _DECIMALS.fullmatch(text) is None:
        raise MoneyError(f"{text[:32]!r} is not a plain decimal: write up to 15 digits, and up to 12 after a point")
    return Decimal(text)


def measure(value: float, step: Decimal) -> Decimal:
    """Return a measure as a decimal in whole multiples of `step`, rounded half-even.

    Raises:
        MoneyError: the measure is not finite, or too large for the wire.
    """
    number = Decimal.from_float(value)  # noqa: FURB164 - inside `exactly`, Decimal refuses floats
    if not number.is_finite() or abs(number) >= LARGEST:
        raise MoneyError(f"A measure of {value!r} cannot be priced: give a smaller one")
    with exactly():
        return number.quantize(step)


@cache
def minor_digits(currency: str) -> int:
    """Return how many decimals the currency's minor unit has: 2 for EUR, 0 for JPY, 3 for KWD.

    Raises:
        MoneyError: ISO 4217 does not know the code, or the code (gold, a test code) has no minor unit.

    References:
        ISO 4217 list one, maintained by SIX, as the package `iso4217` ships it.
    """
    try:
        digits = iso4217.Currency(currency).exponent
    except ValueError:
        raise MoneyError(f"ISO 4217 has no currency {currency[:8]!r}: give a code such as EUR") from None
    if digits is None:
        raise MoneyError(f"{currency} has no minor unit, so nothing can be priced in it: give a code such as EUR")
    return digits


@cache
def minor_step(currency: str) -> Decimal:
    """Return the currency's minor unit: 0.01 for EUR, 1 for JPY, 0.001 for KWD."""
    return Decimal(1).scaleb(-minor_digits(currency))


def rounded(amount: Decimal, currency: str) -> Decimal:
    """Return an amount in whole minor units, half-even."""
    with exactly():
        return amount.quantize(minor_step(currency))


def raised(amount: Decimal, currency: str) -> Decimal:
    """Return an amount in whole minor units, never less than it was."""
    with exactly():
        return amount.quantize(minor_step(currency), rounding=ROUND_CEILING)


def money(amount: Decimal, currency: str) -> Money:
    """Return an amount that is in whole minor units as it crosses the wire.

    Raises:
        MoneyError: the amount is not in whole minor units, or too large for the wire.
    """
    if abs(amount) >= LARGEST:
        raise MoneyError("The amount has more than fifteen digits: ask for fewer pairs, or mend the rates in the book")
    whole = rounded(amount, currency)
    if whole != amount:
        raise MoneyError(f"{amount} is not in whole minor units of {currency}: round it first")
    return Money(amount=f"{whole:f}", currency=currency)


def charged(charge: Charge, currency: str, what: str) -> Decimal:
    """Return the amount of a charge of the book that must be in `currency`.

    Raises:
        MoneyError: it is in another currency. `what` names it for the message, as in ``"The roll of film smooth"``.
    """
    if charge.currency != currency:
        raise MoneyError(
            f"{what} is priced in {charge.currency}, and the rates are in {currency}: mend the book, "
            f"or ask for what is priced in {currency}"
        )
    return exact(charge.amount)
