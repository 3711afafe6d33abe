"""Health checks: whether the process is alive, and whether it can answer questions."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any, Final, Literal

import msgspec
from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from featherline.wire.texts import Engine, Revision
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.answering.revisions import Revisions
from featherline_service.web.http.context import context_of
from featherline_service.web.http.negotiation import JSON
from featherline_service.web.http.problems import STOPPING, ProblemError
from featherline_service.web.routes.operations import Operation

_FRESH: Final = {"cache-control": "no-store"}


class Live(Struct, frozen=True, kw_only=True):
    """The process runs and answers."""

    status: Literal["live"] = "live"


class Ready(Struct, frozen=True, kw_only=True):
    """The service can answer questions, by this book and engine."""

    status: Literal["ready"] = "ready"
    book: Revision
    engine: Engine


_check: Final = partial(Operation, tag="health", scope=None, headers=("Cache-Control",), coded=False)

CHECK_LIVE: Final = _check(
    id="checkLive",
    path="/health/live",
    summary="Check that the process lives",
    answered=(Live,),
    examples=((None, "live-answer"),),
)
CHECK_READY: Final = _check(
    id="checkReady",
    path="/health/ready",
    summary="Check that the service can answer questions",
    answered=(Ready,),
    examples=((None, "ready-answer"),),
    own_problems=(STOPPING,),
)
OPERATIONS: Final = (CHECK_LIVE, CHECK_READY)


def handlers(revisions: Revisions) -> Sequence[HTTPRouteHandler]:
    """Return the handlers of the health checks."""
    live = msgspec.json.encode(Live())
    ready = [msgspec.json.encode(Ready(book=book.revision, engine=ENGINE)) for book in revisions.books]

    async def check_live(_request: Request[Any, Any, Any]) -> Response[bytes]:
        return Response(live, media_type=JSON, headers=_FRESH)

    async def check_ready(request: Request[Any, Any, Any]) -> Response[bytes]:
        if context_of(request.scope).stopping:
            raise ProblemError(
                STOPPING, "Ask another replica, or this address again in a few seconds.", headers={"retry-after": "5"}
            )
        return Response(ready[revisions.number()], media_type=JSON, headers=_FRESH)

    return [CHECK_LIVE.handler(check_live), CHECK_READY.handler(check_ready)]
