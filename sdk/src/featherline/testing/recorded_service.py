"""A service in memory, for the tests of its callers."""
# ruff: noqa: N818 - `UnexpectedRequest` is an assertion that fails

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping, Sequence
from difflib import get_close_matches
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final

import httpx2
import msgspec
from msgspec import Struct

from featherline._endpoints import BOOK, BULK, QUESTIONS, REVISION
from featherline.laws import misfit
from featherline.testing import recordings
from featherline.testing.recordings import ENDPOINTS, Recording
from featherline.wire.book import RecordAnswer, RecordsAnswer
from featherline.wire.bulk import BulkQuestion
from featherline.wire.problems import Fault, Problem

JSON: Final = "application/json"
PROBLEM: Final = "application/problem+json"
LINES: Final = "application/jsonl"
_MOST_IDS: Final = 5
"""Those most like an unknown id that a problem names, as the service does."""

Reply = Struct | bytes | Exception | Callable[[Any], Struct | bytes]
"""An answer, a `Problem`, the bytes of a picture, an error to raise, or a function from the request to one of these."""


class UnexpectedRequest(AssertionError):
    """A request that the service would refuse, or that has no recorded or given answer."""


class Asked(Struct, frozen=True):
    """A request that was received: its path, its content (None for a GET), and the media type that it accepts.

    `revision` is the revision of the book that the client has pinned.
    """

    path: str
    request: Any
    accept: str
    revision: str | None = None

    @property
    def accepts_json(self) -> bool:
        """Whether the answer is wanted as JSON, not as a picture."""
        return JSON in self.accept or self.accept == "*/*"


class _Rule(Struct, kw_only=True, eq=False):
    """A given answer, the requests that it is for, and how many times it is still given (None: always)."""

    path: str
    request: Any
    reply: Any
    times_left: int | None
    delay_s: float
    headers: Mapping[str, str]

    def applies(self, asked: Asked) -> bool:
        """Return whether the answer is for a request."""
        if self.path != asked.path or self.times_left == 0:
            return False
        of_type = isinstance(self.request, type) and isinstance(asked.request, self.request)
        if not (self.request is None or of_type or self.request == asked.request):
            return False
        if asked.accepts_json:
            return not isinstance(self.reply, bytes)
        return isinstance(self.reply, Problem) or not isinstance(self.reply, Struct)


class RecordedService(httpx2.BaseTransport, httpx2.AsyncBaseTransport):
    """Stands in for a service: the transport of a `Client` or an `AsyncClient`.

    It answers from the recorded examples of the SDK, from folders that `record` filled, and with what `give` gave it,
    the latest first. Requests are held to the contract: one that the service would refuse, and one that has no answer
    here, is an `UnexpectedRequest`, which is an `AssertionError`. `asked` has every request so far.

    Args:
        folders: Folders of answers that `record` wrote.
    """

    def __init__(self, *folders: Path) -> None:
        self.asked: list[Asked] = []
        self._rules: list[_Rule] = []
        self._recordings: list[Recording] = list(recordings.examples())
        for folder in folders:
            self._recordings += recordings.of_folder(folder)

    def give(
        self,
        to: Struct | type[Struct] | str,
        reply: Reply,
        *,
        times: int | None = None,
        delay_s: float = 0.0,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        """Give an answer to a request.

        Args:
            to: The request; or its type, such as `Order`, for all of that type; or the path of a GET, such as
                ``/v1/book``.
            reply: The answer; a `Problem`, as `problem` makes one; the bytes of a picture; an error of the HTTP client
                to raise, such as ``httpx2.ConnectError("refused")``; or a function from the request to an answer.
            times: How many times; after them earlier answers apply again. None: always.
            delay_s: Seconds before the answer. Longer than the client waits, it is a timeout.
            headers: Headers of the response, such as ``{"Retry-After": "1"}``.

        Raises:
            TypeError: `to` is not a request, or the answer is not of the type of its answers.
        """
        if isinstance(to, str):
            path, request, endpoint = to, None, ENDPOINTS.get(to)
        else:
            endpoint = recordings.endpoint_of(to if isinstance(to, type) else type(to))
            path, request = endpoint.path, to
        is_answer = isinstance(reply, Struct) and not isinstance(reply, Problem)
        if is_answer and endpoint is not None and (fault := misfit(reply, endpoint.answer)) is not None:
            raise TypeError(f"{path} is not answered with this {type(reply).__name__}: {fault}")
        rule = _Rule(
            path=path, request=request, reply=reply, times_left=times, delay_s=delay_s, headers=dict(headers or {})
        )
        self._rules.insert(0, rule)

    def handle_request(self, request: httpx2.Request) -> httpx2.Response:
        """Answer a request of a blocking client."""
        request.read()
        response, delay_s = self._respond(request)
        wait_s, times_out = _wait(request, delay_s)
        time.sleep(wait_s)
        return _unless_timed_out(response, request, times_out=times_out)

    async def handle_async_request(self, request: httpx2.Request) -> httpx2.Response:
        """Answer a request of an asynchronous client."""
        await request.aread()
        response, delay_s = self._respond(request)
        wait_s, times_out = _wait(request, delay_s)
        if wait_s:
            await asyncio.sleep(wait_s)
        return _unless_timed_out(response, request, times_out=times_out)

    def _respond(self, request: httpx2.Request) -> tuple[httpx2.Response, float]:
        """Return the response to a request, and the seconds to wait before it."""
        path, accept = request.url.path, request.headers.get("accept", JSON)
        if request.url.query:
            raise UnexpectedRequest(f"No path takes query parameters; {path} was given {request.url.query.decode()!r}")
        if path == BULK:
            return self._respond_to_lines(request)
        revision = request.headers.get(REVISION)
        reply, rule = self._reply(self._receive(Asked(path, _content(request), accept, revision)))
        reply = _by_revision(reply, revision)
        headers, delay_s = ({}, 0.0) if rule is None else (rule.headers, rule.delay_s)
        return _response(reply, accept, headers), delay_s

    def _respond_to_lines(self, request: httpx2.Request) -> tuple[httpx2.Response, float]:
        _check_method(request, "POST", LINES)
        revision = request.headers.get(REVISION)
        lines, delay_s = [], 0.0
        for number, line in enumerate(request.content.split(b"\n"), start=1):
            if not line.strip():
                continue
            question = _decode(line, BulkQuestion, f"Line {number} of {BULK}")
            path = recordings.endpoint_of(type(question.request)).path
            reply, rule = self._reply(self._receive(Asked(path, question.request, JSON, revision)))
            if _by_revision(reply, revision) is not reply:  # of one revision, or none of them is answered
                return _response(_by_revision(reply, revision), LINES, {}), 0.0
            delay_s += 0.0 if rule is None else rule.delay_s
            lines.append(_line(number, question, reply))
        return httpx2.Response(HTTPStatus.OK, headers={"content-type": LINES}, content=b"".join(lines)), delay_s

    def _receive(self, asked: Asked) -> Asked:
        self.asked.append(asked)
        return asked

    def _reply(self, asked: Asked) -> tuple[Struct | bytes, _Rule | None]:
        """Return the answer to a request, and the rule that gave it, unless it is recorded."""
        for rule in self._rules:
            if rule.applies(asked):
                if rule.times_left is not None:
                    rule.times_left -= 1
                if isinstance(rule.reply, Exception):
                    raise rule.reply
                reply = rule.reply if isinstance(rule.reply, Struct | bytes) else rule.reply(asked.request)
                return reply, rule
        if asked.accepts_json:
            for recording in self._recordings:
                if (recording.path, recording.request) == (asked.path, asked.request):
                    return recording.answer, None
            if asked.request is None:
                return self._record(asked.path), None
        raise UnexpectedRequest(_advice(asked))

    def _record(self, path: str) -> Struct | bytes:
        """Return a record from the answer to its shelf, or the problem that the shelf has no such record."""
        above, _, identifier = path.rpartition("/")
        if above not in ENDPOINTS or above == BOOK.path:
            raise UnexpectedRequest(_advice(Asked(path, None, JSON)))
        shelf, _ = self._reply(Asked(above, None, JSON))
        if not isinstance(shelf, RecordsAnswer):
            return shelf  # a problem with the shelf is one with its records
        for record in shelf.records:
            if record.id == identifier:
                return RecordAnswer(record=record, book=shelf.book, book_until=shelf.book_until, engine=shelf.engine)
        ids = ", ".join(get_close_matches(identifier, [record.id for record in shelf.records], _MOST_IDS, cutoff=0.0))
        detail = f"Of {above.rpartition('/')[2]} the book has: {ids}."
        return problem(HTTPStatus.NOT_FOUND, detail, kind="no-such-record")


def problem(
    status: int, detail: str = "As the test wants it.", *, kind: str = "test", errors: Sequence[Fault] = ()
) -> Problem:
    """Return a problem document, for `RecordedService.give`."""
    return Problem(
        type=f"urn:featherline:problem:{kind}",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        instance="urn:featherline:request:in-a-test",
        errors=tuple(errors),
    )


def _by_revision(reply: Struct | bytes, revision: str | None) -> Struct | bytes:
    """Return an answer unless the client has pinned another revision of the book: then the problem that it gets."""
    if revision is None or getattr(reply, "book", revision) == revision:
        return reply
    detail = f"This service has no revision {revision}. Ask again without {REVISION}."
    return problem(HTTPStatus.CONFLICT, detail, kind="no-such-revision")


def _content(request: httpx2.Request) -> Any:  # noqa: ANN401 - of the type that the path takes
    """Return the content of a request, held to the contract; None for a GET."""
    path = request.url.path
    endpoint = ENDPOINTS.get(path)
    if endpoint is not None and endpoint.request is not None:
        _check_method(request, "POST", JSON)
        return _decode(request.content, endpoint.request, path)
    if request.method != "GET":
        paths = ", ".join(endpoint.path for endpoint in QUESTIONS)
        raise UnexpectedRequest(f"{request.method} {path}: the service has {paths} and {BULK} to POST to")
    return None


def _check_method(request: httpx2.Request, method: str, media_type: str) -> None:
    content_type = request.headers.get("content-type", "")
    if (request.method, content_type.partition(";")[0]) != (method, media_type):
        raise UnexpectedRequest(
            f"{request.url.path} takes {method} with Content-Type {media_type}; this is {request.method} with "
            f"{content_type!r}"
        )


def _decode(content: bytes, type_: Any, place: str) -> Any:  # noqa: ANN401 - of the type
    try:
        return msgspec.json.decode(content, type=type_)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise UnexpectedRequest(f"{place}: the service refuses this: {error}") from None


def _response(reply: Struct | bytes, accept: str, headers: Mapping[str, str]) -> httpx2.Response:
    if isinstance(reply, bytes):
        return httpx2.Response(
            HTTPStatus.OK, headers={"content-type": accept.partition(",")[0], **headers}, content=reply
        )
    status, media_type = (reply.status, PROBLEM) if isinstance(reply, Problem) else (HTTPStatus.OK, JSON)
    return httpx2.Response(status, headers={"content-type": media_type, **headers}, content=msgspec.json.encode(reply))


def _line(number: int, question: Any, reply: Struct | bytes) -> bytes:  # noqa: ANN401 - a question of bulk
    """Return the answered line of a question."""
    if isinstance(reply, Problem):
        line = {"kind": "problem", "line": number, "id": question.id, "status": reply.status, "problem": reply}
    else:
        kind = question.__struct_config__.tag
        line = {"kind": kind, "line": number, "id": question.id, "status": HTTPStatus.OK, "answer": reply}
    return msgspec.json.encode(line) + b"\n"


def _wait(request: httpx2.Request, delay_s: float) -> tuple[float, bool]:
    """Return the seconds to wait, and whether the client gives up by then."""
    patience_s: float | None = request.extensions.get("timeout", {}).get("read")
    if patience_s is not None and delay_s > patience_s:
        return patience_s, True
    return delay_s, False


def _unless_timed_out(response: httpx2.Response, request: httpx2.Request, *, times_out: bool) -> httpx2.Response:
    if times_out:
        raise httpx2.ReadTimeout("The answer was given a longer delay than the client waits", request=request)
    return response


def _advice(asked: Asked) -> str:
    """Return what is missing, and how to give it."""
    if asked.request is None:
        paths = ", ".join(recording.path for recording in recordings.examples() if recording.request is None)
        return f"There is no answer for GET {asked.path}: give({asked.path!r}, answer). Recorded are: {paths}"
    name = type(asked.request).__name__
    missing = "answer" if asked.accepts_json else f"picture ({asked.accept})"
    return (
        f"There is no recorded or given {missing} for this {name}. Give one to it, give(request, answer), or to any, "
        f"give({name}, answer); or record a real one with featherline.testing.record(client, request, folder), and "
        f"start with RecordedService(folder). It is: {msgspec.json.encode(asked.request).decode()[:1000]}"
    )
