"""Write the example answers beside the example requests: ``python tests/sdk/answers.py``.

They are what the real service answers, in this process and with the demo book; a test compares them with fresh ones.
"""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Final

import httpx2
import msgspec
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.settings import Settings

EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
ANSWERS: Final = {
    "quote-request": ("/v1/quotes", "quote-answer"),
    "walk-in": ("/v1/quotes", "walk-in-answer"),
    "clog": ("/v1/quotes", "clog-answer"),
    "recipe-request": ("/v1/recipes", "recipe-answer"),
    "fit-request": ("/v1/fits", "fit-answer"),
    "cost-request": ("/v1/costs", "cost-answer"),
    "cost-request-measures": ("/v1/costs", "cost-answer-measures"),
    "trial-request": ("/v1/trials", "trial-answer"),
}


async def answers() -> dict[str, bytes]:
    """Return a fresh answer to every example request, by the name of its file, as indented JSON."""
    fresh = {}
    transport = httpx2.ASGITransport(create_app(Settings()))
    async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
        for asked, (path, name) in ANSWERS.items():
            request = (EXAMPLES / f"{asked}.json").read_bytes()
            response = await client.post(path, content=request, headers={"Content-Type": "application/json"})
            response.raise_for_status()
            fresh[name] = msgspec.json.format(response.content, indent=2) + b"\n"
    return fresh


if __name__ == "__main__":
    with capture_logs():
        fresh = asyncio.run(answers())
    for name, content in fresh.items():
        (EXAMPLES / f"{name}.json").write_bytes(content)
