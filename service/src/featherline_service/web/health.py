"""Whether the process lives, and whether it can answer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import msgspec
from litestar import Response, get
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from featherline.wire.texts import Engine, Revision
from featherline_service.book.shelves import Book
from featherline_service.engine import ENGINE
from featherline_service.web.representations import JSON

_FRESH: Final = {"cache-control": "no-store"}


class Live(Struct, frozen=True, kw_only=True):
    """The process runs and answers."""

    status: Literal["live"] = "live"


class Ready(Struct, frozen=True, kw_only=True):
    """The service can answer questions, by this book and engine."""

    status: Literal["ready"] = "ready"
    book: Revision
    engine: Engine


def handlers(book: Book) -> Sequence[HTTPRouteHandler]:
    """Return the handlers of the health checks."""
    live = msgspec.json.encode(Live())
    ready = msgspec.json.encode(Ready(book=book.revision, engine=ENGINE))

    @get("/health/live", name="checkLive")
    async def check_live() -> Response[bytes]:
        return Response(live, media_type=JSON, headers=_FRESH)

    @get("/health/ready", name="checkReady")
    async def check_ready() -> Response[bytes]:
        return Response(ready, media_type=JSON, headers=_FRESH)

    return [check_live, check_ready]
