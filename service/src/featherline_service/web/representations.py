"""Which representation a caller accepts, and whether it has it already."""

from __future__ import annotations

from typing import Any

from litestar import Request, Response
from litestar.connection import ASGIConnection
from litestar.datastructures.headers import Accept
from litestar.handlers.base import BaseRouteHandler

from featherline_service.web.operations import JSON
from featherline_service.web.problems import NOT_ACCEPTABLE, UNKNOWN_PARAMETER, ProblemError


def refuse_parameters(connection: ASGIConnection[Any, Any, Any, Any], _: BaseRouteHandler) -> None:
    """Raise the problem of a query with parameters: no resource takes any."""
    if connection.scope.get("query_string"):
        names = ", ".join(sorted({repr(name) for name in connection.query_params}))
        raise ProblemError(UNKNOWN_PARAMETER, f"This path takes no query parameters; it was given {names}.")


def refuse_accept(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    """Raise the problem of an Accept header that rules out what the handler produces."""
    accept = connection.headers.get("accept")
    media_type = handler.opt.get("produces", JSON)
    if accept and accept != "*/*" and Accept(accept).best_match([media_type]) is None:
        raise ProblemError(NOT_ACCEPTABLE, f"This path answers with {media_type}; Accept was {accept!r}.")


def conditional(request: Request[Any, Any, Any], body: bytes, tag: str, media_type: str = JSON) -> Response[bytes]:
    """Return a response that a cache may keep and must revalidate; 304 without a body when the caller has it."""
    headers = {"etag": tag, "cache-control": "no-cache"}
    if _has(request.headers.get("if-none-match", ""), tag):
        return Response(b"", status_code=304, headers=headers, media_type=media_type)
    return Response(body, headers=headers, media_type=media_type)


def _has(if_none_match: str, tag: str) -> bool:
    """Whether an If-None-Match names a tag; compared weakly (RFC 9110 section 13.1.2)."""
    given = [part.strip().removeprefix("W/") for part in if_none_match.split(",")]
    return if_none_match.strip() == "*" or tag in given
