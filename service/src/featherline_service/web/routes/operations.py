"""What the service can be asked: one record per operation, from which come its route and its description alike."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Final, Literal

from litestar import Request, Response, route
from litestar.handlers import HTTPRouteHandler
from msgspec import Struct

from featherline_service.web.http.codings import wish_of
from featherline_service.web.http.deprecation import Deprecation
from featherline_service.web.http.negotiation import JSON, refuse_accept, refuse_parameters
from featherline_service.web.http.problems import (
    BAD_REQUEST,
    BODY_TOO_LARGE,
    BODY_TOO_SLOW,
    BUSY,
    HEAD_TOO_LARGE,
    HEAD_TOO_SLOW,
    INTERNAL,
    KEY_REFUSED,
    KEY_REQUIRED,
    MALFORMED_BODY,
    NOT_ACCEPTABLE,
    OUT_OF_SCOPE,
    REFUSED,
    TOO_LATE,
    TOO_MANY_REQUESTS,
    UNKNOWN_PARAMETER,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemKind,
)
from featherline_service.web.server.authentication import refuse_scope
from featherline_service.web.server.caller_keys import Permission
from featherline_service.web.server.envelope import ADDED

_ALWAYS: Final = (BAD_REQUEST, UNKNOWN_PARAMETER, NOT_ACCEPTABLE, HEAD_TOO_SLOW, HEAD_TOO_LARGE, INTERNAL)
_WITH_A_BODY: Final = (MALFORMED_BODY, BODY_TOO_SLOW, BODY_TOO_LARGE, UNSUPPORTED_MEDIA_TYPE, REFUSED, TOO_LATE, BUSY)
_WITH_A_KEY: Final = (KEY_REQUIRED, KEY_REFUSED, OUT_OF_SCOPE, TOO_MANY_REQUESTS)

Answering = Callable[[Request[Any, Any, Any]], Awaitable[Response[bytes]]]


class Link(Struct, frozen=True, kw_only=True):
    """Where an answer leads: another operation, and where in the answer its parameters are (runtime expressions)."""

    to: str
    parameters: Mapping[str, str]


class Operation(Struct, frozen=True, kw_only=True):
    """One method on one path.

    `scope` is what a key must allow for it, where the service has keys; None for what is there for everybody.
    `asked` is the type of the request's body, None if it has none, and `takes` are its media types; `answered` holds
    the types that an answer's body may be of, none if they are not ours. `pictures` are media types that the same
    answer has when Accept prefers them.
    `parameters` are the types of the variables in the path. `revalidated` answers carry an ETag and may be 304.
    `coded` answers are sent in a coding that the caller takes, where they gain by it.
    `headers` are more fields that a success may have. Where `waits`, the caller may say for how long (`Prefer`).
    What is to go has a `deprecation`.
    `examples` are pairs of files: a request, None where there is none to send, and its
    answer. `links` are named by what they lead to.
    """

    id: str
    method: Literal["GET", "POST"]
    path: str
    tag: str
    scope: Permission | None
    summary: str
    description: str = ""
    asked: Any = None
    takes: tuple[str, ...] = (JSON,)
    answered: tuple[Any, ...] = ()
    produces: str = JSON
    pictures: tuple[str, ...] = ()
    parameters: Mapping[str, Any] = {}
    own_problems: tuple[ProblemKind, ...] = ()
    revalidated: bool = False
    coded: bool = True
    headers: tuple[str, ...] = ()
    waits: bool = False
    deprecation: Deprecation | None = None
    links: Mapping[str, Link] = {}
    examples: tuple[tuple[str | None, str], ...] = ()

    @property
    def media_types(self) -> tuple[str, ...]:
        """Every media type that the answer can have, the one without being asked for it first."""
        return (self.produces, *self.pictures)

    @property
    def problems(self) -> tuple[ProblemKind, ...]:
        """Every problem that the operation can answer with."""
        return (
            *_ALWAYS,
            *(_WITH_A_KEY if self.scope else ()),
            *(_WITH_A_BODY if self.asked is not None else ()),
            *self.own_problems,
        )

    def handler(self, answering: Answering) -> HTTPRouteHandler:
        """Return the framework's handler that answers this operation."""
        path = re.sub(r"\{(\w+)\}", r"{\1:str}", self.path)

        # The framework passes arguments by their names: here is the one place where that matters. It has guards for
        # what is refused here, but copies the handler for each, at a cost of 30 microseconds.
        async def handle(request: Request[Any, Any, Any]) -> Response[bytes]:
            if self.deprecation is not None:
                noted: dict[str, Any] = request.scope  # type: ignore[assignment]
                noted[ADDED] = (*noted[ADDED], *self.deprecation.headers)
            refuse_scope(request.scope, self.scope)
            refuse_parameters(request)
            refuse_accept(request, self.media_types)
            wish_of(request.scope)
            return await answering(request)

        return route(path, http_method=self.method, name=self.id)(handle)
