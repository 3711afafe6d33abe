from __future__ import annotations

from typing import Any

import pytest
from msgspec.structs import replace

from featherline.wire.costs import CostLine, PriceStep
from featherline.wire.money import Money
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.verdicts import Reason
from featherline_service.book.loader import load
from featherline_service.book_command.move_causes import causes
from featherline_service.questions.matrix.matrices import Sample, order_of
from featherline_service.questions.quote import quotes


@pytest.fixture(scope="module")
def quote() -> QuoteAnswer:
    """Return a quote that is ready."""
    book = load()
    shoe = book.shoes["regatta-deck"]
    return quotes.compose(book, order_of(book, Sample(), shoe, shoe.panels[0], book.films["smooth"], 12.0))


def line(what: str, amount: str, **more: str) -> CostLine:
    """Return a line of a cost in euros."""
    plain: dict[str, Any] = {
        "detail": f"Some {what}",
        "quantity": "2",
        "unit": "h",
        "rate": "1.00",
        "origin": "rates/a",
    }
    return CostLine(what=what, amount=Money(amount=amount, currency="EUR"), **{**plain, **more})


def priced(quote: QuoteAnswer, *lines: CostLine, total: str = "9.00", **steps: str) -> QuoteAnswer:
    """Return a quote with other lines and steps of its price."""
    assert quote.cost is not None
    assert quote.price is not None
    money = Money(amount=total, currency="EUR")
    why = tuple(PriceStep(what=what, sentence=sentence, amount=money) for what, sentence in steps.items())
    return replace(
        quote, cost=replace(quote.cost, lines=lines), price=replace(quote.price, total=money, why=why, policy="counter")
    )


def test_lines_of_the_cost_are_told_by_how_much_they_move(quote: QuoteAnswer) -> None:
    """With the rate's record or the quantity that moved them; several lines of a kind are one; small ones together."""
    before = priced(
        quote, line("labour", "2.00"), line("labour", "1.00", quantity="1"), line("film", "0.50", origin="films/a"),
        line("press", "0.30"), line("cover", "0.20", origin="covers/a"), line("tape", "0.10"), line("cutter", "0.05"),
    )  # fmt: skip
    after = priced(
        quote, line("labour", "4.00", rate="2.00"), line("labour", "2.00", rate="2.00", quantity="1"),
        line("film", "1.50", origin="films/a", quantity="6"), line("press", "0.90", unit="min"), line("tape", "0.20"),
        line("cutter", "0.05"), total="10.00",
    )  # fmt: skip

    assert [
        "labour costs 3.00 -> 6.00 (rates/a: 1.00 -> 2.00 for each h)",
        "film costs 0.50 -> 1.50 (2 -> 6 h)",
        "press costs 0.30 -> 0.90",
        "cover, tape: -0.10 in all",
    ] == list(causes(before, after))
    assert ["cover costs 0.20 -> nothing (Some cover)"] == list(
        causes(priced(quote, line("cover", "0.20")), priced(quote, total="8.00"))
    )


def test_small_moves_that_cancel_are_not_told(quote: QuoteAnswer) -> None:
    """What is left beside the three largest adds up to nothing."""
    before = priced(quote, *(line(what, "1.00") for what in ("film", "cover", "press", "tape", "packing")))
    moved = {"film": "9.00", "cover": "8.00", "press": "7.00", "tape": "1.01", "packing": "0.99"}
    after = priced(quote, *(line(what, amount) for what, amount in moved.items()), total="10.00")

    assert ["film", "cover", "press"] == [cause.partition(" ")[0] for cause in causes(before, after)]


def test_steps_of_the_policy_are_told_where_they_read_otherwise(quote: QuoteAnswer) -> None:
    """The cost's own step is not: its lines are told."""
    before = priced(quote, cost="2.00 a pair", markup="A share of 0.60", floor="No less than 9.90")
    after = priced(quote, cost="3.00 a pair", markup="A share of 0.70", tax="With 0.20 for tax", total="12.00")
    assert after.price is not None

    assert [
        "policies/counter: A share of 0.60 -> A share of 0.70",
        "policies/counter: No less than 9.90 -> no floor",
        "policies/counter: no tax -> With 0.20 for tax",
    ] == list(causes(before, after))
    other = replace(after, price=replace(after.price, policy="club"))
    assert ["policy counter -> club"] == list(causes(after, other))


def test_a_verdict_moves_by_the_reasons_of_the_worse_one(quote: QuoteAnswer) -> None:
    """They are new, or gone; what both answers say is not told."""
    known, new = (Reason(code=code, verdict="trial", subject="", sentence=f"Said {code}.") for code in ("a", "b"))
    ready = replace(quote, verdict="ready", reasons=(known,))
    trial = replace(quote, verdict="trial", reasons=(known, new))

    assert ["now: Said b."] == list(causes(ready, trial))
    assert ["no longer: Said b."] == list(causes(trial, ready))


def test_prices_of_two_currencies_are_not_compared(quote: QuoteAnswer) -> None:
    """Nor is a price with none."""
    assert quote.price is not None
    pounds = replace(quote, price=replace(quote.price, total=Money(amount="9.00", currency="GBP")))

    assert [] == list(causes(quote, pounds))
    assert [] == list(causes(quote, replace(quote, price=None)))
    assert [] == list(causes(quote, quote))
