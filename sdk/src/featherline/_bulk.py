"""Any number of requests through ``/v1/bulk``, and their replies in the same order.

The HTTP client reads an answer only when it has sent its request, so the lines go as one POST after another over an
open connection, each with no more than the connection takes while nobody reads the answer. The service answers the
first lines of a POST while it works on the later ones. The memory in use does not grow with the number of requests.

When a connection breaks, the number of replies says which request comes next: the next POST begins with it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import AsyncGenerator, AsyncIterable, Callable, Iterable, Iterator
from contextlib import aclosing
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

import msgspec
from msgspec import Raw, Struct

from featherline._blocking import AsyncItems
from featherline._endpoints import BULK, BY_REQUEST
from featherline._json import decode, encode
from featherline.errors import ConnectionFailed, TimedOut, UnexpectedAnswer, from_problem
from featherline.wire.costs import CostAnswer, CostRequest, Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest
from featherline.wire.problems import Problem
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.trials import TrialAnswer, TrialRequest

if TYPE_CHECKING:
    from featherline._transport import Deadline, Request, Transport

Request_co = TypeVar("Request_co", covariant=True)
Answer_co = TypeVar("Answer_co", covariant=True)
Item = TypeVar("Item")
Result = TypeVar("Result")
AnyRequest = RecipeRequest | FitRequest | CostRequest | Order | TrialRequest | ArtworkRequest
AnyAnswer = RecipeAnswer | FitAnswer | CostAnswer | QuoteAnswer | TrialAnswer | ArtworkAnswer
Requests = Iterable[Item] | AsyncIterable[Item]

MEDIA_TYPE: Final = "application/jsonl"
# The service and the proxies in front of it take this much while nobody reads the answer.
_LARGEST_POST: Final = 60_000  # bytes
_EXCERPT: Final = 500  # bytes


class Envelope(Struct, frozen=True):
    """An answered line, its answer not decoded."""

    kind: str
    line: int
    status: int
    id: str | None = None
    answer: Raw = Raw()
    problem: Problem | None = None


_decoder: Final = msgspec.json.Decoder(Envelope)


class Reply(Generic[Request_co, Answer_co]):
    """The reply to one of many requests.

    Attributes:
        line: The number of the request, from 1.
        request: The request.
        problem: Why there is no answer, or None if there is one.
    """

    __slots__ = ("_answer", "_content", "_status", "line", "problem", "request")

    def __init__(self, line: int, request: Request_co, envelope: Envelope) -> None:
        self.line = line
        self.request = request
        self.problem = envelope.problem
        self._status = envelope.status
        self._content: Raw | None = envelope.answer
        self._answer: Answer_co | None = None

    def __repr__(self) -> str:
        """Return the number of the line and its status."""
        return f"<Reply to line {self.line}: {self._status}>"

    @property
    def answer(self) -> Answer_co:
        """The answer, decoded at the first access.

        Raises:
            FeatherlineError: There is no answer, or none that this SDK reads: the same error as for the request alone.
        """
        if self.problem is not None:
            raise from_problem(self.problem.status, self.problem, None)
        if self._answer is None:
            self._answer = self._decode()
            self._content = None  # it refers to a whole part of the stream, which can now be freed
        return self._answer

    def _decode(self) -> Answer_co:
        content = self._content or b""
        try:
            answer: Answer_co = decode(content, BY_REQUEST[type(self.request)].answer)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise UnexpectedAnswer(
                f"The answer to line {self.line} is not what this SDK reads: {error}. "
                "Is it a featherline service of the same version?",
                self._status,
                bytes(content)[:_EXCERPT],
            ) from error
        return answer


class Format(Struct, Generic[Result], frozen=True):
    """How a request becomes a line, and its number from 1, itself and the answered line become a result."""

    encode: Callable[[Any], bytes]
    read: Callable[[int, Any, Envelope], Result]


def line_of(request: Any) -> bytes:  # noqa: ANN401 - any type may come, and is refused here
    """Return the line to send for a request.

    Raises:
        TypeError: It is not a request that bulk takes.
    """
    endpoint = BY_REQUEST.get(type(request))
    if endpoint is None or endpoint.bulk_kind is None:
        names = ", ".join(known.__name__ for known, endpoint in BY_REQUEST.items() if endpoint.bulk_kind)
        raise TypeError(f"{type(request).__name__} is not a request; give objects of {names}")
    return b'{"kind":"%b","request":%b}\n' % (endpoint.bulk_kind.encode(), encode(request))


TYPED: Final[Format[Reply[Any, Any]]] = Format(encode=line_of, read=Reply)


class Window(Generic[Result]):
    """The requests without a reply, as lines, and how much of the answer to the last POST has arrived."""

    def __init__(self, format_: Format[Result], most_lines: int) -> None:
        if most_lines < 1:
            raise ValueError(f"at_once is {most_lines}; give 1 or more")
        self.replied = 0
        self._format = format_
        self._most_lines = most_lines
        self._waiting: deque[tuple[Any, bytes]] = deque()
        self._size = 0  # bytes of the lines that wait
        self._sent = 0
        self._read = 0
        self._rest: list[bytes] = []

    def is_full(self) -> bool:
        """Whether no more requests fit."""
        return self._size >= _LARGEST_POST or len(self._waiting) >= self._most_lines

    def is_empty(self) -> bool:
        """Whether every request has its reply."""
        return not self._waiting

    def add(self, request: Any) -> None:  # noqa: ANN401 - any type that the format encodes
        """Add a request."""
        line = self._format.encode(request)
        self._waiting.append((request, line))
        self._size += len(line)

    def post(self) -> Request:
        """Return the POST of all lines, and expect their replies from the first on."""
        from featherline._transport import Request  # noqa: PLC0415 - brings the HTTP client

        self._sent = len(self._waiting)
        self._read = 0
        self._rest = []
        body = b"".join(line for _, line in self._waiting)
        return Request(BULK, body, content_type=MEDIA_TYPE, accept=MEDIA_TYPE)

    def feed(self, part: bytes) -> Iterator[Result]:
        """Yield the result of each line that a part of the answer completes.

        Raises:
            ConnectionFailed: The answer is garbled, or lines are missing.
            UnexpectedAnswer: The answer is from another version of the service.
        """
        end = part.rfind(b"\n") + 1
        if not end:
            self._rest.append(part)
            return
        lines = b"".join((*self._rest, part[:end]))
        self._rest = [part[end:]]
        for envelope in self._decode(lines):
            if envelope.line <= self._read:
                continue  # a proxy repeated a part of the answer
            if envelope.line != self._read + 1 or envelope.line > self._sent:
                raise ConnectionFailed(f"Line {self._read + 1} of the answer is missing")
            self._read += 1
            request, line = self._waiting.popleft()
            self._size -= len(line)
            self.replied += 1
            yield self._format.read(self.replied, request, envelope)

    def end(self) -> None:
        """Raise `ConnectionFailed` unless the whole answer has arrived."""
        if self._read < self._sent:
            raise ConnectionFailed(f"The answer ended after {self._read} of {self._sent} lines")

    def _decode(self, lines: bytes) -> Iterable[Envelope]:
        """Return the envelopes of some lines; the lines before a garbled one are decoded, too."""
        try:
            return _decoder.decode_lines(lines)
        except (msgspec.DecodeError, UnicodeDecodeError):
            return map(self._decode_line, lines.splitlines())

    def _decode_line(self, line: bytes) -> Envelope:
        try:
            return _decoder.decode(line)
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            if _is_json(line):
                raise UnexpectedAnswer(
                    f"Line {self._read + 1} of the answer is not what this SDK reads: {error}. "
                    "Is it a featherline service of the same version?",
                    200,
                    line[:_EXCERPT],
                ) from error
            raise ConnectionFailed(f"Line {self._read + 1} of the answer is garbled: {error}") from error


def _is_json(content: bytes) -> bool:
    """Return whether a text is well-formed JSON; typed decoding would report a wrong type first."""
    try:
        msgspec.json.decode(content)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return False
    return True


async def exchange(
    transport: Transport, requests: Requests[Any], format_: Format[Result], at_once: int, deadline: Deadline
) -> AsyncGenerator[Result, None]:
    """Yield the result of each request."""
    window = Window(format_, at_once)
    source = aiter(requests if isinstance(requests, AsyncIterable) else AsyncItems(requests))
    while True:
        if not window.is_full():
            async for request in source:
                window.add(request)
                if window.is_full():
                    break
        if window.is_empty():
            return
        async for attempt in transport.attempts(deadline):
            with attempt:
                async with aclosing(_post(transport, window, deadline)) as results:
                    async for result in results:
                        yield result


async def _post(transport: Transport, window: Window[Result], deadline: Deadline) -> AsyncGenerator[Result, None]:
    """Yield the results of one POST. If the answer breaks off after some of them, the next POST sends the rest."""
    before = window.replied
    try:
        async with aclosing(transport.stream(window.post(), deadline)) as parts:
            async for part in parts:
                for result in window.feed(part):
                    yield result
        window.end()
    except (ConnectionFailed, TimedOut):
        if window.replied == before:
            raise
