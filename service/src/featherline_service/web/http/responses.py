"""Responses that are ASGI applications of their own."""

from __future__ import annotations

from collections.abc import Sequence

from litestar import Response
from litestar.types import ASGIApp, Receive, Scope, Send


class Direct(Response[bytes]):
    """A response that sends for itself: while it reads the body, or bytes that are all there.

    What the framework would prepare for a response (cookies, encoders, headers that can still be changed) takes a fifth
    of the time of an answer that was kept, and nothing here has any use for it.
    """

    def __init__(self, serve: ASGIApp) -> None:
        self._serve = serve

    def to_asgi_response(self, *_: object, **__: object) -> ASGIApp:  # type: ignore[override]  # all that is asked of it
        """Return the application."""
        return self._serve


def ready(
    body: bytes, media_type: str, headers: Sequence[tuple[bytes, bytes]] = (), coding: str | None = None
) -> Direct:
    """Return the response of a success whose body is there, in a coding where one is named."""
    encoded = [
        (b"content-type", media_type.encode()),
        (b"content-length", b"%d" % len(body)),
        *(() if coding is None else ((b"content-encoding", coding.encode()),)),
        *headers,
    ]

    async def serve(_scope: Scope, _receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": encoded})
        await send({"type": "http.response.body", "body": body, "more_body": False})

    return Direct(serve)
