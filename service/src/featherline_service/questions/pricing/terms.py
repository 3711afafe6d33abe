"""The terms on which work is costed and priced: offcuts, how film is nested, policy and rush."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from msgspec import Struct

from featherline.plugins import Installed
from featherline.wire.costs import Measured, Order
from featherline.wire.recipes import Units
from featherline.wire.records import Policy
from featherline_service.book.shop_book import Book
from featherline_service.cost.film import LARGEST_NEST, Offcut
from featherline_service.cost.nesting import outline_nesting
from featherline_service.identifiers import listed
from featherline_service.messages.told import measured, told
from featherline_service.quantities import seconds
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing.offcuts import LotKey, offered

LONGEST_SEARCH_S: Final = 10
"""A longer search saves little film, and others wait for it."""


class PluggedPolicy(Struct, frozen=True):
    """A price policy by a plug-in, in the currency of the bench's rates."""

    id: str
    currency: str
    installed: Installed


AnyPolicy = Policy | PluggedPolicy


def find_policy(book: Book, wanted: str | None, checks: Checks, *, rush: bool = False) -> AnyPolicy | None:
    """Return the named price policy, or the bench's; note that it is unknown, in another currency, or takes no rush."""
    currency = book.rates[book.bench.rates].currency
    plugged = {name: PluggedPolicy(name, currency, plugin) for name, plugin in book.plugins.price_policies.items()}
    there: dict[str, AnyPolicy] = {**book.policies, **plugged}
    policy = checks.record(there, "price-policy", wanted or book.bench.policy, "/policy")
    if isinstance(policy, PluggedPolicy):
        return policy
    if policy is not None and policy.currency != currency:
        checks.note(
            "/policy",
            told(
                "policy.other-currency",
                "Price policy {id!r} is in {currency}, and the bench's rates are in {currency_2}: "
                "ask for a policy in {currency_2}",
                id=policy.id,
                currency=policy.currency,
                currency_2=currency,
            ),
        )
        return None
    if policy is not None and rush and policy.rush is None:
        takes = listed(policy.id, (other.id for other in book.policies.values() if other.rush is not None))
        checks.note(
            "/rush",
            told(
                "policy.no-rush",
                "Price policy {id!r} takes no rush orders; of the book's these do: {takes}",
                id=policy.id,
                takes=takes,
            ),
        )
    return policy


class CostTerms(Struct, frozen=True, kw_only=True):
    """Terms of a cost.

    `offcuts` are those that the request brings. `outlines_s` is how long to search for a nest of outlines, in whole
    seconds; 0: rectangles are nested, at most `largest_nest` at once.
    """

    offcuts: Mapping[LotKey, tuple[Offcut, ...]]
    outlines_s: int = 0
    hours_a_day: float | None = None
    units: Units = "metric"
    largest_nest: int = LARGEST_NEST


class Terms(CostTerms, frozen=True, kw_only=True):
    """Terms of a cost and of a price."""

    policy: AnyPolicy
    rush: bool


def read_terms(book: Book, request: Order | Measured, checks: Checks) -> Terms | None:
    """Return the terms of a request; note what is wrong with them."""
    policy = find_policy(book, request.policy, checks, rush=request.rush)
    offcuts = offered(book, request.offcuts, checks)
    outlines_s = _outlines_s(request.outlines, checks) if isinstance(request, Order) and request.outlines else 0
    if policy is None:
        return None
    return Terms(
        policy=policy,
        offcuts=offcuts,
        rush=request.rush,
        outlines_s=outlines_s,
        hours_a_day=request.hours_a_day,
        units=request.units,
    )


def _outlines_s(text: str, checks: Checks) -> int:
    """Return how long to search for a nest of outlines, rounded up."""
    budget_s = checks.value(seconds, text, "/outlines")
    if budget_s is not None and not 1 <= budget_s <= LONGEST_SEARCH_S:
        checks.note(
            "/outlines",
            told(
                "outlines.search-time",
                "Give from 1 s to {longest_search} to search for a nest of outlines",
                longest_search=measured(LONGEST_SEARCH_S, "s"),
            ),
        )
        return 0
    if not outline_nesting.available():
        checks.note(
            "/outlines",
            told(
                "outlines.not-installed",
                "This service nests rectangles only: leave it out, or install the extra featherline-service[outlines]",
            ),
        )
    return math.ceil(budget_s or 0)
