"""The server's reader of HTTP/1.1: limits of time and size, and a problem document for what is no valid request."""

from __future__ import annotations

import asyncio
import http
import resource
import sys
import uuid
from typing import ClassVar, Final, cast

import httptools
import structlog
from litestar.types import Scope
from prometheus_client import Counter
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol, RequestResponseCycle

from featherline_service.messages.texts import english
from featherline_service.web.http import problems
from featherline_service.web.http.context import RequestContext, context_of
from featherline_service.web.server.transport import BufferedTransport

_ANSWER: Final = (
    "HTTP/1.1 {status} {reason}\r\n"
    f"content-type: {problems.MEDIA_TYPE}\r\n"
    "content-language: en\r\n"
    "content-length: {length}\r\n"
    "x-request-id: {request_id}\r\n"
    "connection: close\r\n"
    "\r\n"
)


connections_refused: Final = Counter(
    "featherline_connections_refused",
    "Connections that were closed: what came is no request (unreadable), nobody read the answer (stalled), or there "
    "were as many as the process may have (full).",
    ("reason",),
    registry=None,  # of this process; each application's registry takes it in
)
_unreadable_count: Final = connections_refused.labels("unreadable")
_stalled_count: Final = connections_refused.labels("stalled")
_full_count: Final = connections_refused.labels("full")
_STALLED_S: Final = 30.0
_HEAD_S: Final = 30.0
_MOST_HEAD: Final = 65_536  # bytes; what callers and proxies send has a few hundred
# Fields, members of their lists and parameters, all of which are looked through on the event loop. A browser's head has
# under 100, with as many cookies again on a page full of them (from memory).
_MOST_MEMBERS: Final = 256
_REST_S: Final = 30.0
_MOST_REST: Final = 67_108_864  # bytes; as much as the largest body that can be allowed
_RESERVED_FILES: Final = 64  # for whatever the process opens besides connections: a dozen, as measured
_log: Final = structlog.stdlib.get_logger()


def most_connections() -> int:
    """Return how many connections there may be, so that files can still be opened for those who have one."""
    most_files, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    if most_files == resource.RLIM_INFINITY:
        return sys.maxsize
    return max(most_files - _RESERVED_FILES, most_files // 2)


class Protocol(HttpToolsProtocol):
    """The server's reader of HTTP/1.1, with our answer to what it cannot read.

    A caller that does not read its answer is cut off, and so is one whose request's head does not arrive in time. A
    body that is still arriving when its request has been answered (as a rule, refused) is read and dropped up to a
    limit, for most callers look for an answer only when they have sent everything. A connection beyond the most is
    closed at once; the log tells of the first, until half of them are free again. The request's context has the
    connection, since ASGI tells an application that only sends nothing of a caller that has left.
    """

    _context: RequestContext

    most_connections: ClassVar[int] = most_connections()
    _full: ClassVar[bool] = False
    _stalled: asyncio.TimerHandle | None = None
    stalled_s: float = _STALLED_S
    _waiting: asyncio.TimerHandle | None = None
    head_s: float = _HEAD_S
    _head_bytes: int = 0
    _fault: problems.ProblemError | None = None
    _in_request: bool = False
    _in_body: bool = False
    _framing_bytes: int = 0  # since the last part of the body
    _ending: asyncio.TimerHandle | None = None
    rest_s: float = _REST_S
    most_rest: int = _MOST_REST
    _rest_bytes: int = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as the server has it
        """Have head and body of each answer written in one call."""
        super().connection_made(transport)
        self.transport = cast("asyncio.Transport", BufferedTransport(transport, self.loop))
        if len(self.connections) > self.most_connections:
            self._close_surplus()
        else:
            self._await_head()

    def data_received(self, data: bytes) -> None:
        """Take what arrived; the head of a request has limits of size and time."""
        answering = cast("RequestResponseCycle | None", self.cycle)
        if self._waiting is None and not self._in_request and (answering is None or answering.response_complete):
            self._await_head()
        self._unset_keepalive_if_required()
        self._framing_bytes += len(data)
        try:
            self._parse(data)
        except httptools.HttpParserError as error:
            self.send_400_response(str(error))
        if self._in_body and self._framing_bytes > _MOST_HEAD:
            self.transport.abort()  # chunk extensions or trailer fields without end
        if self._waiting is not None:
            self._head_bytes += len(data)
            if self._head_bytes > _MOST_HEAD:
                self._refuse(_too_large())

    def _parse(self, data: bytes) -> None:
        """Parse what arrived; a request with Upgrade as if it had none.

        The parser takes what follows such a head for another protocol, whose bytes it drops or reads as a request. So
        another parser reads the head again without the field, and goes on with what follows.

        References:
            RFC 9110 section 7.8: a server may ignore Upgrade.
        """
        rest = memoryview(data)
        while True:
            try:
                self.parser.feed_data(rest)
            except httptools.HttpParserUpgrade as upgrade:
                (length,) = upgrade.args
                rest = rest[length:]
                head = self._head_without_upgrade()
                self.parser = httptools.HttpRequestParser(self)
                self.parser.set_dangerous_leniencies(lenient_data_after_close=True)  # as the server's own
                self.parser.feed_data(head)
            else:
                return

    def _head_without_upgrade(self) -> bytes:
        line = b"%b %b HTTP/%b\r\n" % (self.parser.get_method(), self.url, self.parser.get_http_version().encode())
        fields = (b"%b: %b\r\n" % (name, value) for name, value in self.headers if name != b"upgrade")
        return b"".join((line, *fields, b"\r\n"))

    def on_headers_complete(self) -> None:
        """Refuse a head that could be read in two ways, or is too large; make the context of any other request.

        References:
            RFC 9112 sections 3.2 (one Host) and 6.1 (codings that are not understood); RFC 9110 section 5.4 and RFC
            6585 section 5: a field that is more than a server takes is refused, and no part of it ignored.
        """
        if self._upgrades():
            return
        self._cancel_head()
        if sum(len(name) + len(value) for name, value in self.headers) > _MOST_HEAD:
            self._fault = _too_large()
        elif sum(1 + value.count(b",") + value.count(b";") for _, value in self.headers) > _MOST_MEMBERS:
            self._fault = problems.ProblemError(
                problems.HEAD_TOO_LARGE,
                f"A request's head may have {_MOST_MEMBERS} fields, members of lists and parameters; send fewer.",
            )
        elif self.parser.get_http_version() != "1.0" and [name for name, _ in self.headers].count(b"host") != 1:
            self._fault = problems.ProblemError(problems.BAD_REQUEST, "The request must have one Host header.")
        elif any(name == b"transfer-encoding" and value.lower() != b"chunked" for name, value in self.headers):
            self._fault = problems.ProblemError(
                problems.BAD_REQUEST, "The body has a Transfer-Encoding other than chunked; send it as it is."
            )
        elif self.parser.should_upgrade():
            self._fault = problems.ProblemError(problems.BAD_REQUEST, "CONNECT is for proxies; this is none.")
        if self._fault is not None:
            raise ValueError(self._fault.detail)  # the parser stops, and the server answers as `send_400_response` does
        self._context = context_of(cast("Scope", self.scope))
        self._context.connection = self.transport
        self._in_body = True
        super().on_headers_complete()

    def on_message_begin(self) -> None:
        """Note that a request has begun."""
        super().on_message_begin()
        self._in_request = True

    def on_header(self, name: bytes, value: bytes) -> None:
        """Take a field of the head; those of a trailer are dropped (RFC 9110 section 6.5.1)."""
        if not self._in_body:
            super().on_header(name, value)

    def on_body(self, body: bytes) -> None:
        """Take a part of a body; after the answer, drop it and count it."""
        super().on_body(body)
        self._framing_bytes = 0
        if self.cycle.response_complete:
            if self._ending is None:
                self._ending = self.loop.call_later(self.rest_s, self.transport.abort)
            self._rest_bytes += len(body)
            if self._rest_bytes > self.most_rest:
                self.transport.abort()

    def on_message_complete(self) -> None:
        """Note that the request is complete."""
        if self._upgrades():
            return
        super().on_message_complete()
        self._context.complete = True
        self._in_request = self._in_body = False
        self._framing_bytes = 0
        self._cancel_rest()

    def _upgrades(self) -> bool:
        """Return whether the head is to be read again without Upgrade; a tunnel (CONNECT) is no upgrade."""
        return bool(self.parser.should_upgrade()) and self.parser.get_method() != b"CONNECT"

    def pause_writing(self) -> None:
        """Cut the caller off unless it reads on in time."""
        super().pause_writing()
        self._stalled = self.loop.call_later(self.stalled_s, self._abort_stalled)

    def resume_writing(self) -> None:
        """Go on: the caller has read."""
        super().resume_writing()
        self._cancel_stall()

    def connection_lost(self, exc: Exception | None) -> None:
        """Cancel the timers of the connection."""
        super().connection_lost(exc)
        if len(self.connections) <= self.most_connections // 2:
            type(self)._full = False  # noqa: SLF001 - its own
        self._cancel_stall()
        self._cancel_head()
        self._cancel_rest()

    def _close_surplus(self) -> None:
        _full_count.inc()
        if not self._full:
            type(self)._full = True  # noqa: SLF001 - its own
            _log.error("connections.full", most=self.most_connections)
        self.transport.close()

    def _cancel_rest(self) -> None:
        self._rest_bytes = 0
        if self._ending is not None:
            self._ending.cancel()
            self._ending = None

    def _cancel_stall(self) -> None:
        if self._stalled is not None:
            self._stalled.cancel()
            self._stalled = None

    def _await_head(self) -> None:
        self._waiting = self.loop.call_later(self.head_s, self._give_up_head)

    def _cancel_head(self) -> None:
        self._head_bytes = 0
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _give_up_head(self) -> None:
        if self._head_bytes:
            self._refuse(
                problems.ProblemError(problems.HEAD_TOO_SLOW, f"The head took longer than {self.head_s:g} seconds.")
            )
        else:
            self.transport.close()  # nothing was asked, so nothing is answered

    def _abort_stalled(self) -> None:
        _stalled_count.inc()
        _log.info("connection.stalled", waited_s=self.stalled_s)
        self.transport.abort()

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP, and close the connection."""
        self._refuse(
            self._fault or problems.ProblemError(problems.BAD_REQUEST, "This is not well-formed HTTP/1.1."), msg
        )

    def _refuse(self, problem: problems.ProblemError, reason: str = "") -> None:
        """Answer a request that never reaches the application, and close the connection."""
        self._cancel_head()
        request_id = str(uuid.uuid4())
        _unreadable_count.inc()
        _log.info("request.unreadable", request_id=request_id, reason=reason or problem.detail)
        body = problems.document(problem, request_id, english())
        status = http.HTTPStatus(problem.kind.status)
        head = _ANSWER.format(status=status.value, reason=status.phrase, length=len(body), request_id=request_id)
        self.transport.write(head.encode() + body)
        self.transport.close()


def _too_large() -> problems.ProblemError:
    return problems.ProblemError(
        problems.HEAD_TOO_LARGE, f"A request's head may have {_MOST_HEAD:,} bytes; send fewer or shorter fields."
    )
