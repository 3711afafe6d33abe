r"""Costs of an order beside its work: failed and test cuts, artwork, packing, post and card fees; the minimum order.

Every rate may be zero; then there is no line. Amounts are decimals in units of one currency; the amount of a line is
rounded half-even to the minor unit from its printed quantity and rate.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final, Literal

from msgspec import Struct

from featherline_service.cost.money import exact_arithmetic, rounded

_STEP: Final = Decimal("0.000001")
_NOTHING: Final = Decimal(0)


class OrderRates(Struct, frozen=True, kw_only=True):
    """Rates of the risks and extras of an order, all zero by default.

    `failed_cuts` is the chance that a cut piece fails and is cut again, below 1. `test_cuts` are made for every load of
    film. `artwork` is for each new artwork, `packing` and `post` for an order, `post_per_pair` for a pair. A card takes
    `card_share` of what is paid, and `card_fixed`. `minimum_order` is the least total of an order.
    """

    failed_cuts: Decimal = _NOTHING
    test_cuts: int = 0
    artwork: Decimal = _NOTHING
    packing: Decimal = _NOTHING
    post: Decimal = _NOTHING
    post_per_pair: Decimal = _NOTHING
    card_share: Decimal = _NOTHING
    card_fixed: Decimal = _NOTHING
    minimum_order: Decimal = _NOTHING


class OrderLine(Struct, frozen=True, kw_only=True):
    """A line: the amount is quantity times rate, rounded to the minor unit."""

    what: Literal["failed-cuts", "test-cuts", "artwork", "packing", "post", "card", "minimum-order"]
    quantity: Decimal
    unit: Literal["piece", "cut", "artwork", "order", "pair", "share"]
    rate: Decimal
    amount: Decimal


def order_lines(
    rates: OrderRates,
    currency: str,
    *,
    pairs: int,
    cut_pieces: int,
    piece_cost: Decimal,
    film_loads: int,
    test_cut_cost: Decimal,
    new_artworks: int,
) -> tuple[OrderLine, ...]:
    r"""Return the cost lines of an order's risks and extras, without those of zero.

    Of pieces that each fail with the chance :math:`p`, and are cut until they succeed, :math:`n p / (1 - p)` are
    expected to be cut in vain (the mean of a geometric distribution).

    Args:
        rates: the rates.
        currency: ISO 4217 code.
        pairs: number of pairs.
        cut_pieces: number of pieces cut from film.
        piece_cost: mean cost of a cut piece: film, cutter and weeding.
        film_loads: number of times film is loaded.
        test_cut_cost: cost of a test cut.
        new_artworks: number of artworks to be prepared.

    Raises:
        ValueError: a rate is below zero, or the chance of a failed cut is not below 1.
        MoneyError: the currency is unknown.

    References:
        Mean number of failures before the first success: any text on probability, such as W. Feller, *An Introduction
        to Probability Theory and Its Applications*, volume 1, chapter 9; from memory.
    """
    _check(rates)
    with exact_arithmetic():
        failed = (cut_pieces * rates.failed_cuts / (1 - rates.failed_cuts)).quantize(_STEP)
        lines = (
            _line("failed-cuts", failed, "piece", piece_cost, currency),
            _line("test-cuts", Decimal(rates.test_cuts * film_loads), "cut", test_cut_cost, currency),
            _line("artwork", Decimal(new_artworks), "artwork", rates.artwork, currency),
            _line("packing", Decimal(1), "order", rates.packing, currency),
            _line("post", Decimal(1), "order", rates.post, currency),
            _line("post", Decimal(pairs), "pair", rates.post_per_pair, currency),
        )
    return tuple(line for line in lines if line.amount)


def card_lines(rates: OrderRates, paid: Decimal, currency: str) -> tuple[OrderLine, ...]:
    """Return the cost lines of a card payment, without those of zero.

    Args:
        rates: the rates.
        paid: what the customer pays by card, tax included.
        currency: ISO 4217 code.

    Raises:
        ValueError: a rate is below zero.
        MoneyError: the currency is unknown.
    """
    _check(rates)
    with exact_arithmetic():
        lines = (
            _line("card", rates.card_share, "share", paid, currency),
            _line("card", Decimal(1), "order", rates.card_fixed, currency),
        )
    return tuple(line for line in lines if line.amount)


def minimum_order_line(rates: OrderRates, total: Decimal, currency: str) -> OrderLine | None:
    """Return the price line that brings an order to the minimum; None where its total is no less.

    Raises:
        ValueError: a rate is below zero.
        MoneyError: the currency is unknown.
    """
    _check(rates)
    with exact_arithmetic():
        line = _line("minimum-order", Decimal(1), "order", max(_NOTHING, rates.minimum_order - total), currency)
    return line if line.amount else None


def _line(
    what: Literal["failed-cuts", "test-cuts", "artwork", "packing", "post", "card", "minimum-order"],
    quantity: Decimal,
    unit: Literal["piece", "cut", "artwork", "order", "pair", "share"],
    rate: Decimal,
    currency: str,
) -> OrderLine:
    return OrderLine(what=what, quantity=quantity, unit=unit, rate=rate, amount=rounded(quantity * rate, currency))


def _check(rates: OrderRates) -> None:
    below = [name for name in rates.__struct_fields__ if getattr(rates, name) < 0]
    if below:
        raise ValueError(f"The rate {below[0]} is below zero: give zero or more")
    if rates.failed_cuts >= 1:
        raise ValueError("If every cut fails, no piece is ever cut: give a chance below 1")
