"""The way in: browsers that open the bare address are led to the counter. Programs get there what they always got."""

from __future__ import annotations

from typing import Final

from litestar.enums import ScopeType
from litestar.types import ASGIApp, Receive, Scope, Send

from featherline_service.web.counter.files import COUNTER, HTML, POLICY
from featherline_service.web.http.context import header
from featherline_service.web.http.negotiation import JSON, preferred

_PAGE: Final = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>featherline</title></head><body>'
    f'<p>The counter is at <a href="{COUNTER}">{COUNTER}</a>, the service\'s documentation at '
    '<a href="/docs">/docs</a>.</p></body></html>\n'
).encode()
_HEADERS: Final = [
    (b"location", COUNTER.encode()),
    (b"link", b'</docs>; rel="service-doc", </openapi.json>; rel="service-desc"'),
    (b"content-type", f"{HTML}; charset=utf-8".encode()),
    (b"content-length", b"%d" % len(_PAGE)),
    (b"content-security-policy", POLICY.encode()),
    (b"vary", b"Accept"),
]


class Entrance:
    """An ASGI application around another: answers whoever prefers HTML at `/` before a key is asked for."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if (
            scope["type"] == ScopeType.HTTP
            and scope["path"] == "/"
            and scope["method"] == "GET"
            and not scope["query_string"]
            and preferred(header(scope, b"accept"), (JSON, HTML)) == HTML
        ):
            await send({"type": "http.response.start", "status": 303, "headers": _HEADERS})
            await send({"type": "http.response.body", "body": _PAGE, "more_body": False})
        else:
            await self._app(scope, receive, send)
