"""Sealing and checking quotes: each way that a seal can be wrong is told apart and refused."""

from __future__ import annotations

import base64
import hashlib
import json
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec
import pytest
import rfc8785
from joserfc import jws
from joserfc.jwk import OctKey, OKPKey
from msgspec.structs import replace

from featherline import seals
from featherline.wire.artworks import PathArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.money import Money
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.rosters import Roster, RosterAnswer, RosterRow
from featherline.wire.seals import Seal
from featherline.wire.shoes import BookShoe, Size
from featherline_service import signatures

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
DAYS_30 = timedelta(days=30)
ORDER = Order(
    shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")),
    placements=(
        Placement(
            panel="outer-quarter",
            film="smooth",
            colour="gorse",
            artwork=PathArtwork(d="M0 0H60V30H0Z", height="20 mm"),
        ),
    ),
)


TEN = Money(amount="9.90", currency="EUR")
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
ANSWER = msgspec.json.decode((EXAMPLES / "quote-answer.json").read_bytes(), type=QuoteAnswer)
ROSTER_ANSWER = msgspec.json.decode((EXAMPLES / "roster-answer.json").read_bytes(), type=RosterAnswer)


def sealable(asked: Order | Roster) -> signatures.Sealable:
    """Return what is sealed of an answer to an order or a roster, whose price is ten but for ten cents."""
    answer = ANSWER if isinstance(asked, Order) else ROSTER_ANSWER
    assert answer.price is not None
    made = signatures.sealable_of(asked, answer, answer.price)
    return replace(made, total=TEN, each=None if made.each is None else TEN, quantities=(), tax=None)


def seal(keys: signatures.SealKeys, asked: Order | Roster, at: datetime = NOON) -> Seal:
    """Return the seal of an answer for thirty days."""
    return signatures.seal(keys, sealable(asked), at=at, lifetime=DAYS_30)


def sealed(keys: signatures.SealKeys) -> Seal:
    """Return the seal of the answer to the order."""
    return seal(keys, ORDER)


def test_valid() -> None:
    """A seal that is whole and in force gives back the order and the price, and nothing of the cost."""
    keys = signatures.temporary_keys()
    made = sealed(keys)
    checked = seals.check(made.text, keys.public(), at=NOON)
    assert checked.status == "valid"
    assert checked.quote is not None
    assert checked.quote.order == ORDER
    assert checked.quote.total == Money(amount="9.90", currency="EUR")
    assert (made.key, made.expires) == ("temporary", NOON + DAYS_30)


def test_checked_now_by_default() -> None:
    """Without an instant, the expiry is held against the clock."""
    keys = signatures.temporary_keys()
    made = seal(keys, ORDER, datetime.now(UTC))
    assert seals.check(made.text, keys.public()).status == "valid"


def test_the_digest_is_of_the_order_as_it_was_understood() -> None:
    """Whoever holds the order tells by its digest that the seal is for it; for any other it is another."""
    keys = signatures.temporary_keys()
    quote = seals.check(sealed(keys).text, keys.published(), at=NOON).quote
    assert quote is not None
    # printf of the canonical JSON (sorted names, no white space, defaults left out) | sha256sum
    canonical = (
        '{"placements":[{"artwork":{"d":"M0 0H60V30H0Z","height":"20 mm","kind":"path"},"colour":"gorse",'
        '"film":"smooth","panel":"outer-quarter"}],"shoe":{"kind":"book","shoe":"regatta-deck","size":{"system":"EU",'
        '"value":"42"}}}'
    )

    assert hashlib.sha256(canonical.encode()).hexdigest() == quote.digest == seals.digest(ORDER)
    assert seals.digest(replace(ORDER, pairs=2)) != quote.digest
    assert ("order", ORDER) == (quote.asked, quote.order)
    assert seals.digest(replace(ORDER, units="metric", pairs=1)) == quote.digest


def test_a_roster_is_vouched_for_by_its_digest_and_total() -> None:
    """Its rows are not in the seal; one name changed is another roster."""
    keys = signatures.temporary_keys()
    roster = Roster(order=ORDER, rows=(RosterRow(fields={"name": "MARLOW"}),), seal=True)
    made = seal(keys, roster)
    quote = seals.check(made.text, keys.public(), at=NOON).quote
    assert quote is not None
    other = replace(roster, rows=(RosterRow(fields={"name": "MARLOWE"}),))

    assert ("roster", None, None, TEN) == (quote.asked, quote.order, quote.each, quote.total)
    assert seals.digest(roster) == quote.digest != seals.digest(other)


def test_the_callers_reference_is_in_the_seal() -> None:
    """An order's reference is sealed, for a roster too, and for an order that is too long to be in the seal."""
    keys = signatures.temporary_keys()
    order = replace(ORDER, reference='K-2041 "order":null')
    long = PathArtwork(d="M0 0H60V30H0Z" + "M0 0H1V1Z" * 6_000, height="20 mm")
    too_long = replace(order, placements=(replace(ORDER.placements[0], artwork=long),))
    for asked in (order, too_long, Roster(order=order, rows=(RosterRow(),), seal=True)):
        made = seal(keys, asked)
        quote = seals.check(made.text, keys.public(), at=NOON).quote
        assert quote is not None

        assert (order.reference, order if asked is order else None) == (quote.reference, quote.order)


def test_what_is_sealed_is_canonical_json() -> None:
    """RFC 8785: what the seal holds is what the library for it makes of the same value."""
    text = sealed(signatures.temporary_keys()).text
    payload = text.split(".")[1]
    content = base64.urlsafe_b64decode(payload + "=" * (-len(payload) % 4))

    assert rfc8785.dumps(json.loads(content)) == content


def test_an_order_too_long_to_be_carried_is_vouched_for_by_its_digest() -> None:
    """A drawing of ninety thousand characters makes no seal that is too long to check."""
    keys = signatures.temporary_keys()
    drawing = PathArtwork(d="M0 0" + "H60V30H0Z" * 10_000, height="20 mm")
    order = replace(ORDER, placements=(replace(ORDER.placements[0], artwork=drawing),))
    made = seal(keys, order)
    checked = seals.check(made.text, keys.public(), at=NOON)
    assert checked.quote is not None

    assert ("valid", None, seals.digest(order)) == (checked.status, checked.quote.order, checked.quote.digest)


def test_the_longest_order_that_is_carried_makes_a_seal_that_can_be_checked() -> None:
    """Up to the limit the seal keeps below the longest text of the wire, whatever names there are."""
    keys = signatures.temporary_keys()
    found = []
    for length in range(40_000, 41_500, 100):
        drawing = PathArtwork(d="M0 0H60V30H0Z".ljust(length), height="20 mm")
        order = replace(ORDER, placements=(replace(ORDER.placements[0], artwork=drawing),))
        checked = seals.check(seal(keys, order).text, keys.public(), at=NOON)
        assert checked.quote is not None
        assert checked.status == "valid"
        found.append(checked.quote.order is not None)

    assert {True, False} == set(found)
    assert found == sorted(found, reverse=True)


def test_expired() -> None:
    """From the instant of its expiry on, a seal is out of force but still tells what it was."""
    keys = signatures.temporary_keys()
    checked = seals.check(sealed(keys).text, keys.public(), at=NOON + DAYS_30)
    assert checked.status == "expired"
    assert checked.quote is not None


def test_single_bit_changes() -> None:
    """A thousand random single-bit changes are all refused, the spare bits of the last character included."""
    keys = signatures.temporary_keys()
    text = sealed(keys).text
    draw = random.Random(8)  # noqa: S311 - a repeatable choice of bits, not a secret
    places = {(draw.randrange(len(text)), draw.randrange(7)) for _ in range(1000)} | {
        (len(text) - 1, bit) for bit in range(7)
    }
    for place, bit in places:
        changed = text[:place] + chr(ord(text[place]) ^ (1 << bit)) + text[place + 1 :]
        assert seals.check(changed, keys.public(), at=NOON).status != "valid", (place, bit)


def test_spare_bits_of_the_signature() -> None:
    """The same bytes spelt another way are refused: one seal, one spelling."""
    keys = signatures.temporary_keys()
    text = sealed(keys).text
    alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
    respelt = text[:-1] + alphabet[alphabet.index(text[-1]) ^ 1]
    assert base64.urlsafe_b64decode(respelt.split(".")[2] + "==") == base64.urlsafe_b64decode(text.split(".")[2] + "==")
    assert seals.check(respelt, keys.public(), at=NOON).status == "malformed"


def test_tampered() -> None:
    """A lower price under the old signature is seen."""
    keys = signatures.temporary_keys()
    header, payload, signature = sealed(keys).text.split(".")
    content = base64.urlsafe_b64decode(payload + "=" * (-len(payload) % 4)).replace(b'"9.90"', b'"0.90"')
    forged = base64.urlsafe_b64encode(content).rstrip(b"=").decode()
    assert seals.check(f"{header}.{forged}.{signature}", keys.public(), at=NOON).status == "tampered"


def test_unknown_key() -> None:
    """A seal by a key that is not published is refused."""
    assert (
        seals.check(sealed(signatures.temporary_keys()).text, signatures.temporary_keys().public()).status
        == "unknown-key"
    )


def test_algorithm_none() -> None:
    """An unsigned text is refused for its algorithm."""
    keys = signatures.temporary_keys()
    _, payload, _ = sealed(keys).text.split(".")
    header = base64.urlsafe_b64encode(json.dumps({"alg": "none", "kid": keys.keys[0].kid}).encode()).rstrip(b"=")
    assert seals.check(f"{header.decode()}.{payload}.", keys.public(), at=NOON).status == "wrong-algorithm"


def test_hmac_with_the_public_key() -> None:
    """A signature made with HMAC and the public key as its secret is refused for its algorithm."""
    keys = signatures.temporary_keys()
    public = keys.public()["keys"][0]
    secret = OctKey.import_key({"kty": "oct", "k": public["x"]})
    header = {"alg": "HS256", "kid": public["kid"], "typ": seals.MEDIA_TYPE}
    forged = jws.serialize_compact(header, b"{}", secret, algorithms=["HS256"])
    assert seals.check(forged, keys.public(), at=NOON).status == "wrong-algorithm"


@pytest.mark.parametrize(
    "header",
    [{"typ": "JWT"}, {"typ": seals.MEDIA_TYPE, "crit": ["exp"], "exp": 1}],
    ids=["another type", "a critical extension"],
)
def test_other_headers(header: dict[str, object]) -> None:
    """A signature of ours for another purpose, or with extensions, is no seal."""
    keys = signatures.temporary_keys()
    parts = {"alg": seals.ALGORITHM, "kid": keys.keys[0].kid, **header}
    protected = base64.urlsafe_b64encode(json.dumps(parts).encode()).rstrip(b"=").decode()
    _, payload, signature = sealed(keys).text.split(".")
    assert seals.check(f"{protected}.{payload}.{signature}", keys.public(), at=NOON).status == "malformed"


def test_signed_but_no_quote() -> None:
    """A good signature over something else is malformed, not valid."""
    keys = signatures.temporary_keys()
    header = {"alg": seals.ALGORITHM, "kid": keys.keys[0].kid, "typ": seals.MEDIA_TYPE}
    text = jws.serialize_compact(header, b'{"total": 1}', keys.keys[0], algorithms=[seals.ALGORITHM])
    assert seals.check(text, keys.public(), at=NOON).status == "malformed"


@pytest.mark.parametrize("text", ["", "a", "a.b", "a.b.c", "é.é.é", "..", "x" * 70_000, "bm8.bm8.bm8", "W10.bm8.bm8"])
def test_malformed(text: str) -> None:
    """What is no compact signature is malformed."""
    assert seals.check(text, signatures.temporary_keys().public(), at=NOON).status == "malformed"


def test_published_keys_are_public() -> None:
    """The published set holds no private part, and nothing else of the file."""
    key = OKPKey.generate_key("Ed25519", auto_kid=True).as_dict(private=True)
    kept = signatures.SealKeys(keys=(OKPKey.import_key({**key, "note": "till"}),), temporary=False)

    for keys in (signatures.temporary_keys(), kept):
        assert [{"kty", "crv", "x", "kid", "use", "alg"}] == [set(published) for published in keys.public()["keys"]]


def write_keys(path: Path, *keys: dict[str, object]) -> Path:
    """Write a key set."""
    path.write_text(json.dumps({"keys": keys}), encoding="utf-8")
    return path


def test_unusable_key_files(tmp_path: Path) -> None:
    """A file that is missing, unreadable, public, of another kind or has a key twice is refused with its name."""
    private = OKPKey.generate_key("Ed25519", auto_kid=True).as_dict(private=True)
    files = [
        tmp_path / "missing.json",
        write_keys(tmp_path / "empty.json"),
        write_keys(tmp_path / "public.json", {k: v for k, v in private.items() if k != "d"}),
        write_keys(tmp_path / "twice.json", private, private),
        write_keys(tmp_path / "secret.json", {"kty": "oct", "k": "A" * 43, "kid": "a"}),
        write_keys(tmp_path / "strange.json", {"kty": "none"}),
    ]
    (tmp_path / "text.json").write_text("no keys", encoding="utf-8")
    for path in [*files, tmp_path / "text.json"]:
        with pytest.raises(signatures.SealKeyError, match=path.name) as refused:
            signatures.read_keys(path)
        # Another key would orphan every seal: the advice is to put the keys back.
        assert "put your copy of it there" in str(refused.value)
    with pytest.raises(signatures.SealKeyError, match=r"user [0-9]+ cannot read it \(.+\); let it, and keep the keys"):
        signatures.read_keys(tmp_path)
