"""Pages of other origins: which of them browsers let read our answers (the Fetch standard's CORS protocol).

The framework's own layer sits inside the shell's, so it would not reach refusals of keys; it also answers preflights
with plain text and replaces the Vary of others.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Final, cast

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Receive, Scope, Send

from featherline_service.web.http.headers import header
from featherline_service.web.server.envelope import ADDED

# Beside what every page may send and read (the safelists of the standard).
_PREFLIGHT: Final = (
    (b"access-control-allow-methods", b"GET, HEAD, POST"),
    (
        b"access-control-allow-headers",
        b"Authorization, Content-Encoding, Content-Type, If-None-Match, Prefer, Traceparent, Tracestate, X-Request-Id",
    ),
    (b"access-control-max-age", b"7200"),  # seconds
)
_READ: Final = (
    b"access-control-expose-headers",
    (
        b"Accept, Accept-Encoding, Allow, Content-Encoding, Deprecation, ETag, Link, Preference-Applied, Retry-After, "
        b"Sunset, WWW-Authenticate, X-Request-Id"
    ),
)
_VARY: Final = (b"vary", b"Origin")


class Cors:
    """An ASGI application around another, for the pages of some origins. Cookies and the like are never asked for."""

    def __init__(self, app: ASGIApp, origins: Collection[str]) -> None:
        self._app = app
        self._origins = frozenset(origins)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] != ScopeType.HTTP:
            await self._app(scope, receive, send)
            return
        noted = cast("dict[str, Any]", scope)
        noted[ADDED] += (_VARY,)
        origin = header(scope, b"origin")
        if origin in self._origins:
            noted[ADDED] += ((b"access-control-allow-origin", origin.encode()), _READ)
            if _is_preflight(scope):
                # Before the key is asked for, which a preflight never has. Whether there is anything at the path, the
                # request itself will tell.
                await send({"type": "http.response.start", "status": 204, "headers": _PREFLIGHT})
                await send({"type": "http.response.body", "body": b"", "more_body": False})
                return
        await self._app(scope, receive, send)


def _is_preflight(scope: HTTPScope) -> bool:
    return scope["method"] == "OPTIONS" and header(scope, b"access-control-request-method") is not None
