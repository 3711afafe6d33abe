r"""Costs of an order beside its work: failed and test cuts, artwork, packing, post and card fees.

Every rate may be zero; then there is no line. Amounts are decimals in units of one currency; the amount of a line is
rounded half-even to the minor unit from its quantity and rate, which are rounded to the digits of an answer before.
"""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import Final, Literal

from msgspec import Struct

from featherline_service.cost.money import exact_arithmetic, rounded

_STEP: Final = Decimal("0.000001")
_RATE_STEP: Final = Decimal("1e-12")
"""Smallest step of a decimal in an answer."""
_NOTHING: Final = Decimal(0)


class OrderRates(Struct, frozen=True, kw_only=True):
    """Rates of the risks and extras of an order, all zero by default.

    `failed_cuts` is the chance that a cut piece fails and is cut again, below 1. `test_cuts` are made for every load of
    film. `artwork` is for each new artwork, `packing` and `post` for an order, `post_per_pair` for a pair. A card takes
    `card_share` of what is paid, and `card_fixed`.
    """

    failed_cuts: Decimal = _NOTHING
    test_cuts: int = 0
    artwork: Decimal = _NOTHING
    packing: Decimal = _NOTHING
    post: Decimal = _NOTHING
    post_per_pair: Decimal = _NOTHING
    card_share: Decimal = _NOTHING
    card_fixed: Decimal = _NOTHING


OrderLineKind = Literal["failed-cuts", "test-cuts", "artwork", "packing", "post", "card"]
Unit = Literal["piece", "cut", "artwork", "order", "pair", "sum"]


class OrderLine(Struct, frozen=True, kw_only=True):
    """A line: the amount is quantity times rate, rounded to the minor unit; a share is one of a sum, its quantity."""

    what: OrderLineKind
    quantity: Decimal
    unit: Unit
    rate: Decimal
    amount: Decimal


def failed_cut_lines(
    rates: OrderRates, currency: str, *, cut_pieces: int, piece_cost: Decimal
) -> tuple[OrderLine, ...]:
    r"""Return the cost line of pieces cut in vain; none of zero.

    Of pieces that each fail with the chance :math:`p`, and are cut until they succeed, :math:`n p / (1 - p)` are
    expected to be cut in vain (the mean of a geometric distribution).

    Args:
        rates: the rates.
        currency: ISO 4217 code.
        cut_pieces: number of pieces cut from film.
        piece_cost: mean cost of a cut piece: film, cutter and weeding.

    Raises:
        ValueError: a rate is below zero, or the chance of a failed cut is not below 1.
        MoneyError: the currency is unknown.

    References:
        Mean number of failures before the first success: any text on probability, such as W. Feller, *An Introduction
        to Probability Theory and Its Applications*, volume 1, chapter 9; from memory.
    """
    with exact_arithmetic():
        failed = cut_pieces * rates.failed_cuts / (1 - rates.failed_cuts) if rates.failed_cuts < 1 else _NOTHING
    return _lines(rates, _line("failed-cuts", failed, "piece", piece_cost, currency))


def scrap_lines(rates: OrderRates, currency: str, *, film_loads: int, test_cut_cost: Decimal) -> tuple[OrderLine, ...]:
    """Return the cost line of the scraps for test cuts; none of zero.

    Args:
        rates: the rates.
        currency: ISO 4217 code.
        film_loads: number of times film is loaded.
        test_cut_cost: cost of a test cut.

    Raises:
        ValueError: a rate is below zero, or the chance of a failed cut is not below 1.
        MoneyError: the currency is unknown.
    """
    cuts = Decimal(rates.test_cuts * film_loads)
    return _lines(rates, _line("test-cuts", cuts, "cut", test_cut_cost, currency))


def order_lines(rates: OrderRates, currency: str, *, new_artworks: int) -> tuple[OrderLine, ...]:
    """Return the cost lines of an order however many pairs it has, without those of zero.

    Args:
        rates: the rates.
        currency: ISO 4217 code.
        new_artworks: number of artworks to be prepared.

    Raises:
        ValueError: a rate is below zero, or the chance of a failed cut is not below 1.
        MoneyError: the currency is unknown.
    """
    return _lines(
        rates,
        _line("artwork", Decimal(new_artworks), "artwork", rates.artwork, currency),
        _line("packing", Decimal(1), "order", rates.packing, currency),
        _line("post", Decimal(1), "order", rates.post, currency),
    )


def post_lines(rates: OrderRates, currency: str, *, pairs: int) -> tuple[OrderLine, ...]:
    """Return the cost line of sending pairs; none of zero.

    Raises:
        ValueError: a rate is below zero, or the chance of a failed cut is not below 1.
        MoneyError: the currency is unknown.
    """
    return _lines(rates, _line("post", Decimal(pairs), "pair", rates.post_per_pair, currency))


def card_lines(rates: OrderRates, paid: Decimal, currency: str) -> tuple[OrderLine, ...]:
    """Return the cost lines of a card payment, without those of zero; none where nothing is paid.

    Args:
        rates: the rates.
        paid: what the customer pays by card, tax included.
        currency: ISO 4217 code.

    Raises:
        ValueError: a rate is below zero, or the chance of a failed cut is not below 1.
        MoneyError: the currency is unknown.
    """
    lines = _lines(
        rates,
        _line("card", paid, "sum", rates.card_share, currency),
        _line("card", Decimal(1), "order", rates.card_fixed, currency),
    )
    return lines if paid else ()


def _lines(rates: OrderRates, *lines: OrderLine) -> tuple[OrderLine, ...]:
    """Return lines of checked rates, without those of zero."""
    _check(rates)
    return tuple(line for line in lines if line.amount)


def _line(
    what: OrderLineKind,
    quantity: Decimal,
    unit: Unit,
    rate: Decimal,
    currency: str,
) -> OrderLine:
    with exact_arithmetic():
        quantity, rate = quantity.quantize(_STEP), rate.quantize(_RATE_STEP)
        return OrderLine(what=what, quantity=quantity, unit=unit, rate=rate, amount=rounded(quantity * rate, currency))


@lru_cache(maxsize=16)
def _check(rates: OrderRates) -> None:
    below = [name for name in rates.__struct_fields__ if getattr(rates, name) < 0]
    if below:
        raise ValueError(f"The rate {below[0]} is below zero: give zero or more")
    if rates.failed_cuts >= 1:
        raise ValueError("If every cut fails, no piece is ever cut: give a chance below 1")
