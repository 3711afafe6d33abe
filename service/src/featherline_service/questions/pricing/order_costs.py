"""What an order costs beside its work, line by line: failed cuts, scraps, artwork, packing, post and card fees."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache
from typing import Final

from featherline.wire.costs import CostLine
from featherline.wire.money import Charge
from featherline.wire.records import Film, OrderCosts, Rates
from featherline_service.cost import order_risk
from featherline_service.cost.breakdown import cost_line
from featherline_service.cost.money import amount_of, decimal_of, exact_arithmetic, minor_step
from featherline_service.cost.order_risk import OrderLine, OrderRates
from featherline_service.questions.pricing.trial_costs import TEST_MARK_MM, film_cm2

_NOTHING: Final = OrderCosts()
_CM2_MM2: Final = 100
_WHOLE: Final = Decimal(1)
_PIECE_STEP: Final = Decimal("0.000001")


@lru_cache(maxsize=16)
def rates_of(rates: Rates) -> OrderRates:
    """Return the rates of an order, in the currency of the book's rates."""
    orders = rates.orders or _NOTHING

    def amount(charge: Charge | None, subject: str) -> Decimal:
        return Decimal(0) if charge is None else amount_of(charge, rates.currency, f"{subject} of rates {rates.id}")

    return OrderRates(
        # Through text: the decimals that the book's author wrote, not the binary fraction nearest to them.
        failed_cuts=Decimal(str(orders.failed_cuts)),
        test_cuts=orders.test_cuts,
        artwork=amount(orders.artwork, "Artwork"),
        packing=amount(orders.packing, "Packing"),
        post=amount(orders.post, "Post"),
        post_per_pair=amount(orders.post_per_pair, "Post"),
        card_share=decimal_of(orders.card_share),
        card_fixed=amount(orders.card_fixed, "A card fee"),
    )


def failed_cut_lines(rates: Rates, pieces: int, cutting_cost: Decimal) -> list[CostLine]:
    """Return the line of pieces cut in vain, at the mean cost of pieces that cost so much to cut."""
    if not pieces:
        return []
    with exact_arithmetic():
        piece_cost = cutting_cost / pieces
    lines = order_risk.failed_cut_lines(rates_of(rates), rates.currency, cut_pieces=pieces, piece_cost=piece_cost)
    return _in_words(lines, "Pieces expected to be cut in vain, at film, cutter and weeding of the lines above", rates)


def scrap_lines(rates: Rates, film: Film, colour: str, loads: int) -> list[CostLine]:
    """Return the line of the film of test cuts: a small square with its border for each."""
    border_mm = 0.0 if film.cutting is None else film.cutting.border_mm
    side_mm = Decimal(str(TEST_MARK_MM + 2 * border_mm))
    with exact_arithmetic():
        test_cut_cost = film_cm2(film, rates) * side_mm**2 / _CM2_MM2
    lines = order_risk.scrap_lines(rates_of(rates), rates.currency, film_loads=loads, test_cut_cost=test_cut_cost)
    return _in_words(lines, f"{film.name}, {colour}: test cuts {side_mm:g} mm square, loads: {loads}", rates)


def order_lines(rates: Rates, drawings: int) -> list[CostLine]:
    """Return the lines of what an order with so many drawings to prepare costs once, however many pairs it has."""
    return [
        line
        for risk_line in order_risk.order_lines(rates_of(rates), rates.currency, new_artworks=drawings)
        for line in _in_words((risk_line,), _ONCE[risk_line.what], rates)
    ]


_ONCE: Final = {
    "artwork": "Drawings prepared",
    "packing": "Packing of the order",
    "post": "Post, for the order",
}


def post_lines(rates: Rates, pairs: int) -> list[CostLine]:
    """Return the line of the post that grows with the pairs."""
    return _in_words(order_risk.post_lines(rates_of(rates), rates.currency, pairs=pairs), "Post, for each pair", rates)


def card_lines(rates: Rates, lines: Iterable[OrderLine]) -> list[CostLine]:
    """Return the lines of a card payment."""
    return [
        line
        for fee_line in lines
        for line in _in_words(
            (fee_line,), "Card fee, a share of what is paid" if fee_line.unit == "sum" else "Card fee, a payment", rates
        )
    ]


def _in_words(lines: Iterable[OrderLine], detail: str, rates: Rates) -> list[CostLine]:
    steps = {"piece": _PIECE_STEP, "sum": minor_step(rates.currency)}
    return [
        cost_line(
            line.what,
            detail=detail,
            quantity=line.quantity,
            step=steps.get(line.unit, _WHOLE),
            unit=rates.currency if line.unit == "sum" else line.unit,
            rate=line.rate,
            currency=rates.currency,
            origin=f"rates/{rates.id}",
        )
        for line in lines
    ]
