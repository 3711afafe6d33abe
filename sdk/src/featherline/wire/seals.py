"""Sealed quotes: the content of a seal, and the answer to a check of one."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.costs import Order, Owner, PriceTax, QuantityPrice
from featherline.wire.money import Money
from featherline.wire.texts import Engine, Identifier, Instant, Reference, Revision, Sentence
from featherline.wire.verdicts import Verdict

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
    Meta(description="Rely only on a `valid` seal."),
]


Digest = Annotated[
    str,
    Meta(
        pattern=r"^[0-9a-f]{64}$(?!\n)",
        max_length=64,
        description="The SHA-256, in hexadecimal digits, of a request's canonical JSON (RFC 8785), without fields that "
        "have their default values.",
    ),
]


SealId = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9_-]{22}$(?!\n)",
        max_length=22,
        description="Tells a seal from any other. Nothing is stored: to take a seal once, keep the ids of those taken, "
        "until they expire. Equal orders of one key have the same seal within a minute: give each cart a `reference`.",
    ),
]


class Seal(Struct, frozen=True, kw_only=True):
    """A seal on a price. A `temporary` key is lost when the service stops, and its seals become worthless."""

    text: SealText
    expires: Instant
    key: Literal["kept", "temporary"]


class SealedQuote(Struct, frozen=True, kw_only=True):
    """The content of a seal: the request, as it was asked, and the price, without the cost.

    An order is included unless its drawings are too long; a roster never is. `digest` identifies the order or the
    roster in any case; `reference` is the order's, also a roster's. `each` is null for a roster, whose rows have their
    own prices.
    """

    asked: Literal["order", "roster"]
    order: Order | None
    digest: Digest
    verdict: Verdict
    policy: Identifier
    each: Money | None
    total: Money
    sealed: Instant
    expires: Instant
    book: Revision
    engine: Engine
    reference: Annotated[Reference | None, Meta(description="The order's `reference`.")] = None
    quantities: Annotated[tuple[QuantityPrice, ...], Meta(description="The prices of the order's `quantities`.")] = ()
    tax: Annotated[PriceTax | None, Meta(description="The tax of the total; null where the policy states none.")] = None
    kind: Annotated[
        Literal["policy", "by-hand"],
        Meta(description="Whether the price is by the policy, or set by hand in the shop."),
    ] = "policy"
    audience: Annotated[
        Identifier | None, Meta(description="The id of the key that asked, whose checkout takes it; null without keys.")
    ] = None
    owner: Annotated[
        Owner | None,
        Meta(description="The owner that the price is for, where the key that asked is pinned to one; or the order's."),
    ] = None
    id: Annotated[SealId | None, Meta(description="Null in a seal given before there were ids.")] = None


class PublishedKey(Struct, frozen=True, kw_only=True):
    """A public key that checks seals: a JSON Web Key (RFC 7517, RFC 8037)."""

    kty: Literal["OKP"]
    crv: Literal["Ed25519"]
    x: str
    kid: str
    use: Literal["sig"]
    alg: Literal["Ed25519"]


class PublishedKeys(Struct, frozen=True, kw_only=True):
    """The public keys of all seals that may be in force: a JSON Web Key Set. New seals use the first."""

    keys: tuple[PublishedKey, ...]


class SealCheckRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Is this seal ours, whole, and still in force? And for this order, and of this key?

    One that is genuine but for another order, another audience, or set by hand where that is not taken, is `tampered`:
    the two do not belong together.
    """

    seal: SealText
    order: Annotated[
        Order | None, Meta(description="The order at hand, as it was asked; null: it is compared by the caller.")
    ] = None
    audience: Annotated[
        Identifier | None,
        Meta(
            description="The id of the key whose prices are taken. Null: for a key of the scope `price` its own id, "
            "for others any."
        ),
    ] = None
    by_hand: Annotated[
        bool, Meta(description="Whether a price is taken that the shop set by hand; otherwise its seal is refused.")
    ] = False
    today: Annotated[
        bool, Meta(description="Whether to say what the order would be answered today, which may have to be computed.")
    ] = False


class SealToday(Struct, frozen=True, kw_only=True):
    """What the sealed order would be answered today, by the book in force and the policy that the seal names.

    `unchanged`: the same. `changed`: the verdict or the price would be another, which is in the other fields.
    `declined`: it can no longer be done, or asked for. `unknown`: neither the seal nor the request has the order. A
    valid seal holds whatever is said here. A price set by hand is `changed` by its verdict alone.
    """

    kind: Annotated[Literal["unchanged", "changed", "declined", "unknown"], Meta(description="What has become of it.")]
    sentence: Sentence
    verdict: Verdict | None
    each: Money | None
    total: Money | None
    tax: PriceTax | None
    book: Revision


class SealCheck(Struct, frozen=True, kw_only=True):
    """The answer to a check of a seal. `quote` is null unless the signature holds (`valid` or `expired`)."""

    status: SealStatus
    sentence: Sentence
    quote: SealedQuote | None
    today: Annotated[
        SealToday | None, Meta(description="Null unless asked for, and for whoever is not shown the quote.")
    ] = None
