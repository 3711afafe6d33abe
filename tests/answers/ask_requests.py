"""Ask the service of one source tree every request, and write its answers: what ``compare_answers.py`` runs twice.

``python ask_requests.py TREE REQUESTS ANSWERS``, with the tree's ``sdk/src`` and ``service/src`` first on the path.
Requests and answers are JSON lines. Of the service it needs `create_app` and `Settings` alone, so that it can ask
commits whose modules lie elsewhere.
"""

from __future__ import annotations

import asyncio
import base64
import json
import sys
from pathlib import Path
from typing import Any, Final

import httpx2
from structlog.testing import capture_logs

import featherline
import featherline_service
from featherline_service.app import create_app
from featherline_service.settings import Settings

TEXTS: Final = ("json", "jsonl", "svg+xml", "html")
"""Ends of the media types that are texts."""
UNREPEATED: Final = frozenset({"x-request-id", "content-length", "date"})
"""Header fields that differ from one asking to the next; the length does as the seal's does."""


def body_of(request: dict[str, Any]) -> bytes | None:
    """Return the bytes that a stored request sends: `body` as JSON, or `raw` as it is (surrogates: single bytes)."""
    if "raw" in request:
        raw: str = request["raw"]
        return raw.encode("utf-8", "surrogateescape")
    return json.dumps(request["body"], ensure_ascii=False).encode() if "body" in request else None


def headers_of(request: dict[str, Any]) -> dict[str, str]:
    """Return the header fields that a stored request sends."""
    headers = {"accept": request.get("accept", "*/*")}
    if "raw" in request or "body" in request:
        headers["content-type"] = request.get("type", "application/json")
    return headers


async def answers(requests: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the answers of the service on the path to stored requests: status, header fields and body."""
    given = []
    app = create_app(Settings(deadline=60))
    transport = httpx2.ASGITransport(app, raise_app_exceptions=False)  # type: ignore[arg-type]  # typed more widely
    async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
        for request in requests:
            response = await client.request(
                request.get("method", "POST"), request["path"], content=body_of(request), headers=headers_of(request)
            )
            headers = {name: value for name, value in sorted(response.headers.items()) if name not in UNREPEATED}
            is_text = response.headers.get("content-type", "").partition(";")[0].endswith(TEXTS)
            body = {"text": response.text} if is_text else {"base64": base64.b64encode(response.content).decode()}
            given.append({"status": response.status_code, "headers": headers, **body})
    return given


def refuse_other_code(tree: Path) -> None:
    """Exit unless the packages were imported from the tree: an installed one may stand in its way."""
    for package, sources in ((featherline, "sdk/src"), (featherline_service, "service/src")):
        place = Path(package.__file__ or "").resolve()
        if not place.is_relative_to((tree / sources).resolve()):
            sys.exit(f"{package.__name__} was imported from {place}, not from {tree / sources}")


def main(tree: str, requests: str, into: str) -> None:
    """Ask, and write."""
    refuse_other_code(Path(tree))
    asked = [json.loads(line) for line in Path(requests).read_text("utf-8").splitlines()]
    with capture_logs():
        given = asyncio.run(answers(asked))
    Path(into).write_text("".join(f"{json.dumps(answer)}\n" for answer in given), "utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
