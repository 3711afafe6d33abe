"""Who opens the bare address."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.settings import Settings
from featherline_service.web.server.caller_keys import Keys, mint

BOOK: Final = load()
BROWSER: Final = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"


def ask(path: str, accept: str | None, keys: Keys | None = None) -> httpx2.Response:
    """Return the answer of a service, not followed where it leads elsewhere."""

    async def send() -> httpx2.Response:
        transport = httpx2.ASGITransport(create_app(Settings(), BOOK, keys=keys))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.get(path, headers={} if accept is None else {"accept": accept})

    with capture_logs():
        return asyncio.run(send())


def test_browsers_are_led_to_the_counter() -> None:
    """Whoever prefers HTML is sent on, and told where the documentation is."""
    answer = ask("/", BROWSER)

    assert (303, "/counter", "Accept") == (answer.status_code, answer.headers["location"], answer.headers["vary"])
    assert '</docs>; rel="service-doc"' in answer.headers["link"]
    assert '<a href="/docs">' in answer.text


@pytest.mark.parametrize(
    ("path", "accept"),
    [("/", None), ("/", "*/*"), ("/", "application/json"), ("/", "application/json, text/html"), ("/?a=1", BROWSER)],
)
def test_programs_get_what_they_always_got(path: str, accept: str | None) -> None:
    """JSON is the answer to whoever does not prefer HTML: there is nothing at this path."""
    answer = ask(path, accept)

    assert (404, "application/problem+json") == (answer.status_code, answer.headers["content-type"])


def test_browsers_come_in_without_a_key_and_programs_do_not(tmp_path: Path) -> None:
    """The page asks for the key itself; the rest asks for it as before."""
    file = tmp_path / "keys.toml"
    file.write_text(mint("till", datetime.now(UTC))[1], "utf-8")
    keys = Keys(file)

    assert (303, 401) == (ask("/", BROWSER, keys).status_code, ask("/", None, keys).status_code)
    assert (200, 401) == (ask("/counter", BROWSER, keys).status_code, ask("/v1/catalogue", None, keys).status_code)
