"""Problem documents (RFC 9457): the table of problems, and the one place that turns exceptions into answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import msgspec
import structlog
from litestar import Request, Response
from litestar.exceptions import HTTPException, MethodNotAllowedException, NotFoundException
from litestar.types import Scope, Send
from msgspec import Struct

from featherline import wire
from featherline.wire.problems import Fault, Problem
from featherline_service.plugins import PluginFailedError
from featherline_service.questions.checks import RefusedError
from featherline_service.runtime.deadline import DeadlineError
from featherline_service.web.http.context import Refusal, context_of

MEDIA_TYPE: Final = "application/problem+json"

_encode: Final = msgspec.json.Encoder().encode
_NAMES: Final = frozenset(
    field.encode_name
    for struct in vars(wire).values()
    if isinstance(struct, type) and issubclass(struct, Struct)
    for field in msgspec.structs.fields(struct)
) | {""}
_log: Final = structlog.stdlib.get_logger()


class ProblemKind(Struct, frozen=True):
    """A kind of problem: the end of its type URN, status and title; whether all of the body is at fault.

    `headers` are fields that its answer may have.
    """

    name: str
    status: int
    title: str
    of_body: bool = False
    headers: tuple[str, ...] = ()

    @property
    def type(self) -> str:
        """The URN that names this kind of problem."""
        return f"urn:featherline:problem:{self.name}"


BAD_REQUEST: Final = ProblemKind("bad-request", 400, "The request cannot be understood")
MALFORMED_BODY: Final = ProblemKind("malformed-body", 400, "The body is not well-formed JSON", of_body=True)
UNKNOWN_PARAMETER: Final = ProblemKind("unknown-parameter", 400, "The query has unknown parameters")
UNUSABLE_PARAMETER: Final = ProblemKind("unusable-parameter", 400, "A parameter of the query cannot be used")
_CHALLENGE: Final = ("WWW-Authenticate",)
KEY_REQUIRED: Final = ProblemKind("key-required", 401, "The request has no key", headers=_CHALLENGE)
KEY_REFUSED: Final = ProblemKind("key-refused", 401, "The key is unknown, expired or not yet valid", headers=_CHALLENGE)
OUT_OF_SCOPE: Final = ProblemKind("out-of-scope", 403, "The key lacks the scope for this", headers=_CHALLENGE)
NO_SUCH_PATH: Final = ProblemKind("no-such-path", 404, "There is nothing at this path")
NO_SUCH_RECORD: Final = ProblemKind("no-such-record", 404, "The book has no such record")
METHOD_NOT_ALLOWED: Final = ProblemKind("method-not-allowed", 405, "The path does not take this method")
NOT_ACCEPTABLE: Final = ProblemKind("not-acceptable", 406, "No representation that the Accept header allows")
HEAD_TOO_SLOW: Final = ProblemKind("head-too-slow", 408, "The head of the request did not arrive in time")
BODY_TOO_SLOW: Final = ProblemKind("body-too-slow", 408, "The body did not arrive in time")
NO_SUCH_REVISION: Final = ProblemKind(
    "no-such-revision", 409, "The request names a revision of the book that it cannot have"
)
PICTURE_EXPIRED: Final = ProblemKind("picture-expired", 410, "The address of the picture has expired")
BODY_TOO_LARGE: Final = ProblemKind("body-too-large", 413, "The body is larger than the service takes", of_body=True)
TOO_MANY_LINES: Final = ProblemKind("too-many-lines", 413, "The request has more lines than its key may send at once")
UNSUPPORTED_MEDIA_TYPE: Final = ProblemKind(
    "unsupported-media-type",
    415,
    "The body has an unsupported media type or coding",
    of_body=True,
    headers=("Accept", "Accept-Encoding"),
)
REFUSED: Final = ProblemKind("refused", 422, "The request is well-formed but cannot be worked on")
TOO_HEAVY: Final = ProblemKind("too-heavy", 422, "The question takes more than the service gives to one")
HEAD_TOO_LARGE: Final = ProblemKind("head-too-large", 431, "The head of the request is larger than the service takes")
_LATER: Final = ("Retry-After",)
TOO_MANY_REQUESTS: Final = ProblemKind("too-many-requests", 429, "The key has made too many requests", headers=_LATER)
TOO_MUCH_WORK: Final = ProblemKind("too-much-work", 429, "The key's questions took too much work", headers=_LATER)
TOO_MANY_STREAMS: Final = ProblemKind(
    "too-many-streams", 429, "The key has too many requests of bulk under way", headers=_LATER
)
TOO_LATE: Final = ProblemKind("too-late", 503, "The answer was not ready in time", headers=_LATER)
BUSY: Final = ProblemKind("busy", 503, "The service is busy", headers=_LATER)
STOPPING: Final = ProblemKind("stopping", 503, "The service is about to stop", headers=_LATER)
INTERNAL: Final = ProblemKind("internal", 500, "The service failed")
ENDED: Final = ProblemKind("computation-ended", 500, "The computation ended without an answer")
PLUGIN_FAILED: Final = ProblemKind("plugin-failed", 500, "A plug-in of the shop failed")


class ProblemError(Exception):
    """A request that is answered with a problem document. Where all of the body is at fault, the pointer is empty."""

    def __init__(
        self,
        kind: ProblemKind,
        detail: str,
        *,
        faults: tuple[Fault, ...] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.kind = kind
        self.detail = detail
        self.faults = faults or ((Fault(pointer="", detail=detail),) if kind.of_body else ())
        self.headers = dict(headers or {})


def _place(error: ProblemError) -> str | None:
    """Return the pointer of the first fault, for the log: names that are not ours were typed by the caller."""
    if not error.faults:
        return None
    return "/".join(part if part in _NAMES or part.isdigit() else "*" for part in error.faults[0].pointer.split("/"))


def document(error: ProblemError, request_id: str) -> bytes:
    """Return the problem document of an error, as JSON."""
    return _encode(
        Problem(
            type=error.kind.type,
            title=error.kind.title,
            status=error.kind.status,
            detail=error.detail,
            instance=f"urn:featherline:request:{request_id}",
            errors=error.faults,
        )
    )


def from_exception(error: Exception) -> ProblemError | None:
    """Return the problem that an exception is for the caller; None when it is a failure of the service itself."""
    match error:
        case ProblemError():
            return error
        case RefusedError():
            count = len(error.faults)
            detail = f"{count} fault{'s' if count > 1 else ''} in the request; `errors` says where, and what to do."
            return ProblemError(REFUSED, detail, faults=error.faults)
        case PluginFailedError():
            return ProblemError(
                PLUGIN_FAILED, f"{error}. Nothing is wrong with the request: tell the shop, whose log says more."
            )
        case DeadlineError():
            return ProblemError(
                TOO_LATE,
                "The answer was given up. Ask again, for what was found so far is kept; or ask for less at once.",
                headers={"retry-after": "1"},
            )
        case HTTPException() if error.status_code < INTERNAL.status:
            return _from_framework(error)
        case _:
            return None


def _from_framework(error: HTTPException) -> ProblemError:
    match error:
        case NotFoundException():
            return ProblemError(NO_SUCH_PATH, "See /openapi.json for the paths that there are.")
        case MethodNotAllowedException():
            return ProblemError(METHOD_NOT_ALLOWED, "The Allow header says what it takes.", headers=error.headers)
        case _:
            return ProblemError(BAD_REQUEST, error.detail)


def internal(error: BaseException, request_id: str) -> ProblemError:
    """Log a failure of the service itself with its traceback, and return a problem that shows nothing of it."""
    _log.error("request.failed", request_id=request_id, exc_info=error)
    return ProblemError(
        INTERNAL, f"Nothing is wrong with the request. Try again; if it stays, tell us the request id {request_id}."
    )


async def send_problem(scope: Scope, send: Send, error: ProblemError) -> None:
    """Answer a request with a problem document, outside the framework."""
    context_of(scope).problem = Refusal(error.kind.name, _place(error))
    body = document(error, context_of(scope).request_id)
    headers = [
        (b"content-type", MEDIA_TYPE.encode()),
        (b"content-length", str(len(body)).encode()),
        *((name.encode(), value.encode()) for name, value in error.headers.items()),
    ]
    await send({"type": "http.response.start", "status": error.kind.status, "headers": headers})
    await send({"type": "http.response.body", "body": body, "more_body": False})


def respond(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """Return the response to a request that raised an exception."""
    request_id = context_of(request.scope).request_id
    problem = from_exception(error) or internal(error, request_id)
    context_of(request.scope).problem = Refusal(problem.kind.name, _place(problem))
    return Response(
        document(problem, request_id),
        status_code=problem.kind.status,
        media_type=MEDIA_TYPE,
        headers=problem.headers,
    )
