"""Check a sealed quote without asking the service: its public keys and this module are enough.

Needs the extra ``featherline[seals]``. A seal is a compact JSON Web Signature with the algorithm Ed25519 over the
canonical JSON (RFC 8785) of a `featherline.wire.SealedQuote`. The public keys are what the service publishes at
``/.well-known/jwks.json`` (`featherline.Client.seal_keys`); keep a copy, and refresh it when a seal's key is unknown. A
sealed price is for the order in the seal: hold it, or its `digest`, against the order at hand.
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

from featherline.wire.costs import Order
from featherline.wire.rosters import Roster
from featherline.wire.seals import Digest, PublishedKeys, SealCheck, SealedQuote, SealStatus

ALGORITHM: Final = "Ed25519"
MEDIA_TYPE: Final = "featherline-quote+jws"
_LONGEST: Final = 65_536

_SENTENCES: Final[dict[SealStatus, str]] = {
    "valid": "The seal is ours and in force: the price holds.",
    "expired": "The seal was ours but has expired: ask for a new quote.",
    "tampered": "The signature does not fit the content: do not rely on it.",
    "unknown-key": "No published key has this seal's key id: refresh the keys; if it stays unknown, do not rely on it.",
    "wrong-algorithm": f"The seal does not use {ALGORITHM}: do not rely on it.",
    "malformed": "This is not a sealed quote.",
}


def digest(asked: Order | Roster) -> Digest:
    """Return what stands in a seal for the order or roster that it is for, to compare it with the one at hand.

    References:
        RFC 8785, canonical JSON; FIPS 180-4, SHA-256.
    """
    return hashlib.sha256(canonical(asked)).hexdigest()


def canonical(value: msgspec.Struct) -> bytes:
    """Return the canonical JSON (RFC 8785) of a value of the wire, without the fields that have their defaults.

    So an order is the same text to every version of the wire that knows the fields it uses, and its seal can be read by
    an SDK that is older than the service.
    """
    return rfc8785.dumps(_said(value))


def _said(value: Any) -> Any:  # noqa: ANN401 - data of the wire
    """Return JSON data of a value: of structures only what is not as it would be if nothing were said."""
    match value:
        case msgspec.Struct():
            own = type(value)
            said = {
                field.encode_name: _said(getattr(value, field.name))
                for field in msgspec.structs.fields(own)
                if field.required or getattr(value, field.name) != _default(field)
            }
            config = own.__struct_config__
            return said if config.tag is None else {str(config.tag_field): config.tag, **said}
        case tuple():
            return [_said(item) for item in value]
        case dict():
            return {name: _said(item) for name, item in value.items()}
        case _:
            return msgspec.to_builtins(value)


def _default(field: msgspec.structs.FieldInfo) -> Any:  # noqa: ANN401 - data of the wire
    """Return what a field has when nothing is said."""
    return field.default if field.default is not msgspec.NODEFAULT else field.default_factory()


def _answer(status: SealStatus, quote: SealedQuote | None = None) -> SealCheck:
    return SealCheck(status=status, sentence=_SENTENCES[status], quote=quote)


def _is_exact(segment: str) -> bool:
    """Tell whether a base64url segment is the one spelling of its bytes: its last character has bits to spare."""
    try:
        content = base64.urlsafe_b64decode(segment + "=" * (-len(segment) % 4))
    except binascii.Error:
        return False
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode() == segment


def _read_header(seal: str) -> dict[str, Any] | None:
    """Return the protected header, not yet to be trusted, or None when the text is no compact signature."""
    if len(seal) > _LONGEST or not seal.isascii() or not all(map(_is_exact, seal.split("."))):
        return None
    try:
        return jws.extract_compact(seal.encode()).headers()
    except (JoseError, ValueError, KeyError, TypeError):
        return None


def _pick_keys(header: dict[str, Any], keys: dict[str, Any]) -> KeySet | SealStatus:
    """Return the published keys that the header names. The algorithm is ours, never the header's."""
    if header.get("alg") != ALGORITHM:
        return "wrong-algorithm"
    if header.get("typ") != MEDIA_TYPE or "crit" in header:
        return "malformed"
    known = [key for key in keys["keys"] if key.get("kid") == header.get("kid") and key.get("crv") == ALGORITHM]
    return KeySet.import_key_set({"keys": known}) if known else "unknown-key"


def check(seal: str, keys: PublishedKeys | Mapping[str, Any], *, at: datetime | None = None) -> SealCheck:
    """Check a seal against a set of public keys.

    Args:
        seal: The compact JSON Web Signature.
        keys: A JSON Web Key Set (RFC 7517) as the service publishes it, read or as JSON data.
        at: The instant to hold the expiry against, with a time zone; now when left out.

    Returns:
        The status, a sentence, and the sealed quote when the signature holds.

    References:
        RFC 7515, JSON Web Signature; RFC 8037 and RFC 9864, Ed25519; RFC 8785, canonical JSON.
    """
    header = _read_header(seal)
    picked = _pick_keys(header, msgspec.to_builtins(keys)) if header is not None else "malformed"
    if not isinstance(picked, KeySet):
        return _answer(picked)
    try:
        content = jws.deserialize_compact(seal, picked, algorithms=[ALGORITHM])
        quote = msgspec.json.decode(content.payload, type=SealedQuote)
    except BadSignatureError:
        return _answer("tampered")
    except (JoseError, ValueError):
        return _answer("malformed")
    return _answer("valid" if (at or datetime.now(UTC)) < quote.expires else "expired", quote)
