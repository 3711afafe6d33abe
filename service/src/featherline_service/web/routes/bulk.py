"""Bulk: questions streamed in, one a line, and their answers streamed out in the same order.

What is held does not grow with the number of lines: the next part of the body is taken when the answers to the one
before it are written. So a caller has to read answers while it sends, or to send no more at once than connections hold.
"""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import Any, Final, cast

import msgspec
from litestar import Request, Response
from litestar.handlers import HTTPRouteHandler
from litestar.types import HTTPRequestEvent, HTTPScope, Receive, Scope, Send
from msgspec import Raw, Struct

from featherline.wire.bulk import BulkAnswer, BulkQuestion, LineId
from featherline.wire.problems import Fault
from featherline_service.questions.checks import RefusedError
from featherline_service.web.answering.answer_cache import Answers, Question
from featherline_service.web.answering.work import Worker
from featherline_service.web.http import problems
from featherline_service.web.http.bodies import Body, refuse_media_type, refuse_repeated_names
from featherline_service.web.http.codings import VARY, decoder_of, encoder_of, wish_of
from featherline_service.web.http.lines import Line, Lines
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
from featherline_service.web.http.responses import Direct
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
from featherline_service.web.server.caller_keys import CALLER, Caller, Keys
from featherline_service.web.server.protocol import has_left
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
    "one for a line that cannot be answered has the kind `problem` and spoils no other. Any number of lines may come: "
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


class _Envelope(Struct, frozen=True, forbid_unknown_fields=True):
    """A line, its request not yet looked at."""

    kind: str
    request: Raw
    id: LineId | None = None


class _Named(Struct, frozen=True):
    id: LineId | None = None


_encode: Final = msgspec.json.Encoder().encode
_decode_envelope: Final = msgspec.json.Decoder(_Envelope).decode
_decode_name: Final = msgspec.json.Decoder(_Named).decode
_CONTENT_TYPE: Final = (b"content-type", MEDIA_TYPE.encode())
_UNREADABLE: Final = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)


class LineAnswers:
    """Answers lines, each as the path of its kind answers its request alone."""

    def __init__(
        self,
        questions: Mapping[str, Question],
        answers: Answers,
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
            asked = self._read(line.text)
            answer = self._answer(asked)
        except Exception as error:  # noqa: BLE001 - no line spoils another
            instance = f"{request_id}#{line.number}"
            problem = problems.from_exception(error) or problems.internal(error, instance)
            name = None if problem.kind is MALFORMED_BODY else _name(line.text)
            return self._write_problem(line.number, name, problem, request_id)
        self._answered[asked.kind].inc()
        return b'{"kind":"%b","line":%d,"id":%b,"status":200,"answer":%b}\n' % (
            asked.kind.encode(),
            line.number,
            _encode(asked.id),
            answer,
        )

    def _write_problem(self, number: int, name: str | None, problem: ProblemError, request_id: str) -> bytes:
        self._counts.labels("problem", str(problem.kind.status)).inc()
        return write_problem(number, name, problem, request_id)

    def _read(self, text: bytes) -> _Envelope:
        try:
            asked = _decode_envelope(text)
        except _UNREADABLE:
            return self._read_whole(text)
        request = bytes(asked.request)
        if asked.kind not in self._questions or not request.startswith(b"{"):
            return self._read_whole(text)
        # Names within the request are looked at when it is answered for the first time.
        refuse_repeated_names(text.replace(request, b"0", 1))
        return asked

    def _read_whole(self, text: bytes) -> _Envelope:
        """Return a line that is right after all, such as one with 3.0 for a whole number, or say all that is wrong."""
        return _decode_envelope(_encode(self._body.decode(text)))

    def _answer(self, asked: _Envelope) -> bytes:
        try:
            return self._answers.answer(self._questions[asked.kind], bytes(asked.request))
        except RefusedError as error:
            faults = (Fault(pointer=f"/request{fault.pointer}", detail=fault.detail) for fault in error.faults)
            raise RefusedError(tuple(faults)) from error


def write_problem(number: int, name: str | None, problem: ProblemError, request_id: str) -> bytes:
    """Return the line that tells a problem of a line."""
    return b'{"kind":"problem","line":%d,"id":%b,"status":%d,"problem":%b}\n' % (
        number,
        _encode(name),
        problem.kind.status,
        problems.document(problem, f"{request_id}#{number}"),
    )


def _name(text: bytes) -> str | None:
    """Return the id of a line that cannot be answered, where it can be told."""
    try:
        return _decode_name(text).id
    except _UNREADABLE:
        return None


class _LeftError(Exception):
    """The caller has closed its connection."""


class Bulk:
    """Streams of lines and their answers, so many at a time."""

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
        self._open = (metrics or Metrics()).bulk_streams
        self._lines = lines
        self._worker = worker
        self._longest = longest
        self._slowest_s = slowest_s
        self._keys = keys
        self._streams: Counter[str] = Counter()

    async def respond(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Return the response that answers a stream while it comes.

        Raises:
            ProblemError: The body is of another media type or coding (415), or there are too many streams already: of
                this key (429), or of all (503).
        """
        decoder_of(request.scope)
        refuse_media_type(request, ANSWER_BULK.takes)
        caller = _caller(request.scope)
        if self._streams[caller.id] >= caller.bulk_streams:
            raise ProblemError(
                TOO_MANY_STREAMS,
                f"The key {caller.id} may have {caller.bulk_streams} at the same time. Come again when one has ended.",
                headers={"retry-after": "1"},
            )
        if self._streams.total() >= MOST_STREAMS:
            raise ProblemError(BUSY, "Too many streams at once. Come again in a second.", headers={"retry-after": "1"})
        return Direct(self.serve)

    async def serve(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one stream, as an ASGI application."""
        caller = _caller(scope)
        coding = wish_of(scope).large
        encoder, head = encoder_of(coding), [_CONTENT_TYPE, VARY]
        if coding is not None:
            head.append((b"content-encoding", coding.encode()))
        self._streams[caller.id] += 1
        self._open.inc()
        try:
            part = await self._next(receive)
            await send({"type": "http.response.start", "status": 200, "headers": head})
            async for answers in self._answers(caller, part, scope, receive, encoder.write):
                await send({"type": "http.response.body", "body": answers, "more_body": True})
            await send({"type": "http.response.body", "body": encoder.end(), "more_body": False})
        except _LeftError:
            return
        finally:
            self._open.dec()
            self._streams[caller.id] -= 1

    async def _answers(
        self,
        caller: Caller,
        part: HTTPRequestEvent,
        scope: Scope,
        receive: Receive,
        write: Callable[[bytes], bytes],
    ) -> AsyncIterator[bytes]:
        """Yield the answers to a stream; where it has to be ended, the problem is the last line."""
        request_id = problems.id_of(scope)
        lines = Lines(self._longest)
        decoder = decoder_of(scope)
        try:
            while True:
                for piece in decoder.feed(part["body"]):
                    async for answers in self._some(caller, [*lines.feed(piece)], request_id, scope, write):
                        yield answers
                    await asyncio.sleep(0)  # a small part may be many pieces, and others wait
                if not part["more_body"]:
                    decoder.end()
                    async for answers in self._some(caller, [*lines.end()], request_id, scope, write):
                        yield answers
                    return
                part = await self._next(receive)
                if self._keys is not None:
                    identify(self._keys, cast("HTTPScope", scope))  # a key may end, or be withdrawn, meanwhile
        except ProblemError as error:
            number = caller.bulk_lines + 1 if error.kind is TOO_MANY_LINES else lines.number
            yield write(write_problem(number, None, error, request_id))

    async def _some(
        self, caller: Caller, lines: Sequence[Line], request_id: str, scope: Scope, write: Callable[[bytes], bytes]
    ) -> AsyncIterator[bytes]:
        """Yield the answers to lines, so many at a time, until the caller is gone.

        Raises:
            ProblemError: They are more than the caller's key allows.
        """
        allowed = [line for line in lines if line.number <= caller.bulk_lines]
        done = 0
        while done < len(allowed) and not has_left(scope):
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
            ProblemError: It does not come in time.
            _LeftError: The caller is gone.
        """
        try:
            async with asyncio.timeout(self._slowest_s):
                message = await receive()
        except TimeoutError:
            raise ProblemError(BODY_TOO_SLOW, f"Nothing came for {self._slowest_s:g} seconds.") from None
        if message["type"] != "http.request":
            raise _LeftError
        return message


def _caller(scope: Scope) -> Caller:
    caller: Caller = scope[CALLER]  # type: ignore[typeddict-item]  # set by the gate
    return caller


def _too_many_lines(caller: Caller) -> ProblemError:
    return ProblemError(
        TOO_MANY_LINES,
        f"The key {caller.id} may send {caller.bulk_lines:,} lines in one request. Nothing is read from here on: send "
        "the rest in another.",
    )


def handlers(
    answers: Answers, worker: Worker, seals: Seals, longest: int, *, metrics: Metrics, keys: Keys | None
) -> Sequence[HTTPRouteHandler]:
    """Return the handler of bulk: its lines, each no longer than `longest`, are asked of `answers`."""
    asked = {kind: quickly(questions(operation, seals)[JSON]) for kind, operation in KINDS.items()}
    lines = LineAnswers(asked, answers, longest, Body(BulkQuestion), metrics)
    bulk = Bulk(lines, worker, longest, keys=keys, metrics=metrics)
    return [ANSWER_BULK.handler(bulk.respond)]
