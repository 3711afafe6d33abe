"""Sealed quotes: what a seal holds, and what checking one answers."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.costs import Order
from featherline.wire.money import Money
from featherline.wire.texts import Engine, Identifier, Revision, Sentence
from featherline.wire.verdicts import Verdict

Instant = Annotated[datetime, Meta(tz=True, description="An instant, RFC 3339, in UTC.")]
SealText = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=65_536,
        description="A JSON Web Signature in compact serialisation (RFC 7515), algorithm Ed25519 (RFC 8037, RFC 9864).",
    ),
]
SealStatus = Annotated[
    Literal["valid", "expired", "tampered", "unknown-key", "wrong-algorithm", "malformed"],
    Meta(description="Only a `valid` seal may be relied on."),
]


class Seal(Struct, frozen=True, kw_only=True):
    """A seal on a quote. A `temporary` key is lost when the service stops, and its seals with it."""

    text: SealText
    expires: Instant
    key: Literal["kept", "temporary"]


class SealedQuote(Struct, frozen=True, kw_only=True):
    """What a seal vouches for: the order as it was understood, and the price. What it costs the shop is not in it."""

    order: Order
    verdict: Verdict
    policy: Identifier
    each: Money
    total: Money
    sealed: Instant
    expires: Instant
    book: Revision
    engine: Engine


class SealCheckRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Is this seal ours, whole, and still in force?"""

    seal: SealText


class SealCheck(Struct, frozen=True, kw_only=True):
    """What is to be thought of a seal. `quote` is null unless the signature holds (`valid` or `expired`)."""

    status: SealStatus
    sentence: Sentence
    quote: SealedQuote | None
