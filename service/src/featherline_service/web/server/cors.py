"""Cross-origin requests: the pages that browsers let read our answers (the Fetch standard's CORS protocol).

The framework's own layer sits inside authentication, so it would not reach refusals of keys; it also answers preflights
with plain text and replaces the Vary of others.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Receive, Scope, Send

from featherline_service.web.http.context import context_of, header

# In addition to what the standard lets every page send and read.
_PREFLIGHT: Final = (
    (b"access-control-allow-methods", b"GET, HEAD, POST"),
    (
        b"access-control-allow-headers",
        (
            b"Authorization, Book-Revision, Content-Encoding, Content-Type, If-None-Match, Prefer, Traceparent, "
            b"Tracestate, X-Request-Id"
        ),
    ),
    (b"access-control-max-age", b"7200"),  # seconds
)
_READABLE: Final = (
    b"access-control-expose-headers",
    (
        b"Accept, Accept-Encoding, Allow, Book-Revision, Book-Until, Content-Encoding, Deprecation, ETag, Link, "
        b"Preference-Applied, RateLimit, RateLimit-Policy, Retry-After, Sunset, WWW-Authenticate, X-Request-Id"
    ),
)
_VARY: Final = (b"vary", b"Origin")


class Cors:
    """An ASGI application around another, for the pages of some origins. Cookies are never allowed."""

    def __init__(self, app: ASGIApp, origins: Collection[str]) -> None:
        self._app = app
        self._origins = frozenset(origins)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        context = context_of(scope)
        context.response_headers = (*context.response_headers, _VARY)
        origin = header(scope, b"origin")
        if origin in self._origins:
            allowed = (b"access-control-allow-origin", origin.encode())
            context.response_headers = (*context.response_headers, allowed, _READABLE)
            if _is_preflight(scope):
                # Answered before authentication, as a preflight has no key. The path is not checked here.
                await send({"type": "http.response.start", "status": 204, "headers": _PREFLIGHT})
                await send({"type": "http.response.body", "body": b"", "more_body": False})
                return
        await self._app(scope, receive, send)


def _is_preflight(scope: HTTPScope) -> bool:
    return scope["method"] == "OPTIONS" and header(scope, b"access-control-request-method") is not None
