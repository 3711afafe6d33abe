"""What is found at well-known places."""

from __future__ import annotations

import asyncio
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.settings import Settings, read

BOOK: Final = load()
CONTACT: Final = "mailto:security@saltmarsh.test"


def ask(path: str, method: str = "GET", settings: Settings | None = None) -> httpx2.Response:
    """Return the answer of a service with settings."""

    async def send() -> httpx2.Response:
        transport = httpx2.ASGITransport(create_app(settings or Settings(), BOOK))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.request(method, path)

    with capture_logs():
        return asyncio.run(send())


def test_the_catalog_is_a_set_of_links() -> None:
    """Media type, profile and form are those of RFC 9727 sections 2 to 4 and RFC 9264 section 4.2."""
    answer = ask("/.well-known/api-catalog")
    items, described = answer.json()["linkset"]

    assert (
        'application/linkset+json; profile="https://www.rfc-editor.org/info/rfc9727"' == answer.headers["content-type"]
    )
    assert {"service-desc", "service-doc", "status"} == set(described) - {"anchor"}
    assert {"href": "/v1/quotes"} in items["item"]


def test_every_link_of_the_catalog_leads_somewhere() -> None:
    """What is described and shown answers with the type that the link names; an endpoint at the least exists."""
    items, described = ask("/.well-known/api-catalog").json()["linkset"]

    for relation in ("service-desc", "service-doc", "status"):
        (link,) = described[relation]
        found = ask(link["href"])
        assert (200, link["type"]) == (found.status_code, found.headers["content-type"].partition(";")[0])
    assert {204} == {ask(link["href"], "OPTIONS").status_code for link in items["item"]}


def test_the_catalog_is_found_by_its_head() -> None:
    """HEAD has the link and no body (RFC 9727 section 2)."""
    answer = ask("/.well-known/api-catalog", "HEAD")

    assert (200, b"", '</.well-known/api-catalog>; rel="api-catalog"') == (
        answer.status_code, answer.content, answer.headers["link"],
    )  # fmt: skip


def test_whoever_runs_it_is_told_of_weaknesses() -> None:
    """The fields that RFC 9116 section 2.5 requires, a line each, as text in UTF-8."""
    soon = (datetime.now(UTC) + timedelta(days=30)).replace(microsecond=0)
    named = {"SECURITY_CONTACT": CONTACT, "SECURITY_EXPIRES": soon.isoformat()}
    answer = ask("/.well-known/security.txt", settings=read({f"FEATHERLINE_{name}": named[name] for name in named}))

    assert (200, "text/plain; charset=utf-8") == (answer.status_code, answer.headers["content-type"])
    assert f"Contact: {CONTACT}\r\nExpires: {soon:%Y-%m-%dT%H:%M:%SZ}\r\n" == answer.text


@pytest.mark.parametrize(
    "settings",
    [Settings(), Settings(security_contact=CONTACT, security_expires=datetime(2026, 1, 1, tzinfo=UTC))],
    ids=["nobody", "expired"],
)
def test_nobody_is_named_whom_nobody_set_or_whose_time_is_over(settings: Settings) -> None:
    """There is nothing at the path then, and the answer says why."""
    answer = ask("/.well-known/security.txt", settings=settings)

    assert (404, "urn:featherline:problem:no-such-path") == (answer.status_code, json.loads(answer.content)["type"])
    assert "no contact that is in force" in answer.json()["detail"]


def test_the_promise_to_callers_is_in_the_readme() -> None:
    """The notice that the code holds to is the one that people read."""
    readme = (Path(__file__).parents[4] / "README.md").read_text(encoding="utf-8")

    assert "180 days" in readme
