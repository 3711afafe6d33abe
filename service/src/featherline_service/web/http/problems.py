"""Problem documents (RFC 9457): the table of problems, and the one place that turns exceptions into answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, NamedTuple

import msgspec
import structlog
from litestar import Request, Response
from litestar.exceptions import HTTPException, MethodNotAllowedException, NotFoundException
from litestar.types import Scope, Send
from msgspec import Struct

from featherline import wire
from featherline.wire.book import Plugin
from featherline.wire.problems import Fault, Problem
from featherline_service.messages.catalogues import ENGLISH
from featherline_service.messages.texts import Texts
from featherline_service.messages.told import Told
from featherline_service.messages.values import Said, said
from featherline_service.plugins import How, PluginFailedError
from featherline_service.questions.checks import RefusedError, told_fault
from featherline_service.runtime.deadline import DeadlineError
from featherline_service.web.http.context import Refusal, context_of

PROBLEM: Final = "problem."
"""The start of the ids of messages for titles and details of problems; the rest begins with the problem's name."""
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

    `headers` are fields that its answer may have. What is `told` to customers has a message for its title.
    """

    name: str
    status: int
    title: str
    headers: tuple[str, ...] = ()
    told: bool = False

    @property
    def type(self) -> str:
        """The URN that names this kind of problem."""
        return f"urn:featherline:problem:{self.name}"


def _told(name: str, status: int, headers: tuple[str, ...] = ()) -> ProblemKind:
    """Return a kind that a customer can meet: its title is a message, and so are details for customers."""
    return ProblemKind(name, status, said(f"{PROBLEM}{name}").sentence, headers=headers, told=True)


BAD_REQUEST: Final = ProblemKind("bad-request", 400, "The request cannot be understood")
MALFORMED_BODY: Final = ProblemKind("malformed-body", 400, "The body is not well-formed JSON")
UNKNOWN_PARAMETER: Final = ProblemKind("unknown-parameter", 400, "The query has unknown parameters")
UNUSABLE_PARAMETER: Final = ProblemKind("unusable-parameter", 400, "A parameter of the query cannot be used")
_CHALLENGE: Final = ("WWW-Authenticate",)
KEY_REQUIRED: Final = ProblemKind("key-required", 401, "The request has no key", headers=_CHALLENGE)
KEY_REFUSED: Final = ProblemKind("key-refused", 401, "The key is unknown, expired or not yet valid", headers=_CHALLENGE)
OUT_OF_SCOPE: Final = ProblemKind("out-of-scope", 403, "The key lacks the scope for this", headers=_CHALLENGE)
NO_SUCH_PATH: Final = _told("no-such-path", 404)
NO_SUCH_RECORD: Final = ProblemKind("no-such-record", 404, "The book has no such record")
METHOD_NOT_ALLOWED: Final = ProblemKind("method-not-allowed", 405, "The path does not take this method")
NOT_ACCEPTABLE: Final = ProblemKind("not-acceptable", 406, "No representation that the Accept header allows")
HEAD_TOO_SLOW: Final = ProblemKind("head-too-slow", 408, "The head of the request did not arrive in time")
BODY_TOO_SLOW: Final = _told("body-too-slow", 408)
NO_SUCH_REVISION: Final = ProblemKind(
    "no-such-revision", 409, "The request names a revision of the book that it cannot have"
)
PICTURE_EXPIRED: Final = _told("picture-expired", 410)
BODY_TOO_LARGE: Final = ProblemKind("body-too-large", 413, "The body is larger than the service takes")
TOO_MANY_LINES: Final = ProblemKind("too-many-lines", 413, "The request has more lines than its key may send at once")
UNSUPPORTED_MEDIA_TYPE: Final = ProblemKind(
    "unsupported-media-type",
    415,
    "The body has an unsupported media type or coding",
    headers=("Accept", "Accept-Encoding"),
)
REFUSED: Final = _told("refused", 422)
TOO_HEAVY: Final = _told("too-heavy", 422)
HEAD_TOO_LARGE: Final = ProblemKind("head-too-large", 431, "The head of the request is larger than the service takes")
_LATER: Final = ("Retry-After",)
TOO_MANY_REQUESTS: Final = _told("too-many-requests", 429, headers=_LATER)
TOO_MUCH_WORK: Final = _told("too-much-work", 429, headers=_LATER)
TOO_MANY_STREAMS: Final = ProblemKind(
    "too-many-streams", 429, "The key has too many requests of bulk under way", headers=_LATER
)
TOO_LATE: Final = _told("too-late", 503, headers=_LATER)
BUSY: Final = _told("busy", 503, headers=_LATER)
STOPPING: Final = ProblemKind("stopping", 503, "The service is about to stop", headers=_LATER)
INTERNAL: Final = _told("internal", 500)
ENDED: Final = _told("computation-ended", 500)
PLUGIN_FAILED: Final = _told("plugin-failed", 500)


class ProblemError(Exception):
    """A request that is answered with a problem document. Where all of the body is at fault, the detail is told.

    A detail that is made of a message is told in the reader's language, with the title; any other in English.
    """

    def __init__(
        self,
        kind: ProblemKind,
        detail: str | Said | Told,
        *,
        faults: tuple[Fault, ...] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.said = detail if isinstance(detail, Said) else None
        self.detail = detail if isinstance(detail, str) else detail.sentence
        super().__init__(self.detail)
        self.kind = kind
        self.faults = faults or ((told_fault("", detail),) if isinstance(detail, Told) else ())
        self.headers = dict(headers or {})


def _place(error: ProblemError) -> str | None:
    """Return the pointer of the first fault, for the log: names that are not ours were typed by the caller."""
    if not error.faults:
        return None
    return "/".join(part if part in _NAMES or part.isdigit() else "*" for part in error.faults[0].pointer.split("/"))


class ToldProblem(NamedTuple):
    """Title and detail of a problem, and the languages that they are in."""

    title: str
    detail: str
    languages: tuple[str, ...]


def told(error: ProblemError, words: Texts) -> ToldProblem:
    """Return title and detail of a problem in a language, or in English where they are made of no message."""
    if error.said is None:
        return ToldProblem(error.kind.title, error.detail, (ENGLISH,))
    title = words.say(f"{PROBLEM}{error.kind.name}", (), _no_name)
    detail = words.say(error.said.message, error.said.parameters, _no_name)
    others = (sentence.language for sentence in (title, detail) if sentence.language is not None)
    return ToldProblem(title.text, detail.text, tuple(dict.fromkeys((words.language, *others))))


def _no_name(kind: str, id_: str) -> str:
    raise AssertionError(f"A problem names the record {id_} of the {kind}")


def document(error: ProblemError, request_id: str, words: Texts) -> bytes:
    """Return the problem document of an error, as JSON, in a language; its faults are in their own already."""
    title, detail, _ = told(error, words)
    return _encode(
        Problem(
            type=error.kind.type,
            title=title,
            status=error.kind.status,
            detail=detail,
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
            detail = said("problem.refused.faults", faults=len(error.faults))
            return ProblemError(REFUSED, detail, faults=error.faults)
        case PluginFailedError():
            return ProblemError(PLUGIN_FAILED, of_plugin(error.plugin, error.how))
        case DeadlineError():
            return ProblemError(TOO_LATE, said("problem.too-late.given-up"), headers={"retry-after": "1"})
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
    return ProblemError(INTERNAL, said("problem.internal.unexplained", request=request_id))


def of_plugin(plugin: Plugin, how: How) -> Said:
    """Return how a plug-in failed."""
    return said(
        "problem.plugin-failed.how",
        kind=plugin.kind,
        name=plugin.name,
        distribution=plugin.distribution,
        version=plugin.version,
        how=how,
    )


async def send_problem(scope: Scope, send: Send, error: ProblemError) -> None:
    """Answer a request with a problem document, outside the framework."""
    context_of(scope).problem = Refusal(error.kind.name, _place(error))
    context = context_of(scope)
    words = context.words(scope)
    body = document(error, context.request_id, words)
    headers = [
        (b"content-type", MEDIA_TYPE.encode()),
        (b"content-length", str(len(body)).encode()),
        *((name.encode(), value.encode()) for name, value in _language_fields(error, words).items()),
        *((name.encode(), value.encode()) for name, value in error.headers.items()),
    ]
    await send({"type": "http.response.start", "status": error.kind.status, "headers": headers})
    await send({"type": "http.response.body", "body": body, "more_body": False})


def respond(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    """Return the response to a request that raised an exception."""
    context = context_of(request.scope)
    problem = from_exception(error) or internal(error, context.request_id)
    context.problem = Refusal(problem.kind.name, _place(problem))
    words = context.words(request.scope)
    return Response(
        document(problem, context.request_id, words),
        status_code=problem.kind.status,
        media_type=MEDIA_TYPE,
        headers={**_language_fields(problem, words), **problem.headers},
    )


def _language_fields(error: ProblemError, words: Texts) -> Mapping[str, str]:
    """Return the header fields that tell of a problem's languages."""
    return {"content-language": ", ".join(told(error, words).languages), "vary": "Accept-Language"}
