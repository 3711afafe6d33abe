"""The application as it is put together."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx2
import pytest
from litestar.testing import TestClient
from msgspec.structs import replace
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.faults import BookError
from featherline_service.book.loader import demo_folder, load
from featherline_service.settings import Settings
from featherline_service.web.server.caller_keys import KeyFileError, mint
from featherline_service.web.server.envelope import Envelope

SOURCE = """
[[record]]
id = "tide-table"
name = "Tide table"
kind = "invented"
reference = "Invented for a test."
"""


def send(app: Envelope, method: str, path: str, content: bytes = b"", **headers: str) -> httpx2.Response:
    """Return the answer of an application to a JSON body."""

    async def ask() -> httpx2.Response:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.request(
                method, path, content=content, headers={"content-type": "application/json", **headers}
            )

    with capture_logs():
        return asyncio.run(ask())


def test_the_book_is_the_one_that_the_settings_name(tmp_path: Path) -> None:
    """A shop's folder is laid over the demo book, and its records are served under another revision."""
    (tmp_path / "book.toml").write_text('mode = "overlay"\n')
    (tmp_path / "sources").mkdir()
    (tmp_path / "sources" / "tides.toml").write_text(SOURCE)

    app = create_app(Settings(book=(tmp_path,)))

    answer = send(app, "GET", "/v1/book/sources/tide-table").json()
    assert answer["record"]["reference"] == "Invented for a test."
    assert answer["book"] != load().revision


def test_a_book_that_cannot_be_used_makes_no_application(tmp_path: Path) -> None:
    """The error of the book is the error of the start."""
    (tmp_path / "book.toml").write_text('mode = "overlay"\n')
    (tmp_path / "sources").mkdir()
    (tmp_path / "sources" / "tides.toml").write_text("[[record]]\n")

    with pytest.raises(BookError, match=r"tides\.toml"):
        create_app(Settings(book=(tmp_path,)))


def test_a_panel_that_cannot_be_drawn_makes_no_application(tmp_path: Path) -> None:
    """A shoe whose outline is no path is found out at the start, not when it is asked for."""
    shoe = (demo_folder() / "shoes" / "ward-clog.toml").read_text("utf-8")
    shoe = shoe.replace('outline = "M3 16 C', 'outline = "M3 16 X')
    (tmp_path / "book.toml").write_text('mode = "overlay"\n')
    (tmp_path / "shoes").mkdir()
    (tmp_path / "shoes" / "ward-clog.toml").write_text(shoe)

    with pytest.raises(BookError, match=r"ward-clog\.toml:\d+: ward-clog: panels\[0\]\.outline: "):
        create_app(Settings(book=(tmp_path,)))


def test_a_book_in_memory_is_served_as_it_is() -> None:
    """A book that is given is not loaded again."""
    book = replace(load(), revision="sha256:" + "7" * 64)

    assert send(create_app(Settings(), book), "GET", "/health/ready").json()["book"] == book.revision


def test_the_largest_body_is_the_settings_own() -> None:
    """A smaller limit is a smaller limit."""
    app = create_app(Settings(max_body=1024), load())

    assert [422, 413] == [send(app, "POST", "/v1/quotes", b"{}".ljust(length)).status_code for length in (1024, 1025)]


def test_keys_are_those_that_the_settings_name(tmp_path: Path) -> None:
    """By the clock of the machine: a key of this year opens, one of the last does not; a broken file makes nothing."""
    path = tmp_path / "keys.toml"
    now = datetime.now(UTC)
    (key, entry), (old, old_entry) = mint("till", now), mint("old-till", now - timedelta(days=366))
    path.write_text(entry + old_entry)
    app = create_app(Settings(keys=path), load())
    statuses = [send(app, "GET", "/nothing-here", authorization=f"Bearer {each}").status_code for each in (key, old)]
    path.write_text("")

    assert [404, 401] == statuses
    with pytest.raises(KeyFileError, match=r"keys\.toml: not a usable file of keys"):
        create_app(Settings(keys=path), load())


def test_the_frameworks_test_client_drives_it() -> None:
    """Whoever tests with the framework's own client, lifespan and all, can."""
    with capture_logs(), TestClient(create_app(Settings(), load())) as client:  # type: ignore[arg-type]
        assert client.get("/health/live").json() == {"status": "live"}
