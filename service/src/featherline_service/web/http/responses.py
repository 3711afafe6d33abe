"""Responses whose bytes are ready, as ASGI applications, which the framework sends as they are."""

from __future__ import annotations

from collections.abc import Sequence

from litestar.types import ASGIApp, Receive, Scope, Send


def success(
    body: bytes, media_type: str, headers: Sequence[tuple[bytes, bytes]] = (), coding: str | None = None
) -> ASGIApp:
    """Return a response with status 200 whose body is bytes, in the coding that is named."""
    encoded = [
        (b"content-type", media_type.encode()),
        (b"content-length", b"%d" % len(body)),
        *(() if coding is None else ((b"content-encoding", coding.encode()),)),
        *headers,
    ]

    async def serve(_scope: Scope, _receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": encoded})
        await send({"type": "http.response.body", "body": body, "more_body": False})

    return serve
