"""The question "from which price does this product start?", and its answer."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from featherline.wire.costs import Order, Price
from featherline.wire.money import Money
from featherline.wire.problems import Fault
from featherline.wire.texts import BookUntil, Engine, Reference, Revision
from featherline.wire.verdicts import Reason, Verdict


class FromPriceRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The orders of which the cheapest is asked for, such as the markings that a shop window offers on one shoe.

    All are for the same number of pairs. An order's `reference` names it in the answer. `outlines` are not searched.
    """

    candidates: Annotated[tuple[Order, ...], Meta(min_length=1, max_length=24)]


class CandidatePrice(Struct, frozen=True, kw_only=True):
    """A candidate as answered: its verdict or, with faults, null and the faults; its price where it has one.

    `candidate` is its index in the request, from 0. `paid` is its total, with tax where the policy states it; the
    cheapest is that of the lowest `paid` among those that are `ready`. `reasons` are why one is not ready. The pointers
    of faults and the subjects of reasons are JSON Pointers into the request.
    """

    candidate: int
    reference: Reference | None
    verdict: Verdict | None
    faults: tuple[Fault, ...]
    reasons: tuple[Reason, ...]
    each: Money | None
    paid: Money | None


class FromPriceAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `FromPriceRequest`. Its price is not sealed: a quote of the order is.

    Of candidates at the same price the first is the cheapest.
    """

    cheapest: Annotated[int | None, Meta(description="Its index in the request, from 0; null: none is ready.")]
    price: Annotated[Price | None, Meta(description="The price of the cheapest.")]
    candidates: tuple[CandidatePrice, ...]
    book: Revision
    book_until: BookUntil = None
    engine: Engine
