"""The question "what does this price, set by hand, leave us?": for the shop, which has it sealed as `by-hand`."""

from __future__ import annotations

from decimal import Decimal

from featherline.wire.costs import AtPrice, Price, PriceTax, WhatIf
from featherline.wire.hand_prices import HandPriceAnswer, HandPriceRequest
from featherline.wire.money import Money
from featherline_service.book.shop_book import Book
from featherline_service.cost.money import MoneyError, decimal_of, exact_arithmetic, minor_step, money, rounded
from featherline_service.cost.price_bands import tax_of
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing import what_ifs
from featherline_service.questions.quote import quotes
from featherline_service.runtime.engine import ENGINE


def compose(book: Book, request: HandPriceRequest) -> HandPriceAnswer:
    """Return the answer, not sealed: what the price leaves, and the tax in it.

    Raises:
        RefusedError: with the faults of the order and of the price.
    """
    checks = Checks()
    of_order, currency = checks.under("/order"), book.rates[book.bench.rates].currency
    amount = decimal_of(request.each.amount)
    if request.each.currency != currency:
        checks.note(
            "/each/currency",
            told(
                "money.other-currency",
                "The bench's rates are in {currency}: give the price in {currency}",
                currency=currency,
            ),
        )
    elif not amount or amount % minor_step(currency):
        checks.note(
            "/each/amount",
            told(
                "price.not-in-steps",
                "Give more than zero, in whole steps of {minor_step} {currency}",
                minor_step=minor_step(currency),
                currency=currency,
            ),
        )
    order, terms = quotes.read(book, request.order, of_order)
    quote = quotes.quote_of(book, order, terms, of_order)
    left: AtPrice | None = None
    total: Money | None = None
    tax: PriceTax | None = None
    if quote.cost is not None and quote.price is not None:
        what_if = what_ifs.answer(WhatIf(at_price=request.each), quote.cost, quote.price, request.order.pairs)
        left = None if what_if is None else what_if.at_price
        with exact_arithmetic():
            everything = amount * request.order.pairs
        try:
            total, tax = money(rounded(everything, currency), currency), _tax(book, quote.price, everything)
        except MoneyError as error:
            checks.refuse("/each/amount", error.told)
    return HandPriceAnswer(
        verdict=quote.verdict,
        reasons=quote.reasons,
        policy=None if quote.price is None else quote.price.policy,
        total=total,
        tax=tax,
        at_price=left,
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
        seal=None,
    )


def _tax(book: Book, price: Price, total: Decimal) -> PriceTax | None:
    """Return the tax of a total by the policy of a price; None where it states none, and for a plug-in's."""
    policy = book.policies.get(price.policy)
    if policy is None or policy.tax is None:
        return None
    whole = tax_of([total], policy.tax, policy.currency).total
    net, share, gross = (money(amount, policy.currency) for amount in (whole.net, whole.tax, whole.gross))
    return PriceTax(net=net, tax=share, gross=gross, rate=policy.tax.rate, shown=policy.tax.shown)
