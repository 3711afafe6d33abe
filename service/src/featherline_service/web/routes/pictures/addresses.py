"""Addresses of pictures: a request, enciphered and authenticated with the service's keys, as part of a path.

Nothing is stored: whoever has the address, has the request, but cannot read it. The same request has the same address
for an hour, so that pages and caches ask for it once.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Final

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESSIV
from cryptography.hazmat.primitives.hashes import SHA512
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from joserfc.jwk import OKPKey
from msgspec import Struct

from featherline.wire.pictures import LONGEST_ADDRESS, PictureAddress
from featherline_service.signatures import SealKeys

PATH: Final = "/v1/pictures/"
MEDIA_TYPES: Final = {".svg": "image/svg+xml", ".png": "image/png"}
"""The media type of each ending of an address."""

_ENDING: Final = 4
_PURPOSE: Final = b"featherline picture address 1"
_KEY_BYTES: Final = 64  # AES-SIV with two keys of 256 bits
_TAG_BYTES: Final = 16
_TIME_BYTES: Final = 5
_PERIOD_S: Final = 3_600
_BLOCK: Final = 32  # the length of an address tells that of its text to so many bytes alone
_LONGEST_REQUEST: Final = 65_536
_LONGEST_LANGUAGE: Final = 64  # with the end of its line
_LONGEST_CODE: Final = LONGEST_ADDRESS - len(PATH) - _ENDING
# Addresses given yesterday are read with it: it never changes. The most usual parts come last.
_USUAL: Final = (
    b'"backing":{"border":" mm","colour":"","film":""},"side":"above","edge":"featherline","distance":" mm"'
    b'"kind":"path","d":"M"kind":"svg","svg":"<svg "line_distance":"letter_spacing":0."arc":'
    b'"pose":{"kind":"at","x":" mm","y":" mm"},"sides":"right""left"{"foot":"left","order":'
    b'{"placements":[{"artwork":{"font":"plain","height":" mm",'
    b'"kind":"text","text":""},"colour":"","film":"smooth","panel":"inner-quarter"}'
    b'{"foot":"right","order":{"placements":[{"artwork":{"font":"plain","kind":"text","letter_height":" mm","text":""},'
    b'"colour":"","film":"smooth","panel":"outer-quarter"}],"shoe":{"colour":"","kind":"book","shoe":"",'
    b'"size":{"system":"EU","value":"42"}}},"width_px":de\nen\n'
)

_now: Final = partial(datetime.now, UTC)


class AddressError(ValueError):
    """An address is not one of ours, or has been changed."""


class ExpiredError(AddressError):
    """An address of ours has expired."""


class Opened(Struct, frozen=True):
    """What an address holds: a request's text, its answer's language, and for how long it is answered yet [s]."""

    text: bytes
    language: str
    left_s: int


class Addresses:
    """Mints and opens addresses, valid for `lifetime` from the hour that `clock` tells; the first of the keys mints."""

    def __init__(self, keys: SealKeys, lifetime: timedelta, clock: Callable[[], datetime] = _now) -> None:
        self._ciphers: Sequence[AESSIV] = tuple(map(_cipher, keys.keys))
        self._key = "temporary" if keys.temporary else "kept"
        self._lifetime = lifetime
        self._clock = clock

    def mint(self, text: bytes, language: str) -> PictureAddress | None:
        """Return the address of a request, answered in a language; None where it is too long for one.

        References:
            RFC 5297, AES-SIV: the same text has the same address, which tells nothing else of it; RFC 4648 section 5.
        """
        begun = int(self._clock().timestamp()) // _PERIOD_S * _PERIOD_S
        expires = begun + int(self._lifetime.total_seconds())
        packed = expires.to_bytes(_TIME_BYTES) + _packed(language.encode() + b"\n" + text)
        padded = packed + bytes(-len(packed) % _BLOCK)
        code = base64.urlsafe_b64encode(self._ciphers[0].encrypt(padded, [_PURPOSE])).rstrip(b"=").decode()
        if len(text) > _LONGEST_REQUEST or len(code) > _LONGEST_CODE:
            return None
        svg, png = (f"{PATH}{code}{ending}" for ending in MEDIA_TYPES)
        return PictureAddress(
            svg=svg,
            png=png,
            expires=datetime.fromtimestamp(expires, UTC),
            key="temporary" if self._key == "temporary" else "kept",
        )

    def open(self, code: str) -> Opened:
        """Return what an address holds, without its ending.

        Raises:
            AddressError: It is not ours, or has been changed.
            ExpiredError: It has expired.
        """
        if len(code) > _LONGEST_CODE:
            raise AddressError
        try:
            sealed = base64.b64decode(code + "=" * (-len(code) % 4), altchars=b"-_", validate=True)
        except ValueError:
            raise AddressError from None
        if len(sealed) < _TAG_BYTES + _BLOCK or base64.urlsafe_b64encode(sealed).rstrip(b"=") != code.encode():
            raise AddressError
        packed = self._deciphered(sealed)
        left_s = int.from_bytes(packed[:_TIME_BYTES]) - int(self._clock().timestamp())
        if left_s <= 0:
            raise ExpiredError
        language, _, text = _unpacked(packed[_TIME_BYTES:]).partition(b"\n")
        return Opened(text, language.decode(), left_s)

    def _deciphered(self, sealed: bytes) -> bytes:
        for cipher in self._ciphers:
            try:
                return cipher.decrypt(sealed, [_PURPOSE])
            except InvalidTag:
                continue
        raise AddressError


def _cipher(key: OKPKey) -> AESSIV:
    """Return the cipher of a seal key: its own key is derived, so that neither tells of the other.

    References:
        RFC 5869, HKDF.
    """
    secret = key.as_dict(private=True)["d"]
    return AESSIV(HKDF(SHA512(), _KEY_BYTES, salt=None, info=_PURPOSE).derive(str(secret).encode()))


def _packed(text: bytes) -> bytes:
    packing = zlib.compressobj(9, zlib.DEFLATED, -15, zdict=_USUAL)
    return packing.compress(text) + packing.flush()


def _unpacked(packed: bytes) -> bytes:
    return zlib.decompressobj(-15, zdict=_USUAL).decompress(packed, _LONGEST_REQUEST + _LONGEST_LANGUAGE)
