"""Addresses of pictures: enciphered, authenticated, bounded, and read by every replica until they expire."""

from __future__ import annotations

import base64
import random
from datetime import UTC, datetime, timedelta

import pytest
from joserfc.jwk import OKPKey

from featherline.wire.pictures import PictureAddress
from featherline_service.signatures import SealKeys, temporary_keys
from featherline_service.web.routes.pictures.addresses import AddressError, Addresses, ExpiredError

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
KEYS = temporary_keys()
TEXT = (
    b'{"foot":"right","order":{"placements":[{"artwork":{"font":"plain","height":"22 mm","kind":"text",'
    b'"text":"MARLOW"},"colour":"gorse","film":"smooth","panel":"outer-quarter"}],'
    b'"shoe":{"kind":"book","shoe":"regatta-deck","size":{"system":"EU","value":"42"}}},"placement":0}'
)


def addresses(keys: SealKeys = KEYS, after: timedelta = timedelta(0)) -> Addresses:
    """Return the addresses of a replica, some time after noon."""
    return Addresses(keys, timedelta(days=30), lambda: NOON + after)


def code_of(address: PictureAddress | None) -> str:
    """Return the code in an address."""
    assert address is not None
    return address.svg.removeprefix("/v1/pictures/").removesuffix(".svg")


def test_an_address_holds_its_request() -> None:
    """It is opened as it was minted, with its expiry; the text is nowhere in it, and neither is the name."""
    address = addresses().mint(TEXT, "en")
    code = code_of(address)
    opened = addresses().open(code)

    assert address is not None
    assert (TEXT, "en", NOON + timedelta(days=30)) == (
        opened.text,
        opened.language,
        NOON + timedelta(seconds=opened.left_s),
    )
    assert (NOON + timedelta(days=30), "temporary") == (address.expires, address.key)
    assert address.png == address.svg.replace(".svg", ".png")
    raw = base64.urlsafe_b64decode(code + "=" * (-len(code) % 4))
    assert not any(word in raw or word in code.encode() for word in (b"MARLOW", b"gorse", b"regatta"))


def test_an_address_is_the_same_within_an_hour() -> None:
    """So that caches have it; later it is another, which expires later."""
    first, later = addresses().mint(TEXT, "en"), addresses(after=timedelta(minutes=59)).mint(TEXT, "en")

    assert first == later
    assert code_of(first) != code_of(addresses(after=timedelta(minutes=61)).mint(TEXT, "en"))


def test_an_address_of_a_name_is_short() -> None:
    """Its length tells that of the text to 32 bytes alone: names of like length have addresses of one length."""
    codes = [
        code_of(addresses().mint(TEXT.replace(b"MARLOW", name), "en")) for name in (b"MARLOW", b"BYRNE", b"AKINWANDE")
    ]

    assert 1 == len({len(code) for code in codes})
    assert len(codes[0]) < 200


def test_an_address_expires() -> None:
    """Its last second is the one before it expires."""
    code = code_of(addresses().mint(TEXT, "en"))

    assert TEXT == addresses(after=timedelta(days=30, seconds=-1)).open(code).text
    with pytest.raises(ExpiredError):
        addresses(after=timedelta(days=30)).open(code)


def test_keys_rotate() -> None:
    """The first key mints; addresses of a former one are opened as long as the key is kept, and no longer."""
    new = OKPKey.generate_key("Ed25519", auto_kid=True)
    both = SealKeys(keys=(new, *KEYS.keys), temporary=False)
    old, fresh = code_of(addresses().mint(TEXT, "en")), code_of(addresses(both).mint(TEXT, "en"))

    assert old != fresh
    assert [TEXT, TEXT] == [addresses(both).open(code).text for code in (old, fresh)]
    assert "kept" == getattr(addresses(both).mint(TEXT, "en"), "key", None)
    with pytest.raises(AddressError):
        addresses(SealKeys(keys=(new,), temporary=False)).open(old)


def test_a_request_that_is_too_long_has_no_address() -> None:
    """Neither one that cannot be packed into 2000 characters, nor one that unpacks to more than 64 KiB."""
    noise = base64.b64encode(random.Random(8037).randbytes(4_000))  # noqa: S311 - repeatable, not a secret

    assert [None, None] == [addresses().mint(text, "en") for text in (noise, b"M" * 65_537)]
    longest = addresses().mint(b"M" * 65_536, "en")
    assert b"M" * 65_536 == addresses().open(code_of(longest)).text


def test_an_address_of_2000_characters_is_opened() -> None:
    """The longest that is minted is within the bound of those that are opened."""
    noise = base64.b64encode(random.Random(8037).randbytes(4_000))  # noqa: S311 - repeatable, not a secret
    lengths = [address for size in range(0, 4_000, 16) if (address := addresses().mint(noise[:size], "en")) is not None]

    assert 1_900 < max(len(address.svg) for address in lengths) <= 2_000
    assert addresses().open(code_of(lengths[-1])).text in noise


def test_hostile_addresses_are_refused() -> None:
    """Whatever is not ours to the last bit: changed, cut, longer, of other characters, or another form of the same."""
    code = code_of(addresses().mint(TEXT, "en"))
    changed = [code[:at] + ("A" if code[at] != "A" else "B") + code[at + 1 :] for at in range(len(code))]
    hostile = [
        *changed, "", "A", code[:-4], code + "AAAA", code + "=", code.replace("-", "+") + "+", "é" * 40, "A" * 3_000,
        code[:-1] + chr(ord(code[-1]) + 1), "\n" + code, "A" * 64,
    ]  # fmt: skip

    for address in hostile:
        with pytest.raises(AddressError):
            addresses().open(address)


def test_addresses_given_yesterday_are_opened() -> None:
    """What is read is stable: an address of the first version, by the public key of RFC 8037, appendix A.1."""
    known = OKPKey.import_key(
        {
            "kty": "OKP",
            "crv": "Ed25519",
            "d": "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A",
            "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo",
        }
    )
    replica = addresses(SealKeys(keys=(known,), temporary=False))

    assert TEXT == replica.open(FIRST).text


FIRST = "Wy6ezaVcxF3i9LaXmFZkfTabMjzacqSfgg2aU4uY00mlTZZQkphXI6zcMwx_ViS_rDsooa2mOmTQUee7RW5-gkCjxEH4uH-pT2K2UuWXu80"
