"""Seals over HTTP: put on prices, checked, and the keys that anyone may check them with."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import msgspec
import pytest
from structlog.testing import capture_logs

from featherline import seals
from featherline.wire.costs import Order
from featherline.wire.seals import SealCheck, SealId
from featherline_service import seal_key_commands
from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.settings import Settings
from featherline_service.signatures import SealKeyError, SealKeys, read_keys, temporary_keys
from featherline_service.web.routes.seals import Seals

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
KEYS = temporary_keys()


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        """Tell the time."""
        return self.now


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book."""
    return load()


def example(name: str) -> dict[str, Any]:
    """Return an example request."""
    found: dict[str, Any] = json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    return found


def ask(
    book: Book,
    *asked: tuple[str, str, object],
    keys: SealKeys = KEYS,
    clock: Clock | None = None,
    moves: Iterable[timedelta] = (),
    settings: Settings | None = None,
) -> list[httpx2.Response]:
    """Return answers to requests to one service, whose clock moves on before each of them."""
    clock = clock or Clock()

    async def run() -> list[httpx2.Response]:
        app = create_app(settings or Settings(), book, Seals(keys, timedelta(days=30), clock))
        steps = iter(moves)
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            answers = []
            for method, path, body in asked:
                clock.now += next(steps, timedelta())
                kind = "application/jsonl" if path == "/v1/bulk" else "application/json"
                content = body if isinstance(body, bytes) else None if body is None else json.dumps(body).encode()
                headers = {} if content is None else {"content-type": kind}
                answers.append(await client.request(method, path, content=content, headers=headers))
            return answers

    with capture_logs():
        return asyncio.run(run())


QUOTE = ("POST", "/v1/quotes", example("quote-request"))


def test_a_quote_is_sealed_and_the_seal_is_checked(book: Book) -> None:
    """The price that was answered is the price that the check vouches for, until thirty days later."""
    quote, keys = ask(book, QUOTE, ("GET", "/.well-known/jwks.json", None))
    seal = quote.json()["seal"]
    (checked,) = ask(book, ("POST", "/v1/seals/check", {"seal": seal["text"]}))

    assert ("temporary", "2026-07-01T12:00:00Z") == (seal["key"], seal["expires"])
    assert ("valid", quote.json()["price"]["total"]) == (checked.json()["status"], checked.json()["quote"]["total"])
    assert msgspec.convert(checked.json(), SealCheck) == seals.check(seal["text"], keys.json(), at=NOON)


def test_the_order_of_a_checked_seal_is_as_it_was_sealed(book: Book) -> None:
    """A field that the order leaves at its default is not in the answer, so that an older client reads it too."""
    (quote,) = ask(book, QUOTE)
    (checked,) = ask(book, ("POST", "/v1/seals/check", {"seal": quote.json()["seal"]["text"]}))

    asked = msgspec.convert(example("quote-request"), Order)
    assert json.loads(seals.canonical(asked)) == checked.json()["quote"]["order"]
    assert "conditioning" not in checked.json()["quote"]["order"]["shoe"]


def test_a_kept_answer_is_sealed_anew(book: Book) -> None:
    """The answer is computed once; its seal is that of the instant at which it is asked for, alone and in bulk."""
    order = example("quote-request")
    line = json.dumps({"kind": "quote", "request": order}).encode() + b"\n"
    answers = ask(
        book,
        QUOTE,
        QUOTE,
        ("POST", "/v1/bulk", line + line),
        moves=[timedelta(), timedelta(days=9), timedelta(days=9)],
    )
    first, second = (answer.json() for answer in answers[:2])
    third, fourth = (json.loads(each)["answer"] for each in answers[2].content.splitlines())

    assert ["2026-07-01", "2026-07-10", "2026-07-19", "2026-07-19"] == [
        answer["seal"]["expires"][:10] for answer in (first, second, third, fourth)
    ]
    assert first | {"seal": None} == second | {"seal": None} == third | {"seal": None}
    assert third == fourth


def test_every_seal_has_an_id(book: Book) -> None:
    """Within a minute equal orders have the same seal; another reference, time or key has another, by every replica."""
    order = example("quote-request")
    asked = [QUOTE, QUOTE, ("POST", "/v1/quotes", order | {"reference": "K-1"}), QUOTE]
    here = ask(book, *asked, moves=[timedelta()] * 3 + [timedelta(minutes=1)])
    there = ask(book, QUOTE)
    published = KEYS.public()
    ids = [seals.check(answer.json()["seal"]["text"], published, at=NOON).quote.id for answer in (*here, *there)]  # type: ignore[union-attr]

    assert ids[0] == ids[1] == ids[4]
    assert 3 == len(set(ids))
    assert all(msgspec.convert(each, SealId) for each in ids)


def test_what_has_no_price_has_no_seal(book: Book) -> None:
    """A declined order is not vouched for, and a cost is no offer."""
    clog, cost = ask(book, ("POST", "/v1/quotes", example("clog")), ("POST", "/v1/costs", example("cost-request")))

    assert clog.json()["seal"] is None
    assert "seal" not in cost.json()


def test_the_bench_card_of_a_quote_bears_no_seal(book: Book) -> None:
    """Another representation of the answer is not touched."""
    app = create_app(Settings(), book, Seals(KEYS, timedelta(days=30), Clock()))

    async def run() -> httpx2.Response:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            headers = {"accept": "text/html"}
            return await client.post("/v1/quotes", json=example("quote-request"), headers=headers)

    with capture_logs():
        answer = asyncio.run(run())
    assert answer.text.lower().startswith("<!doctype html>")


@pytest.mark.parametrize(
    ("days", "change", "status"),
    [
        (0, lambda text: text, "valid"),
        (30, lambda text: text, "expired"),
        (0, lambda text: text[:-20] + "A" * 20, "tampered"),
        (0, lambda _: "no seal at all", "malformed"),
    ],
)
def test_a_no_is_an_answer(book: Book, days: int, change: Any, status: str) -> None:  # noqa: ANN401 - a function
    """Whatever is wrong with a seal, the check answers 200 and says what."""
    clock = Clock()
    (quote,) = ask(book, QUOTE, clock=clock)
    clock.now += timedelta(days=days)
    (checked,) = ask(book, ("POST", "/v1/seals/check", {"seal": change(quote.json()["seal"]["text"])}), clock=clock)

    assert (200, status) == (checked.status_code, checked.json()["status"])
    assert (checked.json()["quote"] is None) == (status not in {"valid", "expired"})


@pytest.mark.parametrize("body", [{}, {"seal": ""}, {"seal": 7}, {"seal": "a", "more": 1}, {"seal": "x" * 65_537}])
def test_what_is_no_request_is_refused(book: Book, body: object) -> None:
    """A check without a text to check is an error, with its pointer."""
    (checked,) = ask(book, ("POST", "/v1/seals/check", body))

    assert 422 == checked.status_code
    assert checked.json()["errors"]


def test_the_published_keys_are_public_and_revalidated(book: Book) -> None:
    """A key set of public keys, with an ETag that spares the caller what it has."""
    (keys,) = ask(book, ("GET", "/.well-known/jwks.json", None))
    app = create_app(Settings(), book, Seals(KEYS, timedelta(days=30), Clock()))

    async def run() -> httpx2.Response:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            return await client.get("/.well-known/jwks.json", headers={"if-none-match": keys.headers["etag"]})

    with capture_logs():
        again = asyncio.run(run())

    assert [{"kty", "crv", "x", "kid", "use", "alg"}] == [set(key) for key in keys.json()["keys"]]
    assert 304 == again.status_code


def test_replicas_with_one_file_of_keys_check_each_others_seals(book: Book, tmp_path: Path) -> None:
    """A kept key is the same everywhere, and while keys rotate the old one's seals stay good."""
    path = tmp_path / "seal-keys.json"
    seal_key_commands.add(path, NOON)
    (old,) = ask(book, QUOTE, keys=read_keys(path))
    seal_key_commands.add(path, NOON)
    seal_key_commands.use(path, None, NOON, timedelta(days=30))
    (new,) = ask(book, QUOTE, keys=read_keys(path))
    checks = [
        ask(book, ("POST", "/v1/seals/check", {"seal": quote.json()["seal"]["text"]}), keys=read_keys(path))[0]
        for quote in (old, new)
    ]

    assert ["kept", "kept"] == [quote.json()["seal"]["key"] for quote in (old, new)]
    assert ["valid", "valid"] == [check.json()["status"] for check in checks]


def test_the_settings_file_of_keys_and_days_are_used(book: Book, tmp_path: Path) -> None:
    """The seal is by the key in the file, for as many days as are set."""
    path = tmp_path / "seal-keys.json"
    seal_key_commands.add(path, NOON)
    name = read_keys(path).keys[0].kid
    app = create_app(Settings(seal_keys=path, seal_days=2), book)

    async def run() -> list[httpx2.Response]:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            quote = await client.post("/v1/quotes", json=example("quote-request"))
            return [quote, await client.get("/.well-known/jwks.json")]

    with capture_logs():
        quote, keys = asyncio.run(run())
    checked = seals.check(quote.json()["seal"]["text"], keys.json())
    assert checked.quote is not None

    assert [name] == [key["kid"] for key in keys.json()["keys"]]
    assert timedelta(days=2) == checked.quote.expires - checked.quote.sealed
    assert "kept" == quote.json()["seal"]["key"]


def test_a_file_of_keys_that_cannot_be_used_makes_no_application(book: Book, tmp_path: Path) -> None:
    """Better no service than one whose seals nobody can check."""
    with pytest.raises(SealKeyError, match=r"nowhere\.json"):
        create_app(Settings(seal_keys=tmp_path / "nowhere.json"), book)


def test_a_quote_for_a_long_drawing_is_sealed_too(book: Book) -> None:
    """Its order is not in the seal, but its digest is."""
    order = example("quote-request")
    drawing = "M0 0H60V30H0Z".replace("H", " " * 25_000 + "H")
    order["placements"][0]["artwork"] = {"kind": "path", "d": drawing, "height": "20 mm"}
    (quote,) = ask(book, ("POST", "/v1/quotes", order))
    checked = seals.check(quote.json()["seal"]["text"], KEYS.published(), at=NOON)
    assert checked.quote is not None

    assert ("valid", None) == (checked.status, checked.quote.order)
