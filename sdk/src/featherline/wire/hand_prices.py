"""The question "what does this price, set by hand, leave us, and will you seal it?", and its answer."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta, Struct

from featherline.wire.costs import AtPrice, Order, PriceTax
from featherline.wire.money import Charge, Money
from featherline.wire.seals import Seal
from featherline.wire.texts import BookUntil, Engine, Identifier, Revision
from featherline.wire.verdicts import Reason, Verdict


class HandPriceRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An order, and the price of a pair that the shop sets by hand, set-up included.

    `each` is with tax where the prices of the order's policy are, in the currency of the bench's rates.
    """

    order: Order
    each: Charge


class HandPriceAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `HandPriceRequest`, for the shop alone. A declined order has no price.

    The seal is of the kind `by-hand`: a checkout refuses it unless it is told to take such seals.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    policy: Annotated[Identifier | None, Meta(description="The policy whose tax it has; null without a price.")]
    total: Annotated[Money | None, Meta(description="`each` times pairs; null without a price.")]
    tax: Annotated[PriceTax | None, Meta(description="Null where the policy states no tax, or without a price.")]
    at_price: Annotated[AtPrice | None, Meta(description="What the price leaves; null without a price.")]
    book: Revision
    book_until: BookUntil
    engine: Engine
    seal: Annotated[Seal | None, Meta(description="Guarantees the price until it expires; null without a price.")]
