"""The terms on which work is priced: policy, offcuts, rush, and how film is nested."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from msgspec import Struct

from featherline.wire.costs import Measured, Order
from featherline.wire.recipes import Units
from featherline_service.book.shop_book import Book
from featherline_service.cost.film import Offcut
from featherline_service.cost.nesting import outline_nesting
from featherline_service.quantities import seconds
from featherline_service.questions.checks import Checks
from featherline_service.questions.pricing.offcuts import LotKey, offered
from featherline_service.questions.pricing.policies import AnyPolicy, find_policy

LONGEST_SEARCH_S: Final = 10
"""Beyond it a search for a nest finds little, and others wait."""


class Terms(Struct, frozen=True, kw_only=True):
    """Terms of a price.

    `offcuts` are those that the request brings. `outlines_s` is how long to search for a nest of outlines, in whole
    seconds; 0: rectangles are nested.
    """

    policy: AnyPolicy
    offcuts: Mapping[LotKey, tuple[Offcut, ...]]
    rush: bool
    outlines_s: int
    hours_a_day: float | None
    units: Units


def read_terms(book: Book, request: Order | Measured, checks: Checks) -> Terms | None:
    """Return the terms of a request; note what is wrong, and return None, where there is no such policy."""
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
        checks.note("/outlines", f"Give from 1 s to {LONGEST_SEARCH_S} s to search for a nest of outlines")
        return 0
    if not outline_nesting.available():
        checks.note(
            "/outlines",
            "This service nests rectangles only: leave it out, or install the extra featherline-service[outlines]",
        )
    return math.ceil(budget_s or 0)
