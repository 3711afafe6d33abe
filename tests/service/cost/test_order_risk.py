from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.cost.money import minor_step, rounded
from featherline_service.cost.order_risk import (
    OrderLine,
    OrderRates,
    card_lines,
    failed_cut_lines,
    order_lines,
    post_lines,
    scrap_lines,
)

RATES = OrderRates(
    failed_cuts=Decimal("0.02"),
    test_cuts=1,
    artwork=Decimal("8.00"),
    packing=Decimal("0.60"),
    post=Decimal("3.20"),
    post_per_pair=Decimal("1.10"),
    card_share=Decimal("0.014"),
    card_fixed=Decimal("0.25"),
)


def lines(rates: OrderRates, currency: str = "EUR") -> tuple[OrderLine, ...]:
    """Return the lines of an order of 12 pairs with 48 pieces, two loads and one new artwork."""
    return (
        *failed_cut_lines(rates, currency, cut_pieces=48, piece_cost=Decimal("0.52")),
        *scrap_lines(rates, currency, film_loads=2, test_cut_cost=Decimal("0.10")),
        *order_lines(rates, currency, new_artworks=1),
        *post_lines(rates, currency, pairs=12),
    )


def test_rates_of_zero_give_no_lines() -> None:
    """Without rates an order has no risk, no extras and no card fee; a gift has no card fee at any rate."""
    assert () == lines(OrderRates())
    assert () == card_lines(OrderRates(), Decimal("120.00"), "EUR")
    assert () == card_lines(RATES, Decimal("0.00"), "EUR")


def test_the_lines_of_an_order_by_hand() -> None:
    """48 pieces at 2 %: 0.979592 fail, 0.51; two test cuts 0.20; artwork 8.00; packing 0.60; post 3.20 and 13.20."""
    found = lines(RATES)

    assert ["failed-cuts", "test-cuts", "artwork", "packing", "post", "post"] == [line.what for line in found]
    assert ["0.51", "0.20", "8.00", "0.60", "3.20", "13.20"] == [str(line.amount) for line in found]
    assert Decimal("0.979592") == found[0].quantity


def test_a_card_fee_by_hand() -> None:
    """1.4 % of 120.00 is 1.68, and 0.25 for the payment."""
    assert ["1.68", "0.25"] == [str(line.amount) for line in card_lines(RATES, Decimal("120.00"), "EUR")]


def test_failed_cuts_agree_with_sampling() -> None:
    """Of 200,000 pieces cut until they succeed at a chance of 0.2 a quarter as many fail, within four standard errors.

    The variance of the failures before a success is p / (1 - p)^2 = 0.3125.
    """
    failed = int((np.random.default_rng(8).geometric(0.8, 200_000) - 1).sum())
    rates = OrderRates(failed_cuts=Decimal("0.2"))
    found = failed_cut_lines(rates, "EUR", cut_pieces=200_000, piece_cost=Decimal(1))

    assert float(found[0].quantity) == pytest.approx(failed, abs=4 * (200_000 * 0.3125) ** 0.5)


AMOUNTS = st.decimals(0, 1000, places=4)


@given(
    st.builds(
        OrderRates,
        failed_cuts=st.decimals(0, Decimal("0.99"), places=4),
        test_cuts=st.integers(0, 5),
        artwork=AMOUNTS,
        packing=AMOUNTS,
        post=AMOUNTS,
        post_per_pair=AMOUNTS,
        card_share=st.decimals(0, 1, places=4),
        card_fixed=AMOUNTS,
    ),
    st.sampled_from(["JPY", "EUR", "KWD"]),
)
def test_every_amount_follows_from_its_line(rates: OrderRates, currency: str) -> None:
    """Quantity times rate, rounded to the minor unit, above zero."""
    found = (*lines(rates, currency), *card_lines(rates, Decimal(250), currency))

    for line in found:
        assert rounded(line.quantity * line.rate, currency) == line.amount
        assert line.amount >= minor_step(currency)


@pytest.mark.parametrize(
    "rates", [OrderRates(failed_cuts=Decimal(1)), OrderRates(post=Decimal(-1)), OrderRates(test_cuts=-1)]
)
def test_rates_out_of_range_are_refused(rates: OrderRates) -> None:
    """A rate below zero, or a cut that always fails."""
    with pytest.raises(ValueError, match=r"zero|below 1"):
        lines(rates)
