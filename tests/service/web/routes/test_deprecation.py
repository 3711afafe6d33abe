"""Deprecated operations: told on every answer, success or problem, and in the description."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any, Final

import httpx2
import pytest
from litestar import Litestar, Request
from litestar.types import ASGIApp
from msgspec.structs import replace
from structlog.testing import capture_logs

from featherline_service.web.http import problems
from featherline_service.web.http.responses import success
from featherline_service.web.openapi import description
from featherline_service.web.routes.deprecation import Deprecation
from featherline_service.web.routes.health import CHECK_LIVE
from featherline_service.web.routes.operations import Operation
from featherline_service.web.server.envelope import Envelope

EXAMPLES: Final = Path(__file__).parents[4] / "openapi" / "examples"
SINCE: Final = datetime(2026, 6, 1, 12, tzinfo=UTC)
GOING: Final = Deprecation(since=SINCE, told_at="/docs#news", sunset=datetime(2027, 1, 31, 23, 59, 59, tzinfo=UTC))
MARKED: Final = replace(CHECK_LIVE, path="/tide", deprecation=GOING)


def ask(operation: Operation, query: str = "") -> Mapping[str, str]:
    """Return the headers of the answer to an operation that is served alone."""

    async def answer(_request: Request[Any, Any, Any]) -> ASGIApp:
        return success(b"{}", "application/json")

    async def send() -> httpx2.Response:
        app = Litestar(
            [operation.handler(answer)], exception_handlers={Exception: problems.respond}, openapi_config=None
        )
        async with httpx2.AsyncClient(
            transport=httpx2.ASGITransport(Envelope(app)), base_url="http://saltmarsh.test"
        ) as client:
            return await client.get(operation.path + query)

    with capture_logs():
        response = asyncio.run(send())
    return {**response.headers, "status": str(response.status_code)}


@pytest.mark.parametrize(("query", "status"), [("", "200"), ("?x=1", "400")])
def test_every_answer_of_what_is_to_go_says_so(query: str, status: str) -> None:
    """The dates are written as RFC 9745 section 2 and RFC 8594 section 3 write theirs; seconds by `date -d ... +%s`."""
    headers = ask(MARKED, query)

    assert (status, "@1780315200", "Sun, 31 Jan 2027 23:59:59 GMT", '</docs#news>; rel="deprecation"') == tuple(
        headers[name] for name in ("status", "deprecation", "sunset", "link")
    )


def test_what_ends_nobody_knows_when_has_no_sunset() -> None:
    """An operation may be deprecated before it is known when it ends; one that stays says nothing."""
    open_end, staying = (
        ask(replace(MARKED, deprecation=each)) for each in (Deprecation(since=SINCE, told_at="/docs"), None)
    )

    assert ("@1780315200", None) == (open_end["deprecation"], open_end.get("sunset"))
    assert not {"deprecation", "sunset", "link"} & set(staying)


def test_the_description_marks_what_is_to_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """`deprecated` on the operation, and the fields on all its answers."""
    monkeypatch.setattr(description, "OPERATIONS", (MARKED, replace(MARKED, path="/ebb", deprecation=None)))
    going, staying = (path["get"] for path in description.document(EXAMPLES)["paths"].values())

    assert (True, None) == (going["deprecated"], staying.get("deprecated"))
    fields = {"Deprecation", "Sunset", "Link"}
    assert {"200", "400", "406", "500"} <= set(going["responses"]) == set(staying["responses"])
    assert all(fields <= set(each["headers"]) for each in going["responses"].values())
    assert not any(fields & set(each["headers"]) for each in staying["responses"].values())


@pytest.mark.parametrize("days", [-1, 179])
def test_what_is_to_go_stays_for_the_promised_time(days: int) -> None:
    """An end that comes too soon cannot be written down."""
    with pytest.raises(ValueError, match="180 more days"):
        Deprecation(since=SINCE, told_at="/docs", sunset=SINCE + timedelta(days=days))


def test_instants_are_in_utc() -> None:
    """An HTTP date knows nothing else (RFC 9110 section 5.6.7)."""
    with pytest.raises(ValueError, match="in UTC"):
        Deprecation(since=SINCE.astimezone(timezone(timedelta(hours=1))), told_at="/docs")
