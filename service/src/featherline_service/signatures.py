"""Seals: the keys, and the signature over a price."""

from __future__ import annotations

import base64
import hashlib
import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final, Literal, TypedDict

import msgspec
from joserfc import jws
from joserfc.errors import JoseError
from joserfc.jwk import KeySet, KeySetSerialization, OKPKey

from featherline.seals import ALGORITHM, MEDIA_TYPE, canonical
from featherline.wire.costs import Order, Owner, Price, PriceTax, QuantityPrice
from featherline.wire.hand_prices import HandPriceAnswer, HandPriceRequest
from featherline.wire.money import Money
from featherline.wire.offers import Offer, OfferPrice, RosterOffer, RosterOfferPrice
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.rosters import Roster, RosterAnswer, RosterPrice
from featherline.wire.seals import Digest, PublishedKeys, Seal, SealedQuote
from featherline.wire.texts import Engine, Identifier, Reference, Revision
from featherline.wire.verdicts import Verdict

_FIRST: Final = "Only where no seal was given yet: --add-seal-key FILE makes the first key"
_LONGEST_ORDER: Final = 40_960  # bytes of canonical JSON; with the rest, a seal then stays below its longest text


_ID_BYTES: Final = 16


class SealKeyError(ValueError):
    """The file of seal keys cannot be used; the message says why and what to do."""


class SealKeys(msgspec.Struct, frozen=True, kw_only=True, eq=False):
    """The keys of a running service: the first signs, all of them are published. A temporary key ends with the run."""

    keys: tuple[OKPKey, ...]
    temporary: bool

    def public(self) -> dict[str, Any]:
        """Return the public halves as a JSON Web Key Set (RFC 7517)."""
        return {"keys": [_published(key) for key in self.keys]}

    def published(self) -> PublishedKeys:
        """Return the public halves as they are published."""
        return msgspec.convert(self.public(), PublishedKeys)


class Sealable(msgspec.Struct, frozen=True, kw_only=True):
    """All that a seal vouches for but its times. `order` is the canonical text of an order, unless that is too long.

    After `book_until` the price is asked for by those who name the revision of the book that it is by: its seal is then
    not valid for longer than one of that instant.
    """

    asked: Literal["order", "roster"]
    order: bytes | None
    digest: Digest
    reference: Reference | None
    verdict: Verdict
    policy: Identifier
    total: Money
    each: Money | None = None
    book: Revision
    engine: Engine
    quantities: tuple[QuantityPrice, ...] = ()
    tax: PriceTax | None = None
    book_until: datetime | None = None
    owner: Owner | None = None
    kind: Literal["policy", "by-hand"] = "policy"


def sealable_of(
    request: Order | Roster,
    answer: QuoteAnswer | RosterAnswer | Offer | RosterOffer,
    price: Price | RosterPrice | OfferPrice | RosterOfferPrice,
) -> Sealable:
    """Return what a seal vouches for of an answer and its price. The digest of what was asked always is in it."""
    return Sealable(
        **sealed_request(request),
        asked="order" if isinstance(request, Order) else "roster",
        reference=(request if isinstance(request, Order) else request.order).reference,
        verdict=answer.verdict,
        policy=price.policy,
        each=price.each if isinstance(price, Price | OfferPrice) else None,
        total=price.total,
        book=answer.book,
        book_until=answer.book_until,
        engine=answer.engine,
        quantities=price.quantities if isinstance(price, Price | OfferPrice) else (),
        tax=price.tax,
    )


def sealable_by_hand(request: HandPriceRequest, answer: HandPriceAnswer) -> Sealable | None:
    """Return what a seal vouches for of a price that the shop set by hand; None where there is none."""
    if answer.total is None or answer.policy is None:
        return None
    return Sealable(
        **sealed_request(request.order),
        asked="order",
        reference=request.order.reference,
        verdict=answer.verdict,
        policy=answer.policy,
        each=Money(amount=request.each.amount, currency=request.each.currency),
        total=answer.total,
        book=answer.book,
        book_until=answer.book_until,
        engine=answer.engine,
        tax=answer.tax,
        kind="by-hand",
    )


class SealedRequest(TypedDict):
    """The request in a seal: the canonical text of an order, unless that is too long, and the digest."""

    order: bytes | None
    digest: Digest


def sealed_request(request: Order | Roster) -> SealedRequest:
    """Return a request as a seal has it."""
    text = canonical(request)
    return SealedRequest(
        order=text if isinstance(request, Order) and len(text) <= _LONGEST_ORDER else None,
        digest=hashlib.sha256(text).hexdigest(),
    )


def _published(key: OKPKey) -> dict[str, Any]:
    public = key.as_dict(private=False)
    return {name: public[name] for name in ("kty", "crv", "x", "kid")} | {"use": "sig", "alg": ALGORITHM}


def temporary_keys() -> SealKeys:
    """Return one new key, for a run without a file of keys."""
    return SealKeys(keys=(OKPKey.generate_key(ALGORITHM, auto_kid=True),), temporary=True)


def read_keys(path: Path) -> SealKeys:
    """Read private keys from a JSON Web Key Set. The first signs; the others are published.

    Raises:
        SealKeyError: The file is missing, is not a key set, or holds anything but private Ed25519 keys, once each.
    """
    try:
        content = path.read_bytes()
    except FileNotFoundError as error:
        raise SealKeyError(f"{path}: there is no such file; put your copy of it there. {_FIRST}") from error
    except OSError as error:
        raise SealKeyError(
            f"{path}: user {os.getuid()} cannot read it ({error.strerror}); let it, and keep the keys"
        ) from error
    try:
        entries = KeySet.import_key_set(msgspec.json.decode(content, type=KeySetSerialization)).keys
    except (ValueError, KeyError, TypeError, JoseError) as error:
        raise SealKeyError(f"{path}: no JSON Web Key Set ({error}); put your copy of it there. {_FIRST}") from error
    keys = tuple(key for key in entries if isinstance(key, OKPKey) and key.curve_name == ALGORITHM and key.is_private)
    if not keys or len(keys) < len(entries) or len({key.kid for key in keys}) < len(keys):
        raise SealKeyError(
            f"{path}: needs one or more private {ALGORITHM} keys, each of them once; put your copy of it there"
        )
    return SealKeys(keys=keys, temporary=False)


def _id(quote: SealedQuote) -> str:
    """Return the id of a seal: the same in every replica, another for whatever differs in it."""
    digest = hashlib.sha256(msgspec.json.encode(quote)).digest()
    return base64.urlsafe_b64encode(digest[:_ID_BYTES]).rstrip(b"=").decode()


def seal(keys: SealKeys, sealable: Sealable, *, at: datetime, lifetime: timedelta, audience: str | None = None) -> Seal:
    """Return the seal of a price, valid from `at` for `lifetime`, but no longer than one of the end of its book.

    Args:
        keys: the keys; the first one signs.
        sealable: what was asked, the price, and what it was computed with.
        at: the instant of sealing, with a time zone.
        lifetime: how long the seal is valid.
        audience: the id of the key that asked, whose checkout takes the seal; None without keys.

    References:
        RFC 7515, JSON Web Signature, section 3.1 (compact serialisation); RFC 8037 section 3.1; RFC 8785.
    """
    expires = (min(at, sealable.book_until or at) + lifetime).replace(microsecond=0)
    fields = {name: getattr(sealable, name) for name in Sealable.__struct_fields__ if name != "book_until"}
    quote = SealedQuote(
        **{**fields, "order": None}, sealed=at.replace(microsecond=0), expires=expires, audience=audience
    )
    quote = msgspec.structs.replace(quote, id=_id(quote))
    key = keys.keys[0]
    header = {"alg": ALGORITHM, "kid": key.kid, "typ": MEDIA_TYPE}
    content = canonical(quote)
    if sealable.order is not None:
        # Canonical JSON within canonical JSON is the same: what takes long is done once.
        content = content.replace(b'"order":null', b'"order":' + sealable.order)
    signed = jws.serialize_compact(header, content, key, algorithms=[ALGORITHM])
    return Seal(text=signed, expires=expires, key="temporary" if keys.temporary else "kept")
