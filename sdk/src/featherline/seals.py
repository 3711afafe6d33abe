"""Checks sealed quotes without asking the service, by its public keys.

It needs the extra ``featherline[seals]``. A seal is a compact JSON Web Signature with the algorithm Ed25519 over the
canonical JSON (RFC 8785) of a `featherline.wire.SealedQuote`. The service publishes its keys at
``/.well-known/jwks.json`` (`featherline.Client.seal_keys`); keep a copy, and refresh it when a seal's key is unknown.
The price is for the order in the seal: `check` compares it with the order at hand, where that is given.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

import msgspec

try:
    import rfc8785
    from joserfc import jws
    from joserfc.errors import BadSignatureError, JoseError
    from joserfc.jwk import KeySet
except ModuleNotFoundError as error:
    raise ModuleNotFoundError(
        f"featherline.seals needs {error.name}; install the extra that brings it: pip install 'featherline[seals]'",
        name=error.name,
    ) from None

from featherline._json import decode, without_defaults
from featherline.wire.costs import Order
from featherline.wire.rosters import Roster
from featherline.wire.seals import Digest, PublishedKeys, SealCheck, SealedQuote, SealStatus

ALGORITHM: Final = "Ed25519"
MEDIA_TYPE: Final = "featherline-quote+jws"
_LONGEST: Final = 65_536  # characters

_SENTENCES: Final[dict[SealStatus, str]] = {
    "valid": "The seal is ours and in force: the price holds.",
    "expired": "The seal was ours but has expired: ask for a new quote.",
    "tampered": "The signature does not fit the content: do not rely on it.",
    "unknown-key": "No published key has this seal's key id: refresh the keys; if it stays unknown, do not rely on it.",
    "wrong-algorithm": f"The seal does not use {ALGORITHM}: do not rely on it.",
    "malformed": "This is not a sealed quote.",
}

_NOT_FOR_US: Final = "The seal is genuine, but was given to another key: do not take it here."
_ANOTHER_ORDER: Final = "The seal is genuine, but for another order: ask for a new quote of this one."
_BY_HAND: Final = "The seal is genuine, but its price was set by hand: take it only where such prices are taken."


def digest(request: Order | Roster) -> Digest:
    """Return the digest that a seal for an order or a roster carries.

    References:
        RFC 8785, canonical JSON; FIPS 180-4, SHA-256.
    """
    return hashlib.sha256(canonical(request)).hexdigest()


def canonical(value: msgspec.Struct) -> bytes:
    """Return the canonical JSON (RFC 8785) of a value of the wire, without fields that have their default values.

    So an order has the same text in every version of the wire that knows its fields, and an SDK that is older than the
    service can check the seal.
    """
    return rfc8785.dumps(without_defaults(value))


def _answer(status: SealStatus, quote: SealedQuote | None = None) -> SealCheck:
    return SealCheck(status=status, sentence=_SENTENCES[status], quote=quote)


def _is_canonical(segment: str) -> bool:
    """Return whether a base64url segment is the canonical one for its bytes: the last character has unused bits."""
    try:
        content = base64.urlsafe_b64decode(segment + "=" * (-len(segment) % 4))
    except binascii.Error:
        return False
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode() == segment


def _read_header(seal: str) -> dict[str, Any] | None:
    """Return the protected header, not verified, or None if the text is not a compact signature."""
    if len(seal) > _LONGEST or not seal.isascii() or not all(map(_is_canonical, seal.split("."))):
        return None
    try:
        return jws.extract_compact(seal.encode()).headers()
    except (JoseError, ValueError, KeyError, TypeError):
        return None


def _pick_keys(header: dict[str, Any], keys: dict[str, Any]) -> KeySet | SealStatus:
    """Return the published keys that the header names, or the status of a seal without one.

    The algorithm is fixed: a seal whose header names another is refused.
    """
    if header.get("alg") != ALGORITHM:
        return "wrong-algorithm"
    if header.get("typ") != MEDIA_TYPE or "crit" in header:
        return "malformed"
    known = [key for key in keys["keys"] if key.get("kid") == header.get("kid") and key.get("crv") == ALGORITHM]
    return KeySet.import_key_set({"keys": known}) if known else "unknown-key"


def check(
    seal: str,
    keys: PublishedKeys | Mapping[str, Any],
    *,
    at: datetime | None = None,
    request: Order | Roster | None = None,
    audience: str | None = None,
    by_hand: bool = False,
) -> SealCheck:
    """Check a seal with a set of public keys; a checkout gives `request` and `audience`, too.

    Args:
        seal: The compact JSON Web Signature.
        keys: The JSON Web Key Set (RFC 7517) of the service, as `PublishedKeys` or as JSON data.
        at: The time, with a time zone, at which the seal must be in force; now by default.
        request: The order or roster at hand. The seal of another one is `tampered`, as somebody has swapped them.
        audience: The id of the key whose prices are taken. A seal that was given to another one is `tampered`.
        by_hand: Whether prices are taken that the shop set by hand; otherwise their seals are `tampered`.

    Returns:
        The status, a sentence, and the sealed quote if the signature is valid and the seal is for what is at hand.

    References:
        RFC 7515, JSON Web Signature; RFC 8037 and RFC 9864, Ed25519; RFC 8785, canonical JSON.
    """
    header = _read_header(seal)
    picked = _pick_keys(header, msgspec.to_builtins(keys)) if header is not None else "malformed"
    if not isinstance(picked, KeySet):
        return _answer(picked)
    try:
        content = jws.deserialize_compact(seal, picked, algorithms=[ALGORITHM])
        quote = decode(content.payload, SealedQuote)
    except BadSignatureError:
        return _answer("tampered")
    except (JoseError, ValueError):
        return _answer("malformed")
    if audience is not None and quote.audience != audience:
        refused = _NOT_FOR_US
    elif quote.kind != "policy" and not by_hand:
        refused = _BY_HAND
    elif request is not None and quote.digest != digest(request):
        refused = _ANOTHER_ORDER
    else:
        return _answer("valid" if (at or datetime.now(UTC)) < quote.expires else "expired", quote)
    return SealCheck(status="tampered", sentence=refused, quote=None)
