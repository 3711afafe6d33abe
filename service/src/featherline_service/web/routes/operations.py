"""The operations of the interface: the record from which an operation's route and its description are made."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Final, Literal

from litestar import Request, Response, route
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp
from msgspec import Struct

from featherline_service.web.answering.languages import choose_language
from featherline_service.web.answering.revisions import Revisions
from featherline_service.web.http.callers import Permission
from featherline_service.web.http.codings import coding_preference
from featherline_service.web.http.context import context_of
from featherline_service.web.http.negotiation import JSON, refuse_accept, refuse_parameters
from featherline_service.web.http.problems import (
    BAD_REQUEST,
    BODY_TOO_LARGE,
    BODY_TOO_SLOW,
    BUSY,
    ENDED,
    HEAD_TOO_LARGE,
    HEAD_TOO_SLOW,
    INTERNAL,
    KEY_REFUSED,
    KEY_REQUIRED,
    MALFORMED_BODY,
    NO_SUCH_REVISION,
    NOT_ACCEPTABLE,
    OUT_OF_SCOPE,
    REFUSED,
    TOO_HEAVY,
    TOO_LATE,
    TOO_MANY_REQUESTS,
    TOO_MUCH_WORK,
    UNKNOWN_PARAMETER,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemKind,
)
from featherline_service.web.routes.deprecation import Deprecation
from featherline_service.web.server.authentication import refuse_scope

_ALWAYS: Final = (BAD_REQUEST, UNKNOWN_PARAMETER, NOT_ACCEPTABLE, HEAD_TOO_SLOW, HEAD_TOO_LARGE, INTERNAL)
_WITH_A_BODY: Final = (MALFORMED_BODY, BODY_TOO_SLOW, BODY_TOO_LARGE, UNSUPPORTED_MEDIA_TYPE, REFUSED, TOO_LATE, BUSY)
_COMPUTED: Final = (TOO_HEAVY, ENDED)
_WITH_A_KEY: Final = (KEY_REQUIRED, KEY_REFUSED, OUT_OF_SCOPE, TOO_MANY_REQUESTS, TOO_MUCH_WORK)

Respond = Callable[[Request[Any, Any, Any]], Awaitable[Response[bytes] | ASGIApp]]


class Link(Struct, frozen=True, kw_only=True):
    """A link of an answer: another operation, and where in the answer its parameters are (runtime expressions)."""

    to: str
    parameters: Mapping[str, str]


class Operation(Struct, frozen=True, kw_only=True):
    """One method on one path.

    `scope` is the scope that a key needs for it, where the service has keys; None: it is public. Keys of the scopes in
    `also` may ask it, too. `for_customers` is the path with the same answer for customers. `asked` is the type of the
    request's body, None if it has none, and `takes` are its media types; `files` are those of a body that is a file.
    `answered` holds the types that an answer's body may be of, none if they are not ours. `pictures` are media types
    that the same answer has when Accept prefers them. `parameters` are the types of the variables in the path, `query`
    those of its query, of which some are `needed`.
    `revalidated` answers carry an ETag and may be 304; so do `immutable` ones, which need not be asked for again.
    `coded` answers are sent in a coding that the caller takes, where they gain by it. `headers` are more fields that a
    success may have. Where `waits`, the caller may say for how long (`Prefer`). What is answered `by_book` names the
    revision of the book, and the caller may name it (`Book-Revision`). Where `by_language`, sentences are in the one
    that `Accept-Language` prefers. A deprecated operation has a `deprecation`.
    `examples` are pairs of files: a request, None where there is none to send, and its answer. `links` are named by
    what they lead to.
    """

    id: str
    method: Literal["GET", "POST"] = "GET"
    path: str
    tag: str
    scope: Permission | None
    also: tuple[Permission, ...] = ()
    for_customers: str | None = None
    summary: str
    description: str = ""
    asked: Any = None
    takes: tuple[str, ...] = (JSON,)
    files: tuple[str, ...] = ()
    answered: tuple[Any, ...] = ()
    produces: str = JSON
    pictures: tuple[str, ...] = ()
    parameters: Mapping[str, Any] = {}
    query: Mapping[str, Any] = {}
    needed: tuple[str, ...] = ()
    own_problems: tuple[ProblemKind, ...] = ()
    revalidated: bool = False
    immutable: bool = False
    coded: bool = True
    headers: tuple[str, ...] = ()
    waits: bool = False
    by_book: bool = False
    by_language: bool = False
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
            *(_WITH_A_BODY if self.asked is not None or self.files else ()),
            *(_COMPUTED if self.waits else ()),
            *((NO_SUCH_REVISION,) if self.by_book else ()),
            *self.own_problems,
        )

    def handler(self, respond: Respond, revisions: Revisions | None = None) -> HTTPRouteHandler:
        """Return the framework's handler that answers this operation, by one of the books where it is `by_book`."""
        if self.by_book != (revisions is not None):
            raise ValueError(f"{self.id} needs the revisions of the book if it is answered by one, and only then")
        path = re.sub(r"\{(\w+)\}", r"{\1:str}", self.path)

        # The framework passes arguments by their names: this is the one place where that matters.
        async def handle(request: Request[Any, Any, Any]) -> ASGIApp:
            if self.deprecation is not None:
                context = context_of(request.scope)
                context.response_headers = (*context.response_headers, *self.deprecation.headers)
            refuse_scope(request.scope, self.scope, self.also, self.for_customers)
            refuse_parameters(request, self.query)
            refuse_accept(request, self.media_types)
            coding_preference(request.scope)
            if revisions is not None:
                book = revisions.choose(request.scope)
                if self.by_language:
                    choose_language(request.scope, book)
            response = await respond(request)
            return response.to_asgi_response(None, request) if isinstance(response, Response) else response

        return route(path, http_method=self.method, name=self.id)(handle)
