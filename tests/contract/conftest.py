"""The real service with the demo book, in this process, asked over ASGI."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.settings import Settings
from featherline_service.signatures import temporary_keys
from featherline_service.web.routes.seals import Seals
from featherline_service.web.server.envelope import Envelope

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"

Ask = Callable[..., httpx2.Response]


@pytest.fixture(scope="session")
def app() -> Envelope:
    """The real service, where it is always noon."""
    return create_app(Settings(), sealing=Seals(temporary_keys(), timedelta(days=30), lambda: NOON))


@pytest.fixture(scope="session")
def ask(app: Envelope) -> Ask:
    """Send a request: method, path, and what else httpx takes."""

    async def send(method: str, path: str, **more: Any) -> httpx2.Response:  # noqa: ANN401 - as httpx takes it
        transport = httpx2.ASGITransport(app, raise_app_exceptions=False)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.request(method, path, **more)

    def run(method: str, path: str, **more: Any) -> httpx2.Response:  # noqa: ANN401 - as httpx takes it
        with capture_logs():
            return asyncio.run(send(method, path, **more))

    return run


@pytest.fixture
def order() -> dict[str, Any]:
    """An order that can be done: the example."""
    found: dict[str, Any] = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
    return found
