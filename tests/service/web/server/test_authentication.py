"""Who is let in, and to what: the real service with keys, asked over ASGI."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, cast, get_args

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.settings import Settings
from featherline_service.web.http.callers import Permission
from featherline_service.web.openapi.description import OPERATIONS
from featherline_service.web.routes.operations import Operation
from featherline_service.web.server.authentication import is_public
from featherline_service.web.server.caller_keys import Keys, mint
from featherline_service.web.server.envelope import Envelope

NOON: Final = datetime(2026, 6, 1, 12, tzinfo=UTC)
PERMISSIONS: Final[tuple[Permission, ...]] = get_args(Permission)
CHALLENGE: Final = 'Bearer realm="featherline"'
INVALID: Final = f'{CHALLENGE}, error="invalid_token"'
MINTED: Final = {name: mint(name, NOON) for name in (*PERMISSIONS, "slow", "all")}
KEY: Final = {name: key for name, (key, _) in MINTED.items()}

Ask = Callable[..., httpx2.Response]


def entries() -> str:
    """Return a file: a key for each scope, one for all, and one that may ask twice."""
    scopes = {**{name: f'["{name}"]' for name in PERMISSIONS}, "slow": '["ask"]', "all": json.dumps(PERMISSIONS)}
    texts = {name: text.replace('["ask"] #', f"{scopes[name]} #") for name, (_, text) in MINTED.items()}
    texts["slow"] = texts["slow"].replace("burst = 60", "burst = 2")
    return "".join(texts.values()).replace("burst = 60", "burst = 100000")


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book."""
    return load()


@pytest.fixture
def app(book: Book, tmp_path: Path) -> Envelope:
    """A fresh service with keys."""
    path = tmp_path / "keys.toml"
    path.write_text(entries())
    return create_app(Settings(), book, keys=Keys(path, lambda: NOON))


@pytest.fixture
def ask(app: Envelope) -> Ask:
    """Send a request: method, path, key, and what else httpx takes."""

    async def send(method: str, path: str, headers: Mapping[str, str], more: Mapping[str, Any]) -> httpx2.Response:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            return await client.request(method, path, headers=headers, **more)

    def run(method: str, path: str, key: str | None = None, **more: Any) -> httpx2.Response:  # noqa: ANN401 - httpx's
        shown = {} if key is None else {"authorization": f"Bearer {KEY[key]}"}
        with capture_logs():
            return asyncio.run(send(method, path, {**shown, **more.pop("headers", {})}, more))

    return run


def problem_of(response: httpx2.Response) -> str:
    """Return the kind of the problem document that a response is."""
    found = response.json()
    assert "application/problem+json" == response.headers["content-type"]
    assert response.status_code == found["status"]
    assert f"urn:featherline:request:{response.headers['x-request-id']}" == found["instance"]
    return str(found["type"].removeprefix("urn:featherline:problem:"))


def path_of(operation: Operation) -> str:
    """Return a path of an operation at which there is something."""
    return operation.path.format(kind="films", id="smooth", address="none.svg", paper="a4")


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda each: each.id)
def test_each_operation_takes_keys_of_its_scope_and_no_others(ask: Ask, operation: Operation) -> None:
    """Without a key 401, with one of another scope 403, with its own neither; what is public asks for none."""
    got = {key: ask(operation.method, path_of(operation), key) for key in (None, *PERMISSIONS, "all")}
    statuses = {key: answer.status_code for key, answer in got.items()}

    if operation.scope is None:
        assert not {401, 403} & set(statuses.values())
        return
    assert {key for key, status in statuses.items() if status not in {401, 403}} == {
        operation.scope,
        *operation.also,
        "all",
    }
    assert [None] == [key for key, status in statuses.items() if status == 401]
    for key, answer in got.items():
        if answer.status_code == 403:
            needed = f'{CHALLENGE}, error="insufficient_scope", scope="{operation.scope}"'
            assert ("out-of-scope", needed) == (problem_of(answer), answer.headers["www-authenticate"])
            assert f"needs a key with the scope `{operation.scope}`; {key} has: {key}." in answer.json()["detail"]


def test_the_gate_and_the_table_agree_on_what_is_public() -> None:
    """A path is public exactly where its operations need no scope, and so are the files of the page."""
    assert {each.id for each in OPERATIONS if each.scope is None} == {
        each.id for each in OPERATIONS if is_public(path_of(each))
    }
    assert is_public("/docs/swagger-ui-bundle.js")


@pytest.mark.parametrize(
    "path",
    [
        *("/", "//health/live", "/health", "/HEALTH/live", "/v1/health/live", "/openapi.json/", "/docsx", "/metrics"),
        *("/.well-known", "/v1/quotes/", "/nothing-here", "/%00", "/%2Fdocs"),
    ],
)
def test_what_only_looks_public_is_not(ask: Ask, path: str) -> None:
    """Whatever is not plainly public wants a key, also where there is nothing."""
    answer = ask("GET", path)

    assert (401, "key-required", CHALLENGE) == (
        answer.status_code, problem_of(answer), answer.headers["www-authenticate"],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/docs/../v1/book", 404),
        ("/docs//v1/book", 404),
        ("/docs/%2e%2e/v1/book", 404),
        ("/health/../v1/book", 404),
        ("/health/live/../../metrics", 404),
        ("/.well-known/../metrics", 404),
        ("/v1/../docs", 401),
        ("/v1/book/../../health/live", 401),
    ],
)
def test_no_path_leads_around_the_gate(app: Envelope, path: str, status: int) -> None:
    """As the server hands it on, for clients tidy it up: nothing that is not public is behind a public beginning."""
    sent: list[Any] = []

    async def send(message: Any) -> None:  # noqa: ANN401 - ASGI
        sent.append(message)

    scope = {
        "type": "http",
        "method": "GET",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [],
    }
    with capture_logs():
        asyncio.run(app(cast("Any", scope), cast("Any", None), send))

    assert status == sent[0]["status"]


@pytest.mark.parametrize(
    ("shown", "challenge"),
    [
        (None, CHALLENGE),
        ("", CHALLENGE),
        ("Basic dGlsbDpzZWNyZXQ=", CHALLENGE),
        ("{key}", CHALLENGE),
        ("Digest {key}", CHALLENGE),
        ("Bearer", INVALID),
        ("Bearer ", INVALID),
        ("Bearer{key}", INVALID),
        ("Bearer {key}x", INVALID),
        ("Bearer x{key}", INVALID),
        ("Bearer {key} ", INVALID),
        ("Bearer {key}, Bearer {key}", INVALID),
        ("Bearer {key} {key}", INVALID),
        ('Bearer "{key}"', INVALID),
        ("Bearer\t{key}", INVALID),
        ("Bearer token={key}", INVALID),
        ("Bearer {key}\xe9", INVALID),
        ("Bearer " + "x" * 60_000, INVALID),
    ],
    ids=lambda each: str(each)[:24],
)
def test_what_is_no_key_of_ours_is_told_apart_from_none(ask: Ask, shown: str | None, challenge: str) -> None:
    """No credentials of the scheme: no error code (RFC 6750 section 3.1); else `invalid_token`. The key is not said."""
    headers = {} if shown is None else {"authorization": shown.replace("{key}", KEY["all"]).encode("latin-1")}
    answer = ask("GET", "/v1/book", headers=headers)
    kind = "key-refused" if challenge is INVALID else "key-required"

    assert (401, kind, challenge) == (answer.status_code, problem_of(answer), answer.headers["www-authenticate"])
    assert KEY["all"] not in answer.text + str(answer.headers)


def test_two_keys_are_none(ask: Ask) -> None:
    """A field that comes twice is not taken for either."""
    two = httpx2.Headers([("authorization", f"Bearer {KEY['all']}"), ("authorization", f"Bearer {KEY['book']}")])

    assert "key-refused" == problem_of(ask("GET", "/v1/book", headers=two))


@pytest.mark.parametrize("scheme", ["Bearer", "bearer", "BEARER", "Bearer  "])
def test_the_scheme_is_written_as_one_likes(ask: Ask, scheme: str) -> None:
    """Its case does not matter, and there may be more than one space (RFC 9110 sections 11.1 and 11.4)."""
    assert 200 == ask("GET", "/v1/book", headers={"authorization": f"{scheme} {KEY['book']}"}).status_code


def test_a_key_in_the_query_is_none(ask: Ask) -> None:
    """Addresses end up in logs: the way of RFC 6750 section 2.3 is not taken."""
    assert "key-required" == problem_of(ask("GET", f"/v1/book?access_token={KEY['book']}"))


@pytest.mark.parametrize(("method", "path", "status"), [
    ("GET", "/nothing-here", 404),
    ("DELETE", "/v1/quotes", 405),
    ("OPTIONS", "/v1/quotes", 204),
    ("HEAD", "/v1/book", 200),
    ("TIDE", "/v1/book", 405),
])  # fmt: skip
def test_what_the_service_says_of_paths_and_methods_is_for_keys(ask: Ask, method: str, path: str, status: int) -> None:
    """401 without a key, and then what it is without keys."""
    assert [401, status] == [ask(method, path, key).status_code for key in (None, "all")]


def test_head_tells_of_refusals_without_a_body(ask: Ask) -> None:
    """The challenge is in the head; there is nothing after it."""
    answer = ask("HEAD", "/v1/book")

    assert (401, "", CHALLENGE) == (answer.status_code, answer.text, answer.headers["www-authenticate"])


def test_a_refusal_comes_before_the_body_is_looked_at(ask: Ask) -> None:
    """A body that would be malformed, too large or of another type is 401 all the same; nothing of it is read."""

    async def body() -> Any:  # noqa: ANN401 - an asynchronous generator
        raise AssertionError("nobody reads this")
        yield b""

    assert "key-required" == problem_of(ask("POST", "/v1/quotes", content=body()))


def test_a_key_that_asks_too_much_is_told_when_to_come_again(ask: Ask) -> None:
    """429 with Retry-After, for that key alone; whatever it asks for counts, and what is public does not."""
    first = [ask("GET", path, "slow").status_code for path in ("/nothing-here", "/v1/book")]
    refused = ask("POST", "/v1/quotes", "slow", json={}, headers={"accept-language": "de"})
    others = [ask("POST", "/v1/quotes", "ask", json={}).status_code, ask("GET", "/health/live", "slow").status_code]

    assert [404, 403] == first
    assert (429, "too-many-requests", "1") == (
        refused.status_code, problem_of(refused), refused.headers["retry-after"],
    )  # fmt: skip
    assert "Mit diesem Schlüssel kamen zu viele Anfragen" == refused.json()["title"]
    assert refused.json()["detail"].endswith("Fragen Sie in 1\N{NO-BREAK SPACE}s erneut.")
    assert ("de", True) == (refused.headers["content-language"], "Accept-Language" in refused.headers["vary"])
    assert [422, 200] == others


def test_health_is_not_refused_for_a_wrong_key(ask: Ask) -> None:
    """A proxy that sends one along gets its answer."""
    assert 200 == ask("GET", "/health/ready", headers={"authorization": "Bearer nonsense"}).status_code


def test_logs_and_metrics_name_a_key_and_never_show_it(app: Envelope) -> None:
    """Its id is on the line of each request; neither the key nor its digest is anywhere, whatever was asked."""
    shown = {"authorization": f"Bearer {KEY['all']}"}

    async def run() -> list[httpx2.Response]:
        async with httpx2.AsyncClient(
            transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test", headers=shown
        ) as client:
            return [
                *[await client.get(path) for path in ("/v1/book", "/nothing-here", "/health/live", "/metrics")],
                await client.post("/v1/quotes", content=b"{"),
                await client.get("/v1/book", headers={"authorization": f"Bearer {KEY['all']}x"}),
                await client.get(f"/v1/book?key={KEY['book']}"),
            ]

    with capture_logs() as lines:
        answers = asyncio.run(run())

    finished = [line for line in lines if line["event"] == "request.finished"]
    assert ["all", "all", "(public)", "all", "all", None, "all"] == [line["key"] for line in finished]
    digests = [line.partition('"sha256:')[2][:64] for line in entries().splitlines() if line.startswith("digest")]
    told = str(lines) + "".join(str(answer.headers) + answer.text for answer in answers[:-1])
    assert len(KEY) == len(digests)
    assert not [secret for secret in (*KEY.values(), *digests) if secret in told]


def test_without_keys_nobody_is_asked_for_one(book: Book) -> None:
    """A service on its own machine answers everybody everything, and says so in its log."""
    app = create_app(Settings(), book)

    async def run() -> list[int]:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            return [
                (await client.request(each.method, path_of(each), headers=shown)).status_code
                for each in OPERATIONS
                for shown in ({}, {"authorization": "Bearer nonsense"})
            ]

    with capture_logs() as lines:
        statuses = asyncio.run(run())

    assert not {401, 403, 429} & set(statuses)
    assert {"(keyless)"} == {line["key"] for line in lines if line["event"] == "request.finished"}
