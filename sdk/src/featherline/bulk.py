"""Bulk: any number of requests through ``/v1/bulk``, their replies in the same order.

The HTTP client reads an answer only when it has sent its request, so a stream goes as one POST after another over a
kept connection, each with as many lines as connections hold in any case. Within each, replies are read while the
service still works on the later lines. What is held does not grow with the number of requests.

When a connection breaks, the lines that have their reply are known by their count; the next POST begins with the first
that has none.
"""

from __future__ import annotations

from collections import deque
from collections.abc import AsyncGenerator, AsyncIterable, AsyncIterator, Callable, Iterable, Iterator, Mapping
from contextlib import aclosing, closing
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

import msgspec
from msgspec import Raw, Struct

from featherline.errors import ConnectionFailed, TimedOut, UnexpectedAnswer, from_problem
from featherline.wire.costs import CostAnswer, CostRequest, Measured, Order, OrderWork
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest
from featherline.wire.problems import Problem
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.trials import TrialAnswer, TrialRequest

if TYPE_CHECKING:
    from featherline.transport import AsyncTransport, Deadline, Lines, Transport

Asked_co = TypeVar("Asked_co", covariant=True)
Answer_co = TypeVar("Answer_co", covariant=True)
Item = TypeVar("Item")
Made = TypeVar("Made")
AnyRequest = RecipeRequest | FitRequest | CostRequest | Order | TrialRequest | ArtworkRequest
AnyAnswer = RecipeAnswer | FitAnswer | CostAnswer | QuoteAnswer | TrialAnswer | ArtworkAnswer
Requests = Iterable[Item]
AsyncRequests = Iterable[Item] | AsyncIterable[Item]

PATH: Final = "/v1/bulk"
MEDIA_TYPE: Final = "application/jsonl"
# The service, and what is between, take this much while nobody reads their answer.
_MOST_BYTES: Final = 60_000
_EXCERPT: Final = 500
_QUESTIONS: Final[Mapping[type, tuple[bytes, type]]] = {
    RecipeRequest: (b"recipe", RecipeAnswer),
    FitRequest: (b"fit", FitAnswer),
    OrderWork: (b"cost", CostAnswer),
    Measured: (b"cost", CostAnswer),
    Order: (b"quote", QuoteAnswer),
    TrialRequest: (b"trial", TrialAnswer),
    ArtworkRequest: (b"artwork", ArtworkAnswer),
}

_encode: Final = msgspec.json.Encoder().encode


class Envelope(Struct, frozen=True):
    """An answered line, its answer not yet looked at."""

    kind: str
    line: int
    status: int
    id: str | None = None
    answer: Raw = Raw()
    problem: Problem | None = None


_decoder: Final = msgspec.json.Decoder(Envelope)


class Reply(Generic[Asked_co, Answer_co]):
    """What came of one request of many.

    Attributes:
        line: Its place among the requests, from 1.
        request: The request.
        problem: Why there is no answer; None when there is one.
    """

    __slots__ = ("_answer", "_status", "_text", "line", "problem", "request")

    def __init__(self, line: int, request: Asked_co, envelope: Envelope) -> None:
        self.line = line
        self.request = request
        self.problem = envelope.problem
        self._status = envelope.status
        self._text: Raw | None = envelope.answer
        self._answer: Answer_co | None = None

    def __repr__(self) -> str:
        """Return its line, and whether there is an answer."""
        return f"<Reply to line {self.line}: {self._status}>"

    @property
    def answer(self) -> Answer_co:
        """The answer, decoded when it is first asked for.

        Raises:
            FeatherlineError: There is none, or not one that this SDK reads; as when the request had been sent alone.
        """
        if self.problem is not None:
            raise from_problem(self.problem.status, self.problem, None)
        if self._answer is None:
            self._answer = self._decoded()
            self._text = None  # it keeps alive the part of the stream in which it came
        return self._answer

    def _decoded(self) -> Answer_co:
        text = self._text or b""
        try:
            answer: Answer_co = msgspec.json.decode(text, type=_QUESTIONS[type(self.request)][1])
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise UnexpectedAnswer(
                f"The answer to line {self.line} is not what this SDK reads: {error}. "
                "Is it a featherline service of the same version?",
                self._status,
                bytes(text)[:_EXCERPT],
            ) from error
        return answer


class Form(Struct, Generic[Made], frozen=True):
    """How a request becomes a line, and what is made of its place from 1, itself, and its reply."""

    line: Callable[[Any], bytes]
    made: Callable[[int, Any, Envelope], Made]


def line_of(request: Any) -> bytes:  # noqa: ANN401 - any type may come, and is refused here
    """Return the line to send for a request.

    Raises:
        TypeError: It is no request that a line can hold.
    """
    if type(request) not in _QUESTIONS:
        names = ", ".join(each.__name__ for each in _QUESTIONS)
        raise TypeError(f"{type(request).__name__} is no request; give objects of {names}")
    return b'{"kind":"%b","request":%b}\n' % (_QUESTIONS[type(request)][0], _encode(request))


TYPED: Final[Form[Reply[Any, Any]]] = Form(line=line_of, made=Reply)


class Window(Generic[Made]):
    """The requests that were taken and have no reply yet, as lines; and how far the answer to the POST has come."""

    def __init__(self, form: Form[Made], most_lines: int) -> None:
        if most_lines < 1:
            raise ValueError(f"at_once is {most_lines}; give 1 or more")
        self.replied = 0
        self._form = form
        self._most_lines = most_lines
        self._waiting: deque[tuple[Any, bytes]] = deque()
        self._held = 0
        self._sent = 0
        self._seen = 0
        self._begun: list[bytes] = []

    def is_full(self) -> bool:
        """Whether no more is to be taken."""
        return self._held >= _MOST_BYTES or len(self._waiting) >= self._most_lines

    def is_empty(self) -> bool:
        """Whether every request taken has its reply."""
        return not self._waiting

    def take(self, request: Any) -> None:  # noqa: ANN401 - whatever the form takes
        """Take a request."""
        line = self._form.line(request)
        self._waiting.append((request, line))
        self._held += len(line)

    def post(self) -> Lines:
        """Return what to send, and expect the replies from the first on."""
        from featherline.transport import Lines  # noqa: PLC0415 - brings the HTTP client

        self._sent = len(self._waiting)
        self._seen = 0
        self._begun = []
        return Lines(PATH, MEDIA_TYPE, b"".join(line for _, line in self._waiting))

    def feed(self, part: bytes) -> Iterator[Made]:
        """Yield what is made of each reply that a part of the answer completes.

        Raises:
            ConnectionFailed: The answer is garbled, or lines of it are missing.
            UnexpectedAnswer: It is not of this SDK's version.
        """
        end = part.rfind(b"\n") + 1
        if not end:
            self._begun.append(part)
            return
        whole = b"".join((*self._begun, part[:end]))
        self._begun = [part[end:]]
        for envelope in self._read(whole):
            if envelope.line <= self._seen:
                continue  # somebody on the way said it twice
            if envelope.line != self._seen + 1 or envelope.line > self._sent:
                raise ConnectionFailed(f"Line {self._seen + 1} of the answer is missing")
            self._seen += 1
            request, line = self._waiting.popleft()
            self._held -= len(line)
            self.replied += 1
            yield self._form.made(self.replied, request, envelope)

    def end(self) -> None:
        """Check that the answer was whole: raise `ConnectionFailed` when it was not."""
        if self._seen < self._sent:
            raise ConnectionFailed(f"The answer ended after {self._seen} of {self._sent} lines")

    def _read(self, whole: bytes) -> Iterable[Envelope]:
        """Return the envelopes in some lines; where one is not right, those before it are yielded all the same."""
        try:
            return _decoder.decode_lines(whole)
        except (msgspec.DecodeError, UnicodeDecodeError):
            return map(self._read_one, whole.splitlines())

    def _read_one(self, text: bytes) -> Envelope:
        try:
            return _decoder.decode(text)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            if _is_json(text):
                raise UnexpectedAnswer(
                    f"Line {self._seen + 1} of the answer is not what this SDK reads: {error}. "
                    "Is it a featherline service of the same version?",
                    200,
                    text[:_EXCERPT],
                ) from error
            raise ConnectionFailed(f"Line {self._seen + 1} of the answer is garbled: {error}") from error


def _is_json(text: bytes) -> bool:
    """Return whether a text is well-formed; typed decoding stops at what it finds first."""
    try:
        msgspec.json.decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return False
    return True


def post_each(
    transport: Transport, requests: Iterable[Any], form: Form[Made], at_once: int, deadline: Deadline
) -> Iterator[Made]:
    """Yield what is made of the reply to each request."""
    window = Window(form, at_once)
    source = iter(requests)
    while True:
        if not window.is_full():
            for request in source:
                window.take(request)
                if window.is_full():
                    break
        if window.is_empty():
            return
        for attempt in transport.attempts(deadline):
            with attempt:
                yield from _one_post(transport, window, deadline)


def _one_post(transport: Transport, window: Window[Made], deadline: Deadline) -> Iterator[Made]:
    """Yield the replies of one POST. One that breaks off ends quietly when it has brought any: the next goes on."""
    before = window.replied
    try:
        with closing(transport.stream(window.post(), deadline)) as parts:
            for part in parts:
                yield from window.feed(part)
        window.end()
    except (ConnectionFailed, TimedOut):
        if window.replied == before:
            raise


async def async_post_each(
    transport: AsyncTransport, requests: AsyncRequests[Any], form: Form[Made], at_once: int, deadline: Deadline
) -> AsyncIterator[Made]:
    """Yield what is made of the reply to each request."""
    window = Window(form, at_once)
    source = aiter(requests if isinstance(requests, AsyncIterable) else _each(requests))
    while True:
        if not window.is_full():
            async for request in source:
                window.take(request)
                if window.is_full():
                    break
        if window.is_empty():
            return
        async for attempt in transport.attempts(deadline):
            with attempt:
                async with aclosing(_one_async_post(transport, window, deadline)) as replies:
                    async for reply in replies:
                        yield reply


async def _one_async_post(
    transport: AsyncTransport, window: Window[Made], deadline: Deadline
) -> AsyncGenerator[Made, None]:
    """Yield the replies of one POST. One that breaks off ends quietly when it has brought any: the next goes on."""
    before = window.replied
    try:
        async with aclosing(transport.stream(window.post(), deadline)) as parts:
            async for part in parts:
                for reply in window.feed(part):
                    yield reply
        window.end()
    except (ConnectionFailed, TimedOut):
        if window.replied == before:
            raise


async def _each(requests: Iterable[Any]) -> AsyncIterator[Any]:
    for request in requests:
        yield request
