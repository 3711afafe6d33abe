"""Bulk: questions streamed in, one a line, and their answers streamed out in the same order.

Memory does not grow with the number of lines: the next part of the body is taken when the answers to the previous one
are written. So a caller has to read answers while it sends, or to send no more at once than connections hold.
"""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import Any, Final, NamedTuple, cast

import msgspec
from litestar import Request
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp, HTTPRequestEvent, HTTPScope, Receive, Scope, Send
from msgspec import Raw, Struct

from featherline.wire.bulk import BulkAnswer, BulkQuestion, LineId
from featherline.wire.problems import Fault
from featherline_service.questions.checks import RefusedError
from featherline_service.web.answering.answer_cache import AnswerCache
from featherline_service.web.answering.question import Question
from featherline_service.web.answering.worker import Worker
from featherline_service.web.http import problems
from featherline_service.web.http.bodies import Body, refuse_media_type, refuse_repeated_names
from featherline_service.web.http.callers import PUBLIC, Caller
from featherline_service.web.http.codings import VARY, Encoder, coding_preference, decoder_of
from featherline_service.web.http.context import context_of
from featherline_service.web.http.lines import Line, LineSplitter
from featherline_service.web.http.negotiation import JSON
from featherline_service.web.http.problems import (
    BODY_TOO_LARGE,
    BODY_TOO_SLOW,
    BUSY,
    MALFORMED_BODY,
    TOO_MANY_LINES,
    TOO_MANY_STREAMS,
    ProblemError,
)
from featherline_service.web.routes.operations import Operation
from featherline_service.web.routes.questions import (
    CHECK_FIT,
    COMPOSE_QUOTE,
    ESTIMATE_COST,
    MEASURE_ARTWORK,
    PLAN_TRIAL,
    RESOLVE_RECIPE,
    questions,
    quickly,
)
from featherline_service.web.routes.seals import Seals
from featherline_service.web.server.authentication import identify
from featherline_service.web.server.caller_keys import Keys
from featherline_service.web.telemetry.metrics import Metrics

MEDIA_TYPE: Final = "application/jsonl"
ALSO_TAKEN: Final = "application/x-ndjson"
KINDS: Final[Mapping[str, Operation]] = {
    "recipe": RESOLVE_RECIPE,
    "fit": CHECK_FIT,
    "cost": ESTIMATE_COST,
    "quote": COMPOSE_QUOTE,
    "trial": PLAN_TRIAL,
    "artwork": MEASURE_ARTWORK,
}
MOST_STREAMS: Final = 16
SLOWEST_S: Final = 60.0
# A single question that comes meanwhile waits for one slice; what is written of it is held until it is sent.
SLICE_S: Final = 0.004
SLICE_BYTES: Final = 262_144

ANSWER_BULK: Final = Operation(
    id="answerBulk",
    method="POST",
    path="/v1/bulk",
    tag="questions",
    scope="bulk",
    summary="Answer a stream of questions, one a line",
    description="Each line is a JSON text that names the `kind` of its question and holds the `request` that the path "
    "of that kind takes; an `id` comes back with the answer. Each answer is a line too, in the order of the questions; "
    "one for a line that cannot be answered has the kind `problem` and spoils no other. Lines may come as "
    f"`{ALSO_TAKEN}`, too. Any number of lines may come: "
    "the service reads on when the answers before are written, so read answers while you send, or send less at a time "
    "(up to 64 KiB is always taken whole). An answer that ends before its questions do was broken off: every question "
    "is safe to repeat, so go on with the first line that has none. A key may have so many streams at a time and so "
    "many lines in each: the line after them has the problem `too-many-lines`, and ends the answer; so does one that "
    "tells of a key that has ended meanwhile.",
    asked=BulkQuestion,
    takes=(MEDIA_TYPE, ALSO_TAKEN),
    answered=(BulkAnswer,),
    produces=MEDIA_TYPE,
    own_problems=(TOO_MANY_STREAMS,),
    examples=(("bulk-request", "bulk-answer"),),
)
OPERATIONS: Final = (ANSWER_BULK,)


class _RawLine(Struct, frozen=True, forbid_unknown_fields=True):
    """A line whose request is not decoded yet."""

    kind: str
    request: Raw
    id: LineId | None = None


class _LineQuestion(NamedTuple):
    """A question of a line: its kind, id and JSON text; the request too, where it has been decoded."""

    kind: str
    id: LineId | None
    text: bytes
    request: Any = None


class _Id(Struct, frozen=True):
    id: LineId | None = None


_encode: Final = msgspec.json.Encoder().encode
_decode_line: Final = msgspec.json.Decoder(_RawLine).decode
_decode_id: Final = msgspec.json.Decoder(_Id).decode
_CONTENT_TYPE: Final = (b"content-type", MEDIA_TYPE.encode())
_UNREADABLE: Final = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)


class LineAnswers:
    """Answers lines, each as the path of its kind answers its request alone."""

    def __init__(
        self,
        questions: Mapping[str, Question],
        answers: AnswerCache,
        longest: int,
        body: Body[Any],
        metrics: Metrics | None = None,
    ) -> None:
        self._counts = (metrics or Metrics()).bulk_lines
        self._answered = {kind: self._counts.labels(kind, "200") for kind in questions}
        self._questions = questions
        self._answers = answers
        self._longest = longest
        self._body = body

    def write(self, line: Line, request_id: str) -> bytes:
        """Return the answer to a line, as a line."""
        if line.text is None:
            problem = ProblemError(BODY_TOO_LARGE, f"A line may have {self._longest:,} bytes; send less in it.")
            return self._write_problem(line.number, None, problem, request_id)
        try:
            question = self._read(line.text)
            answer = self._answer(question)
        except Exception as error:  # noqa: BLE001 - no line spoils another
            instance = f"{request_id}#{line.number}"
            problem = problems.from_exception(error) or problems.internal(error, instance)
            id_ = None if problem.kind is MALFORMED_BODY else _id(line.text)
            return self._write_problem(line.number, id_, problem, request_id)
        self._answered[question.kind].inc()
        return b'{"kind":"%b","line":%d,"id":%b,"status":200,"answer":%b}\n' % (
            question.kind.encode(),
            line.number,
            _encode(question.id),
            answer,
        )

    def _write_problem(self, number: int, id_: str | None, problem: ProblemError, request_id: str) -> bytes:
        self._counts.labels("problem", str(problem.kind.status)).inc()
        return write_problem(number, id_, problem, request_id)

    def _read(self, text: bytes) -> _LineQuestion:
        try:
            line = _decode_line(text)
        except _UNREADABLE:
            return self._read_strictly(text)
        request = bytes(line.request)
        if line.kind not in self._questions or not request.startswith(b"{"):
            return self._read_strictly(text)
        # Names within the request are checked when it is answered for the first time.
        refuse_repeated_names(text.replace(request, b"0", 1))
        return _LineQuestion(line.kind, line.id, request)

    def _read_strictly(self, text: bytes) -> _LineQuestion:
        """Return a line that is valid after all, such as one with 3.0 for a whole number, or raise all its faults."""
        line = self._body.decode(text)
        return _LineQuestion(str(line.__struct_config__.tag), line.id, _encode(line.request), line.request)

    def _answer(self, question: _LineQuestion) -> bytes:
        try:
            return self._answers.answer(self._questions[question.kind], question.text, question.request)
        except RefusedError as error:
            faults = (Fault(pointer=f"/request{fault.pointer}", detail=fault.detail) for fault in error.faults)
            raise RefusedError(tuple(faults)) from error


def write_problem(number: int, id_: str | None, problem: ProblemError, request_id: str) -> bytes:
    """Return the answer to a line that has a problem."""
    return b'{"kind":"problem","line":%d,"id":%b,"status":%d,"problem":%b}\n' % (
        number,
        _encode(id_),
        problem.kind.status,
        problems.document(problem, f"{request_id}#{number}"),
    )


def _id(text: bytes) -> str | None:
    """Return the id of a line that cannot be answered, where it can be read."""
    try:
        return _decode_id(text).id
    except _UNREADABLE:
        return None


class _DisconnectedError(Exception):
    """The caller has closed its connection."""


class Bulk:
    """Answers streams of lines, a limited number of them at a time."""

    def __init__(
        self,
        lines: LineAnswers,
        worker: Worker,
        longest: int,
        *,
        keys: Keys | None = None,
        metrics: Metrics | None = None,
        slowest_s: float = SLOWEST_S,
    ) -> None:
        self._open_gauge = (metrics or Metrics()).bulk_streams
        self._lines = lines
        self._worker = worker
        self._longest = longest
        self._slowest_s = slowest_s
        self._keys = keys
        self._open_streams: Counter[str] = Counter()

    async def respond(self, request: Request[Any, Any, Any]) -> ASGIApp:
        """Return the response that answers a stream while it arrives.

        Raises:
            ProblemError: The body is of another media type or coding (415), or there are too many streams already: of
                this key (429), or of all (503).
        """
        decoder_of(request.scope)
        refuse_media_type(request, ANSWER_BULK.takes)
        caller = _caller(request.scope)
        if self._open_streams[caller.id] >= caller.bulk_streams:
            raise ProblemError(
                TOO_MANY_STREAMS,
                f"The key {caller.id} may have {caller.bulk_streams} at the same time. Come again when one has ended.",
                headers={"retry-after": "1"},
            )
        if self._open_streams.total() >= MOST_STREAMS:
            raise ProblemError(BUSY, "Too many streams at once. Come again in a second.", headers={"retry-after": "1"})
        return self.serve

    async def serve(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one stream, as an ASGI application."""
        caller = _caller(scope)
        coding = coding_preference(scope).large
        encoder, head = Encoder(coding), [_CONTENT_TYPE, VARY]
        if coding is not None:
            head.append((b"content-encoding", coding.encode()))
        self._open_streams[caller.id] += 1
        self._open_gauge.inc()
        try:
            part = await self._next(receive)
            await send({"type": "http.response.start", "status": 200, "headers": head})
            async for answers in self._answer_stream(caller, part, scope, receive, encoder.write):
                await send({"type": "http.response.body", "body": answers, "more_body": True})
            await send({"type": "http.response.body", "body": encoder.end(), "more_body": False})
        except _DisconnectedError:
            return
        finally:
            self._open_gauge.dec()
            self._open_streams[caller.id] -= 1

    async def _answer_stream(
        self,
        caller: Caller,
        part: HTTPRequestEvent,
        scope: Scope,
        receive: Receive,
        write: Callable[[bytes], bytes],
    ) -> AsyncIterator[bytes]:
        """Yield the answers to a stream; a problem that ends it is the last line."""
        request_id = context_of(scope).request_id
        lines = LineSplitter(self._longest)
        decoder = decoder_of(scope)
        try:
            while True:
                for piece in decoder.feed(part["body"]):
                    async for answers in self._answer_lines(caller, [*lines.feed(piece)], request_id, scope, write):
                        yield answers
                    await asyncio.sleep(0)  # a small part may be many pieces, and others wait
                if not part["more_body"]:
                    decoder.end()
                    async for answers in self._answer_lines(caller, [*lines.end()], request_id, scope, write):
                        yield answers
                    return
                part = await self._next(receive)
                if self._keys is not None:
                    identify(self._keys, cast("HTTPScope", scope))  # a key may end, or be withdrawn, meanwhile
        except ProblemError as error:
            number = caller.bulk_lines + 1 if error.kind is TOO_MANY_LINES else lines.number
            yield write(write_problem(number, None, error, request_id))

    async def _answer_lines(
        self, caller: Caller, lines: Sequence[Line], request_id: str, scope: Scope, write: Callable[[bytes], bytes]
    ) -> AsyncIterator[bytes]:
        """Yield the answers to lines, a slice at a time, until the caller has closed its connection.

        Raises:
            ProblemError: They are more than the caller's key allows.
        """
        allowed = [line for line in lines if line.number <= caller.bulk_lines]
        done = 0
        while done < len(allowed) and not context_of(scope).disconnected:
            count, answers = await self._worker.run_slice(partial(self._slice, allowed[done:], request_id, write))
            done += count
            yield answers
        if len(allowed) < len(lines):
            raise _too_many_lines(caller)

    def _slice(self, lines: Iterable[Line], request_id: str, write: Callable[[bytes], bytes]) -> tuple[int, bytes]:
        """Return how many of the first lines fit into a slice, at least one, and their answers as they are sent."""
        answers: list[bytes] = []
        end, size = time.perf_counter() + SLICE_S, 0
        for line in lines:
            answers.append(self._lines.write(line, request_id))
            size += len(answers[-1])
            if size >= SLICE_BYTES or time.perf_counter() >= end:
                break
        return len(answers), write(b"".join(answers))

    async def _next(self, receive: Receive) -> HTTPRequestEvent:
        """Return the next part of the body.

        Raises:
            ProblemError: It does not arrive in time.
            _DisconnectedError: The caller has closed its connection.
        """
        try:
            async with asyncio.timeout(self._slowest_s):
                message = await receive()
        except TimeoutError:
            raise ProblemError(BODY_TOO_SLOW, f"Nothing came for {self._slowest_s:g} seconds.") from None
        if message["type"] != "http.request":
            raise _DisconnectedError
        return message


def _caller(scope: Scope) -> Caller:
    return context_of(scope).caller or PUBLIC


def _too_many_lines(caller: Caller) -> ProblemError:
    return ProblemError(
        TOO_MANY_LINES,
        f"The key {caller.id} may send {caller.bulk_lines:,} lines in one request. Nothing is read from here on: send "
        "the rest in another.",
    )


def handlers(
    answers: AnswerCache, worker: Worker, seals: Seals, longest: int, *, metrics: Metrics, keys: Keys | None
) -> Sequence[HTTPRouteHandler]:
    """Return the handler of bulk: its lines, each no longer than `longest`, are asked of `answers`."""
    by_kind = {kind: quickly(questions(operation, seals)[JSON]) for kind, operation in KINDS.items()}
    lines = LineAnswers(by_kind, answers, longest, Body(BulkQuestion), metrics)
    bulk = Bulk(lines, worker, longest, keys=keys, metrics=metrics)
    return [ANSWER_BULK.handler(bulk.respond)]
