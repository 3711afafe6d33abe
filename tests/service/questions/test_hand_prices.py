"""A price that the shop sets by hand."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.costs import OrderWork, WhatIf
from featherline.wire.hand_prices import HandPriceRequest
from featherline.wire.money import Charge, Money
from featherline.wire.records import Tax
from featherline_service.book.shop_book import Book
from featherline_service.questions import costs, hand_prices
from featherline_service.questions.checks import RefusedError

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"


@pytest.fixture
def request_() -> HandPriceRequest:
    """The example request."""
    return msgspec.json.decode((EXAMPLES / "hand-price-request.json").read_bytes(), type=HandPriceRequest)


def test_it_leaves_what_the_cost_says_of_that_price(book: Book, request_: HandPriceRequest) -> None:
    """Profit, margin and discount are those of the what-if question, and the total is each times pairs."""
    request_ = replace(request_, order=replace(request_.order, pairs=3))
    answer = hand_prices.compose(book, request_)
    cost = costs.estimate(book, OrderWork(order=request_.order, what_if=WhatIf(at_price=request_.each)))
    assert cost.what_if is not None
    assert cost.what_if.at_price == answer.at_price
    assert (Money(amount="25.50", currency="EUR"), None, "counter") == (answer.total, answer.tax, answer.policy)


def test_its_tax_is_the_policys(book: Book, request_: HandPriceRequest) -> None:
    """21 % on top of 8.50 are 1.785, rounded half up to 1.79."""
    policy = replace(book.policies["counter"], tax=Tax(rate="0.21", shown="net"))
    taxed = replace(book, policies={**book.policies, "counter": policy})
    tax = hand_prices.compose(taxed, request_).tax
    assert tax is not None
    assert ("8.50", "1.79", "10.29") == (tax.net.amount, tax.tax.amount, tax.gross.amount)


def test_a_declined_order_has_no_price_by_hand_either(book: Book, request_: HandPriceRequest) -> None:
    """What cannot be done is not sold at any price."""
    clog = msgspec.json.decode((EXAMPLES / "clog.json").read_bytes(), type=type(request_.order))
    answer = hand_prices.compose(book, replace(request_, order=clog))
    assert ("decline", None, None, None, None) == (
        answer.verdict, answer.policy, answer.total, answer.tax, answer.at_price,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("amount", "currency", "pointer"),
    [("0", "EUR", "/each/amount"), ("8.505", "EUR", "/each/amount"), ("8.50", "GBP", "/each/currency")],
)
def test_a_price_that_cannot_be_paid_is_refused(
    book: Book, request_: HandPriceRequest, amount: str, currency: str, pointer: str
) -> None:
    """Nothing, a part of a cent and another currency."""
    with pytest.raises(RefusedError) as caught:
        hand_prices.compose(book, replace(request_, each=Charge(amount=amount, currency=currency)))
    assert [pointer] == [fault.pointer for fault in caught.value.faults]


def test_a_total_beyond_all_digits_is_refused(book: Book, request_: HandPriceRequest) -> None:
    """The fault is that of the price."""
    huge = replace(
        request_, order=replace(request_.order, pairs=9000), each=Charge(amount="99999999999999", currency="EUR")
    )
    with pytest.raises(RefusedError) as caught:
        hand_prices.compose(book, huge)
    assert caught.value.faults[0].pointer.startswith(("/each", "/what_if"))
