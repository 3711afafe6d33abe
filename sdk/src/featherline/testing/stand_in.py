"""A service in memory, for the tests of those who ask one."""
# ruff: noqa: N818 - the names say what happened

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from http import HTTPStatus
from pathlib import Path
from typing import Any, Final

import httpx2
import msgspec
from msgspec import Struct

from featherline.laws import misfit
from featherline.testing import recordings
from featherline.testing.recordings import BULK, BY_PATH, READ, Recording
from featherline.wire.book import RecordAnswer, RecordsAnswer
from featherline.wire.bulk import BulkQuestion
from featherline.wire.problems import Fault, Problem

JSON: Final = "application/json"
PROBLEM: Final = "application/problem+json"
LINES: Final = "application/jsonl"

Reply = Struct | bytes | Exception | Callable[[Any], Struct | bytes]
"""An answer, a `Problem`, the bytes of a picture, an error to raise, or what returns one of the first three."""


class UnexpectedRequest(AssertionError):
    """The stand-in was asked what the service would not take, or what nobody gave it an answer to."""


class Asked(Struct, frozen=True):
    """What the stand-in was asked: the path, the request (None: it was only read), and the media type wanted."""

    path: str
    request: Any
    accept: str


class _Given(Struct, kw_only=True, eq=False):
    path: str
    to: Any
    reply: Any
    left: int | None
    delay_s: float
    headers: Mapping[str, str]

    def suits(self, asked: Asked) -> bool:
        """Return whether it answers what was asked."""
        if self.path != asked.path or self.left == 0:
            return False
        of_type = isinstance(self.to, type) and isinstance(asked.request, self.to)
        if not (self.to is None or of_type or self.to == asked.request):
            return False
        drawn, answered = isinstance(self.reply, bytes), isinstance(self.reply, Struct)
        return not (drawn if _wants_json(asked) else answered and not isinstance(self.reply, Problem))


class RecordedService(httpx2.BaseTransport, httpx2.AsyncBaseTransport):
    """Stands in for a service: the transport of a `Client` or an `AsyncClient`.

    It answers from the recorded examples of the SDK, from folders that `record` filled, and from what `give` gave it;
    the latest given comes first. A request is held to the contract, strictly: what the service would refuse, and what
    has no answer here, is an `UnexpectedRequest`, which is an `AssertionError`. `asked` has every request so far.

    Args:
        folders: Where `record` kept answers.
    """

    def __init__(self, *folders: Path) -> None:
        self.asked: list[Asked] = []
        self._given: list[_Given] = []
        found = [*recordings.examples(), *(each for folder in folders for each in recordings.own(folder))]
        self._recorded: list[Recording] = found

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
            to: The request; or its type, such as `Order`, for any of it; or a path that is read, such as ``/v1/book``.
            reply: The answer; a `Problem`, as `problem` makes one; the bytes of a picture; an error of the HTTP client
                to raise, such as ``httpx2.ConnectError("refused")``; or a function from the request to an answer.
            times: How often; then what answered before answers again. None: always.
            delay_s: Seconds that it takes. Longer than the client waits, it is a timeout, as of a real service.
            headers: Headers of the response, such as ``{"Retry-After": "1"}``.

        Raises:
            TypeError: It is no request, or the answer is not of the type that answers it.
        """
        path = to if isinstance(to, str) else recordings.kind_of(to).path
        wanted = READ.get(path) if isinstance(to, str) else BY_PATH[path].answered
        answered = isinstance(reply, Struct) and not isinstance(reply, Problem)
        if answered and wanted is not None and (fault := misfit(reply, wanted)) is not None:
            raise TypeError(f"{path} is not answered with this {type(reply).__name__}: {fault}")
        given = _Given(
            path=path,
            to=None if isinstance(to, str) else to,
            reply=reply,
            left=times,
            delay_s=delay_s,
            headers=dict(headers or {}),
        )
        self._given.insert(0, given)

    def handle_request(self, request: httpx2.Request) -> httpx2.Response:
        """Answer a request of a plain client."""
        request.read()
        response, delay_s = self._respond(request)
        wait_s, late = _patience(request, delay_s)
        time.sleep(wait_s)
        return _in_time(response, request, late=late)

    async def handle_async_request(self, request: httpx2.Request) -> httpx2.Response:
        """Answer a request of an asynchronous client."""
        await request.aread()
        response, delay_s = self._respond(request)
        wait_s, late = _patience(request, delay_s)
        if wait_s:
            await asyncio.sleep(wait_s)
        return _in_time(response, request, late=late)

    def _respond(self, request: httpx2.Request) -> tuple[httpx2.Response, float]:
        path, accept = request.url.path, request.headers.get("accept", JSON)
        if request.url.query:
            raise UnexpectedRequest(f"No path takes query parameters; {path} was given {request.url.query.decode()!r}")
        if path == BULK:
            return self._respond_to_lines(request)
        asked = Asked(path, _read(request), accept)
        self.asked.append(asked)
        given, reply = self._reply(asked)
        return _response(reply, accept, {} if given is None else given.headers), 0.0 if given is None else given.delay_s

    def _respond_to_lines(self, request: httpx2.Request) -> tuple[httpx2.Response, float]:
        _hold(request, "POST", LINES)
        lines, delay_s = [], 0.0
        for number, line in enumerate(request.content.split(b"\n"), start=1):
            if not line.strip():
                continue
            question = _strictly(line, BulkQuestion, f"Line {number} of {BULK}")
            asked = Asked(recordings.kind_of(question.request).path, question.request, JSON)
            self.asked.append(asked)
            given, reply = self._reply(asked)
            delay_s += 0.0 if given is None else given.delay_s
            lines.append(_line(number, question, reply))
        return httpx2.Response(HTTPStatus.OK, headers={"content-type": LINES}, content=b"".join(lines)), delay_s

    def _reply(self, asked: Asked) -> tuple[_Given | None, Struct | bytes]:
        for given in self._given:
            if given.suits(asked):
                if given.left is not None:
                    given.left -= 1
                if isinstance(given.reply, Exception):
                    raise given.reply
                reply = given.reply
                return given, reply if isinstance(reply, Struct | bytes) else reply(asked.request)
        if _wants_json(asked):
            for recorded in self._recorded:
                if recorded.path == asked.path and recorded.asked == asked.request:
                    return None, recorded.answered
            if asked.request is None:
                return None, self._record(asked.path)
        raise UnexpectedRequest(_advice(asked))

    def _record(self, path: str) -> Struct | bytes:
        """Return one record of a shelf that is known, or the problem that the book has none of this name."""
        above, _, name = path.rpartition("/")
        kind = above.rpartition("/")[2]
        asked = Asked(above, None, JSON)
        if above not in READ or above == "/v1/book":
            raise UnexpectedRequest(_advice(Asked(path, None, JSON)))
        _, shelf = self._reply(asked)
        if not isinstance(shelf, RecordsAnswer):
            return shelf  # a problem with the shelf is one with its records
        for record in shelf.records:
            if record.id == name:
                return RecordAnswer(record=record, book=shelf.book, engine=shelf.engine)
        has = ", ".join(record.id for record in shelf.records)
        return problem(HTTPStatus.NOT_FOUND, f"Of {kind} the book has: {has}.", kind="no-such-record")


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


def _wants_json(asked: Asked) -> bool:
    return JSON in asked.accept or asked.accept == "*/*"


def _read(request: httpx2.Request) -> Any:  # noqa: ANN401 - as the path takes it
    """Return what a request asks, held to the contract; None where it only reads."""
    path = request.url.path
    if path in BY_PATH:
        _hold(request, "POST", JSON)
        return _strictly(request.content, BY_PATH[path].asked, path)
    if request.method != "GET":
        raise UnexpectedRequest(f"{request.method} {path}: the service has {', '.join(BY_PATH)} and {BULK} to POST to")
    return None


def _hold(request: httpx2.Request, method: str, media_type: str) -> None:
    given = request.headers.get("content-type", "")
    if (request.method, given.partition(";")[0]) != (method, media_type):
        raise UnexpectedRequest(
            f"{request.url.path} takes {method} with Content-Type {media_type}; this is {request.method} with {given!r}"
        )


def _strictly(content: bytes, type_: Any, where: str) -> Any:  # noqa: ANN401 - of the type
    try:
        return msgspec.json.decode(content, type=type_)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise UnexpectedRequest(f"{where}: the service refuses this: {error}") from None


def _response(reply: Struct | bytes, accept: str, headers: Mapping[str, str]) -> httpx2.Response:
    if isinstance(reply, bytes):
        return httpx2.Response(
            HTTPStatus.OK, headers={"content-type": accept.partition(",")[0], **headers}, content=reply
        )
    status, media_type = (reply.status, PROBLEM) if isinstance(reply, Problem) else (HTTPStatus.OK, JSON)
    return httpx2.Response(status, headers={"content-type": media_type, **headers}, content=msgspec.json.encode(reply))


def _line(number: int, question: Any, reply: Struct | bytes) -> bytes:  # noqa: ANN401 - a question of bulk
    if isinstance(reply, Problem):
        told = {"kind": "problem", "line": number, "id": question.id, "status": reply.status, "problem": reply}
    else:
        kind = question.__struct_config__.tag
        told = {"kind": kind, "line": number, "id": question.id, "status": HTTPStatus.OK, "answer": reply}
    return msgspec.json.encode(told) + b"\n"


def _patience(request: httpx2.Request, delay_s: float) -> tuple[float, bool]:
    """Return how long to wait with an answer, and whether the client waits for less."""
    longest: float | None = request.extensions.get("timeout", {}).get("read")
    late = longest is not None and delay_s > longest
    return (longest if late and longest is not None else delay_s), late


def _in_time(response: httpx2.Response, request: httpx2.Request, *, late: bool) -> httpx2.Response:
    if late:
        raise httpx2.ReadTimeout("The answer was given a longer delay than the client waits", request=request)
    return response


def _advice(asked: Asked) -> str:
    if asked.request is None:
        known = ", ".join(_known())
        return f"Nobody gave an answer to GET {asked.path}: give({asked.path!r}, answer). Recorded are: {known}"
    name = type(asked.request).__name__
    what = "an answer" if _wants_json(asked) else f"a picture ({asked.accept})"
    return (
        f"Nobody recorded or gave {what} to this {name}. Give one to it, give(request, answer), or to any, "
        f"give({name}, answer); or keep a real one with featherline.testing.record(client, request, folder) and start "
        f"with RecordedService(folder). It is: {msgspec.json.encode(asked.request).decode()[:1000]}"
    )


def _known() -> Iterator[str]:
    return (each.path for each in recordings.examples() if each.asked is None)
