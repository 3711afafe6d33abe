"""Pages of other origins: what a browser is told, by the Fetch standard's CORS protocol."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import httpx2
import pytest
from litestar.testing import TestClient
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.settings import Settings
from featherline_service.web.server.caller_keys import Keys, mint
from featherline_service.web.server.envelope import Envelope

NOON: Final = datetime(2026, 6, 1, 12, tzinfo=UTC)
SHOP: Final = "https://shop.example"
TILL: Final = "http://127.0.0.1:3000"
OTHERS: Final = (
    *("https://evil.example", "http://shop.example", "https://shop.example:8443", "https://shop.example.evil.example"),
    *(
        "https://evilshop.example",
        "https://Shop.example",
        f"{SHOP}/",
        f"{SHOP} {TILL}",
        f"{SHOP}, {TILL}",
        "null",
        "*",
        "",
    ),
)
SAFELISTED: Final = {"content-type", "content-language", "content-length", "cache-control"}
"""Readable by every page: the Fetch standard, CORS-safelisted response-header names."""

Ask = Callable[..., httpx2.Response]


def asking(app: Envelope) -> Ask:
    """Return what asks an application: method, path, and what else httpx takes."""

    async def send(method: str, path: str, more: Any) -> httpx2.Response:  # noqa: ANN401 - httpx's
        transport = httpx2.ASGITransport(app, raise_app_exceptions=False)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.request(method, path, **more)

    def run(method: str, path: str, **more: Any) -> httpx2.Response:  # noqa: ANN401 - httpx's
        with capture_logs():
            return asyncio.run(send(method, path, more))

    return run


@pytest.fixture(scope="module")
def key() -> tuple[str, str]:
    """A key, and its entry."""
    return mint("till", NOON)


@pytest.fixture(scope="module")
def ask(key: tuple[str, str], tmp_path_factory: pytest.TempPathFactory) -> Ask:
    """Ask a service with keys and two origins."""
    path = tmp_path_factory.mktemp("keys") / "keys.toml"
    path.write_text(key[1].replace('["ask"]', '["ask", "book"]'))
    return asking(create_app(Settings(cors_origins=(SHOP, TILL)), load(), keys=Keys(path, lambda: NOON)))


def named(response: httpx2.Response, name: str) -> set[str]:
    """Return the names in a list of a header, in lower case."""
    return {each.strip().lower() for each in response.headers.get(name, "").split(",")} - {""}


@pytest.mark.parametrize("origin", [SHOP, TILL])
@pytest.mark.parametrize("path", ["/v1/quotes", "/v1/book/films", "/nothing-here"])
def test_a_preflight_from_an_origin_of_ours_is_answered_without_a_key(ask: Ask, origin: str, path: str) -> None:
    """It allows what the service takes, for two hours, and never credentials; what is at the path is told later."""
    wanted = {"access-control-request-method": "POST", "access-control-request-headers": "authorization,content-type"}
    answer = ask("OPTIONS", path, headers={"origin": origin, **wanted})

    assert (204, "", origin, "7200") == (
        answer.status_code, answer.text, answer.headers["access-control-allow-origin"],
        answer.headers["access-control-max-age"],
    )  # fmt: skip
    assert {"get", "head", "post"} == named(answer, "access-control-allow-methods")
    assert named(answer, "access-control-allow-headers") >= {
        *(
            "authorization",
            "content-encoding",
            "content-type",
            "if-none-match",
            "prefer",
            "traceparent",
            "tracestate",
            "x-request-id",
        )
    }
    assert "*" not in str(answer.headers)
    assert "access-control-allow-credentials" not in answer.headers
    assert "origin" in named(answer, "vary")
    assert answer.headers["x-request-id"]


@pytest.mark.parametrize("origin", OTHERS)
def test_a_preflight_from_elsewhere_is_no_more_than_any_request(ask: Ask, origin: str) -> None:
    """It is asked for a key, and nothing tells a browser to go on; origins are compared whole."""
    answer = ask("OPTIONS", "/v1/quotes", headers={"origin": origin, "access-control-request-method": "POST"})

    assert 401 == answer.status_code
    assert not [name for name in answer.headers if name.startswith("access-control-")]
    assert "origin" in named(answer, "vary")


def test_what_is_no_preflight_wants_a_key(ask: Ask, key: tuple[str, str]) -> None:
    """OPTIONS without a method that is asked for is a request like others, and may be read."""
    shown = {"authorization": f"Bearer {key[0]}"}
    without, with_key = (ask("OPTIONS", "/v1/quotes", headers={"origin": SHOP, **more}) for more in ({}, shown))

    assert [401, 204] == [without.status_code, with_key.status_code]
    assert {SHOP} == {each.headers["access-control-allow-origin"] for each in (without, with_key)}
    assert "POST" in with_key.headers["allow"]


@pytest.mark.parametrize(
    ("asked", "status", "shown"),
    [
        (("GET", "/v1/book/films"), 200, True),
        (("HEAD", "/v1/book/films"), 200, True),
        (("GET", "/v1/book"), 401, False),
        (("POST", "/v1/bulk"), 403, True),
        (("GET", "/nothing-here"), 404, True),
        (("DELETE", "/v1/quotes"), 405, True),
        (("POST", "/v1/quotes"), 415, True),
        (("GET", "/openapi.json"), 200, False),
        (("GET", "/.well-known/api-catalog"), 200, False),
        (("GET", "/health/live"), 200, False),
    ],
)
def test_every_answer_can_be_read_by_pages_of_ours_alone(
    ask: Ask, key: tuple[str, str], asked: tuple[str, str], status: int, shown: bool
) -> None:
    """Answers and problems alike, with all their headers; caches are told that the origin matters."""
    headers = {"authorization": f"Bearer {key[0]}"} if shown else {}
    ours, elsewhere, none = (
        ask(*asked, headers={**headers, **origin}) for origin in ({"origin": SHOP}, {"origin": OTHERS[0]}, {})
    )

    assert [status] * 3 == [each.status_code for each in (ours, elsewhere, none)]
    assert [SHOP, None, None] == [each.headers.get("access-control-allow-origin") for each in (ours, elsewhere, none)]
    assert all("origin" in named(each, "vary") for each in (ours, elsewhere, none))
    hidden = set(ours.headers) - named(ours, "access-control-expose-headers") - SAFELISTED
    assert not {name for name in hidden if not name.startswith("access-control-")} - {"vary"}
    assert "access-control-allow-credentials" not in ours.headers


def test_an_answer_that_is_there_already_can_be_read_too(ask: Ask) -> None:
    """304 has what 200 has."""
    tag = ask("GET", "/openapi.json").headers["etag"]
    answer = ask("GET", "/openapi.json", headers={"origin": SHOP, "if-none-match": tag})

    assert (304, SHOP) == (answer.status_code, answer.headers["access-control-allow-origin"])


def test_the_framework_is_started_and_stopped() -> None:
    """What is no request goes through untouched."""
    app = create_app(Settings(cors_origins=(SHOP,)), load())
    with capture_logs(), TestClient(app) as client:  # type: ignore[arg-type]
        assert 200 == client.get("/health/live").status_code


def test_without_origins_there_is_no_cors(tmp_path: Path, key: tuple[str, str]) -> None:
    """Unless it is set, no page of another origin reads anything, and nothing varies by it."""
    path = tmp_path / "keys.toml"
    path.write_text(key[1])
    ask = asking(create_app(Settings(), load(), keys=Keys(path, lambda: NOON)))
    preflight = ask("OPTIONS", "/v1/quotes", headers={"origin": SHOP, "access-control-request-method": "POST"})
    answer = ask("GET", "/health/live", headers={"origin": SHOP})

    assert [401, 200] == [preflight.status_code, answer.status_code]
    assert not [name for each in (preflight, answer) for name in each.headers if name.startswith("access-control-")]
    assert ["Accept-Language", None] == [each.headers.get("vary") for each in (preflight, answer)]
