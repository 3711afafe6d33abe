"""The "from" price over HTTP."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.settings import Settings

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"

Json = dict[str, Any]


@pytest.fixture
def request_() -> Json:
    """The example request."""
    found: Json = json.loads((EXAMPLES / "from-price-request.json").read_text(encoding="utf-8"))
    return found


def ask(body: Json) -> httpx2.Response:
    """Return the answer to a request."""

    async def run() -> httpx2.Response:
        transport = httpx2.ASGITransport(create_app(Settings(deadline=60), load()))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.post("/v1/from-prices", json=body)

    with capture_logs():
        return asyncio.run(run())


def test_one_request_names_the_cheapest(request_: Json) -> None:
    """One answer has the index of the cheapest, its price, and every candidate."""
    answer = ask(request_)
    found = answer.json()

    assert (200, 1, "7.50") == (answer.status_code, found["cheapest"], found["price"]["total"]["amount"])
    assert ["ready", "ready", "decline", None] == [each["verdict"] for each in found["candidates"]]


@pytest.mark.parametrize("count", [0, 25])
def test_none_and_too_many_are_refused(request_: Json, count: int) -> None:
    """From one candidate to 24."""
    answer = ask({"candidates": request_["candidates"][:1] * count})

    assert (422, "/candidates") == (answer.status_code, answer.json()["errors"][0]["pointer"])
