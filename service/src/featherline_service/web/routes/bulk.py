"""Bulk: questions streamed in, one a line, and their answers streamed out in the same order.

Memory does not grow with the number of lines: the next part of the body is taken when the answers to the previous one
are written. So a caller has to read answers while it sends, or to send no more at once than connections hold.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import AsyncIterator, Iterable, Mapping, Sequence
from typing import Any, Final, cast

import msgspec
import structlog
from litestar import Request
from litestar.handlers import HTTPRouteHandler
from litestar.types import ASGIApp, HTTPRequestEvent, HTTPScope, Receive, Scope, Send
from msgspec import Raw, Struct
from msgspec.structs import replace

from featherline.wire.bulk import BulkAnswer, BulkQuestion, LineId
from featherline_service.book.shop_book import Book
from featherline_service.messages.texts import Texts
from featherline_service.web.answering.answer_cache import AnswerCache, Asker
from featherline_service.web.answering.askers import asker_of
from featherline_service.web.answering.languages import LANGUAGE_VARY, content_language
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.answering.revisions import VARY, Revisions
from featherline_service.web.http import problems
from featherline_service.web.http.bodies import Body, refuse_media_type, refuse_repeated_names
from featherline_service.web.http.callers import PUBLIC, Caller
from featherline_service.web.http.codings import Encoder, coding_preference, decoder_of
from featherline_service.web.http.context import context_of
from featherline_service.web.http.lines import Line, LineSplitter, too_large_line
from featherline_service.web.http.negotiation import JSON
from featherline_service.web.http.problems import (
    BODY_TOO_SLOW,
    BUSY,
    MALFORMED_BODY,
    REFUSED,
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
MOST_BEGUN: Final = 64
"""Lines of a stream whose answers are begun and not yet sent: enough to keep several processes busy."""
MOST_BYTES: Final = 65_536  # of answers that are sent together

ANSWER_BULK: Final = Operation(
    id="answerBulk",
    method="POST",
    path="/v1/bulk",
    tag="questions",
    scope="bulk",
    by_book=True,
    by_language=True,
    summary="Answer a stream of questions, one a line",
    description="Each line is a JSON text that names the `kind` of its question and holds the `request` that the path "
    "of that kind takes; an `id` comes back with the answer. Each answer is a line too, in the order of the questions; "
    "one for a line that cannot be answered has the kind `problem` and spoils no other. Lines may come as "
    f"`{ALSO_TAKEN}`, too. Any number of lines may come: "
    "the service reads on when the answers before are written, so read answers while you send, or send less at a time "
    "(up to 64 KiB is always taken whole). An answer that ends before its questions do was broken off: every question "
    "is safe to repeat, so go on with the first line that has none. A key may have so many streams at a time and so "
    "many lines in each: the line after them has the problem `too-many-lines`, and ends the answer; so does one that "
    "tells of a key that has ended meanwhile. One revision of the book answers all lines: the one in force when the "
    "request began, or the one that it names.",
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


class _LineQuestion(Struct, frozen=True):
    """A question of a line: its kind, id and JSON text."""

    kind: str
    id: LineId | None
    text: bytes


class _Id(Struct, frozen=True):
    id: LineId | None = None


_log: Final = structlog.stdlib.get_logger()
_encode: Final = msgspec.json.Encoder().encode
_pack: Final = msgspec.msgpack.Encoder().encode
_decode_question: Final = msgspec.msgpack.Decoder(_LineQuestion).decode
_decode_line: Final = msgspec.json.Decoder(_RawLine).decode
_decode_id: Final = msgspec.json.Decoder(_Id).decode
_CONTENT_TYPE: Final = (b"content-type", MEDIA_TYPE.encode())
_UNREADABLE: Final = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)


def _read_line(_book: Book, line: Any, _language: str) -> Computed:  # noqa: ANN401 - a line of any kind
    return Computed(_pack(_LineQuestion(str(line.__struct_config__.tag), line.id, _encode(line.request))))


def line_reader(line_type: Any) -> Question:  # noqa: ANN401 - a type or a union of types
    """Return the question how a line is read strictly: the answer is its kind, id and request."""
    return Question("readLine", Body(line_type), _read_line)


READER: Final = line_reader(BulkQuestion)


class LineAnswers:
    """Answers lines, each as the path of its kind answers its request alone."""

    def __init__(
        self,
        questions: Mapping[str, Question],
        answers: AnswerCache,
        longest: int,
        reader: Question = READER,
        metrics: Metrics | None = None,
    ) -> None:
        self._reader = reader
        self._counts = (metrics or Metrics()).bulk_lines
        self._answered = {kind: self._counts.labels(kind, "200") for kind in questions}
        self._questions = questions
        self._answers = answers
        self._longest = longest

    def begin(self, line: Line, asker: Asker) -> bytes | asyncio.Task[bytes]:
        """Return the answer to a line, as a line, if it is known at once; else the task that waits for it."""
        asker = asker._replace(request_id=f"{asker.request_id}#{line.number}")
        if line.text is None:
            return self._write_problem(line.number, None, too_large_line(self._longest), asker)
        try:
            question = self._read(line.text)
        except _UNREADABLE:
            return asyncio.create_task(self._read_strictly(line.number, line.text, asker))
        except ProblemError as problem:
            return self._write_problem(line.number, None, problem, asker)
        answer = self._answers.cached(self._questions[question.kind], question.text, asker)
        if answer is None:
            return asyncio.create_task(self._ask(line.number, question, asker))
        return self._write(line.number, question, answer)

    def _read(self, text: bytes) -> _LineQuestion:
        line = _decode_line(text)
        request = bytes(line.request)
        if line.kind not in self._questions or not request.startswith(b"{"):
            raise msgspec.ValidationError
        # Names within the request are checked when it is answered for the first time.
        refuse_repeated_names(text.replace(request, b"0", 1))
        return _LineQuestion(line.kind, line.id, request)

    async def _read_strictly(self, number: int, text: bytes, asker: Asker) -> bytes:
        """Return the answer to a line that is valid after all, such as one with 3.0 for a whole number, or its faults.

        It is read by a process that computes, for that may take long.
        """
        try:
            read = await self._answers.ask(self._reader, text, asker)
        except Exception as error:  # noqa: BLE001 - no line spoils another
            problem = problems.from_exception(error) or problems.internal(error, asker.request_id)
            id_ = None if problem.kind == MALFORMED_BODY else _id(text)
            return self._write_problem(number, id_, problem, asker)
        return await self._ask(number, _decode_question(read.body), asker)

    async def _ask(self, number: int, question: _LineQuestion, asker: Asker) -> bytes:
        try:
            answer = await self._answers.ask(self._questions[question.kind], question.text, asker)
        except Exception as error:  # noqa: BLE001 - no line spoils another
            problem = problems.from_exception(error) or problems.internal(error, asker.request_id)
            if problem.kind == REFUSED:
                faults = (replace(fault, pointer=f"/request{fault.pointer}") for fault in problem.faults)
                problem = ProblemError(
                    problem.kind, problem.said or problem.detail, faults=tuple(faults), headers=problem.headers
                )
            id_ = None if problem.kind == MALFORMED_BODY else question.id
            return self._write_problem(number, id_, problem, asker)
        return self._write(number, question, answer.body)

    def _write(self, number: int, question: _LineQuestion, answer: bytes) -> bytes:
        self._answered[question.kind].inc()
        return b'{"kind":"%b","line":%d,"id":%b,"status":200,"answer":%b}\n' % (
            question.kind.encode(),
            number,
            _encode(question.id),
            answer,
        )

    def _write_problem(self, number: int, id_: str | None, problem: ProblemError, asker: Asker) -> bytes:
        self._counts.labels("problem", str(problem.kind.status)).inc()
        asker.note_problem(problem.kind.name)
        return write_problem(number, id_, problem, asker.request_id, asker.words)


def write_problem(number: int, id_: str | None, problem: ProblemError, instance: str, words: Texts) -> bytes:
    """Return the answer to a line that has a problem; `instance` is the id of the request and the line."""
    return b'{"kind":"problem","line":%d,"id":%b,"status":%d,"problem":%b}\n' % (
        number,
        _encode(id_),
        problem.kind.status,
        problems.document(problem, instance, words),
    )


def _id(text: bytes) -> str | None:
    """Return the id of a line that cannot be answered, where it can be read."""
    try:
        return _decode_id(text).id
    except _UNREADABLE:
        return None


class _DisconnectedError(Exception):
    """The caller has closed its connection."""


_Window = asyncio.Queue["bytes | asyncio.Task[bytes] | BaseException | None"]
"""Answers in the order of their lines, begun but not sent; at the end what broke the stream off, or None."""


class Bulk:
    """Answers streams of lines, a limited number of them at a time."""

    def __init__(
        self,
        lines: LineAnswers,
        longest: int,
        *,
        keys: Keys | None = None,
        metrics: Metrics | None = None,
        slowest_s: float = SLOWEST_S,
    ) -> None:
        self._open_gauge = (metrics or Metrics()).bulk_streams
        self._lines = lines
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
        asker = asker_of(scope, "bulk")._replace(words=context_of(scope).words(scope))
        head = [_CONTENT_TYPE, (b"vary", f"{VARY}, {LANGUAGE_VARY}".encode()), content_language(asker.language)]
        encoder = Encoder(coding)
        if coding is not None:
            head.append((b"content-encoding", coding.encode()))
        self._open_streams[caller.id] += 1
        self._open_gauge.inc()
        refused: Counter[str] = Counter()
        asker = asker._replace(note_problem=lambda name: refused.update((name,)))
        try:
            part = await self._next(receive)
            await send({"type": "http.response.start", "status": 200, "headers": head})
            window = _Window(MOST_BEGUN)
            beginning = asyncio.create_task(self._begin_all(part, scope, receive, asker, window))
            try:
                async for answers in _in_order(window):
                    await send({"type": "http.response.body", "body": encoder.write(answers), "more_body": True})
                    if context_of(scope).disconnected:
                        return
            finally:
                beginning.cancel()
                while not window.empty():
                    if isinstance(begun := window.get_nowait(), asyncio.Task):
                        begun.cancel()
            await send({"type": "http.response.body", "body": encoder.end(), "more_body": False})
        except _DisconnectedError:
            return
        finally:
            if refused:
                _log.info("bulk.refused", problems=dict(refused))
            self._open_gauge.dec()
            self._open_streams[caller.id] -= 1

    async def _begin_all(
        self, part: HTTPRequestEvent, scope: Scope, receive: Receive, asker: Asker, window: _Window
    ) -> None:
        """Begin the answers to a stream while it arrives; a problem that ends it is the last line."""
        lines = LineSplitter(self._longest)
        decoder = decoder_of(scope)
        try:
            while True:
                for piece in decoder.feed(part["body"]):
                    await self._begin(scope, lines.feed(piece), asker, window)
                if not part["more_body"]:
                    decoder.end()
                    await self._begin(scope, lines.end(), asker, window)
                    break
                part = await self._next(receive)
                if self._keys is not None:
                    identify(self._keys, cast("HTTPScope", scope))  # a key may end, or be withdrawn, meanwhile
        except ProblemError as error:
            number = _caller(scope).bulk_lines + 1 if error.kind is TOO_MANY_LINES else lines.number
            asker.note_problem(error.kind.name)
            await window.put(write_problem(number, None, error, f"{asker.request_id}#{number}", asker.words))
        except Exception as error:  # noqa: BLE001 - raised where answers are sent
            await window.put(error)
        await window.put(None)

    async def _begin(self, scope: Scope, lines: Iterable[Line], asker: Asker, window: _Window) -> None:
        """Begin the answers to lines, as fast as answers are sent.

        Raises:
            ProblemError: They are more than the caller's key allows.
        """
        caller, work = _caller(scope), context_of(scope).work
        for line in lines:
            if line.number > caller.bulk_lines:
                raise _too_many_lines(caller)
            # A stream that has used its processor time goes on as fast as there is more.
            if work is not None and (wait_s := work.wait_s(0)):
                await asyncio.sleep(wait_s)
            await window.put(self._lines.begin(line, asker))
        await asyncio.sleep(0)  # a small part may be many pieces, and others wait

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


async def _in_order(window: _Window) -> AsyncIterator[bytes]:
    """Yield answers in their order, those together that are ready at the same time."""
    ready: list[bytes] = []
    size = 0
    while (begun := await window.get()) is not None:
        if isinstance(begun, BaseException):
            if ready:
                yield b"".join(ready)
            raise begun
        if isinstance(begun, asyncio.Task):
            if ready and not begun.done():
                yield b"".join(ready)
                ready, size = [], 0
            begun = await begun
        ready.append(begun)
        size += len(begun)
        if size >= MOST_BYTES or window.empty():
            yield b"".join(ready)
            ready, size = [], 0
    if ready:
        yield b"".join(ready)


def _caller(scope: Scope) -> Caller:
    return context_of(scope).caller or PUBLIC


def _too_many_lines(caller: Caller) -> ProblemError:
    return ProblemError(
        TOO_MANY_LINES,
        f"The key {caller.id} may send {caller.bulk_lines:,} lines in one request. Nothing is read from here on: send "
        "the rest in another.",
    )


def handlers(
    answers: AnswerCache, seals: Seals, longest: int, *, metrics: Metrics, keys: Keys | None, revisions: Revisions
) -> Sequence[HTTPRouteHandler]:
    """Return the handler of bulk: its lines, each no longer than `longest`, are asked of `answers`."""
    by_kind = {kind: questions(operation, seals)[JSON] for kind, operation in KINDS.items()}
    lines = LineAnswers(by_kind, answers, longest, metrics=metrics)
    bulk = Bulk(lines, longest, keys=keys, metrics=metrics)
    return [ANSWER_BULK.handler(bulk.respond, revisions)]
