"""What cannot be read as HTTP is answered with a problem document too, though no application ever sees it."""

from __future__ import annotations

import asyncio
import http
import uuid
from collections.abc import Mapping
from typing import Any, Final, cast

import structlog
from litestar.types import Scope
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol, RequestResponseCycle

from featherline_service.web.http import problems
from featherline_service.web.server.joined_writes import JoinedWrites

_ANSWER: Final = (
    "HTTP/1.1 {status} {reason}\r\n"
    f"content-type: {problems.MEDIA_TYPE}\r\n"
    "content-length: {length}\r\n"
    "x-request-id: {request_id}\r\n"
    "connection: close\r\n"
    "\r\n"
)


class Counts:
    """How many connections were closed since the start: what came is no request, or nobody read the answer."""

    unreadable: int = 0
    stalled: int = 0


counts: Final = Counts()
_CONNECTION: Final = "featherline.connection"
_STALLED_S: Final = 30.0
_HEAD_S: Final = 30.0
_MOST_HEAD: Final = 65_536  # bytes; what callers and proxies send has a few hundred
_REST_S: Final = 30.0
_MOST_REST: Final = 67_108_864  # bytes; as much as the largest body that can be allowed
_log: Final = structlog.stdlib.get_logger()


def has_left(scope: Scope) -> bool:
    """Return whether the caller of a request is known to have closed its connection, or to have been cut off."""
    extensions: Mapping[str, Any] = scope.get("extensions") or {}
    return _CONNECTION in extensions and bool(extensions[_CONNECTION]["transport"].is_closing())


def is_whole(scope: Scope) -> bool:
    """Return whether all of a request is known to be here, so that nobody needs to wait for its body."""
    extensions: Mapping[str, Any] = scope.get("extensions") or {}
    return _CONNECTION in extensions and bool(extensions[_CONNECTION]["whole"])


class Protocol(HttpToolsProtocol):
    """The server's reader of HTTP/1.1, with our answer to what it cannot read.

    A caller that does not read what it asked for is cut off, and so is one whose request's head does not come, or does
    not end. A body that is still on its way when its request is answered (as a rule, refused) is read on and dropped,
    for most callers look for an answer only when they have sent all; but so much of it, and so long. The application
    can look at the connection, for a caller that has left is not told to whoever only sends.
    """

    _stalled: asyncio.TimerHandle | None = None
    stalled_s: float = _STALLED_S
    _waiting: asyncio.TimerHandle | None = None
    head_s: float = _HEAD_S
    _head_bytes: int = 0
    _fault: problems.ProblemError | None = None
    _in_request: bool = False
    _ending: asyncio.TimerHandle | None = None
    rest_s: float = _REST_S
    most_rest: int = _MOST_REST
    _rest_bytes: int = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as the server has it
        """Write on the new connection head and body of each answer at once."""
        super().connection_made(transport)
        self.transport = cast("asyncio.Transport", JoinedWrites(transport, self.loop))
        self._await_head()

    def data_received(self, data: bytes) -> None:
        """Read on; of a head only so much, and only for so long."""
        answering = cast("RequestResponseCycle | None", self.cycle)
        if self._waiting is None and not self._in_request and (answering is None or answering.response_complete):
            self._await_head()
        super().data_received(data)
        if self._waiting is not None:
            self._head_bytes += len(data)
            if self._head_bytes > _MOST_HEAD:
                self._refuse(_too_large())

    def on_headers_complete(self) -> None:
        """Have the whole head: refuse one that could be read in two ways, or is too large.

        References:
            RFC 9112 sections 3.2 (one Host) and 6.1 (codings that are not understood); RFC 6585 section 5.
        """
        self._forget_head()
        if sum(len(name) + len(value) for name, value in self.headers) > _MOST_HEAD:
            self._fault = _too_large()
        elif self.parser.get_http_version() != "1.0" and [name for name, _ in self.headers].count(b"host") != 1:
            self._fault = problems.ProblemError(problems.BAD_REQUEST, "The request must have one Host header.")
        elif any(name == b"transfer-encoding" and value.lower() != b"chunked" for name, value in self.headers):
            self._fault = problems.ProblemError(
                problems.BAD_REQUEST, "The body has a Transfer-Encoding other than chunked; send it as it is."
            )
        if self._fault is not None:
            raise ValueError(self._fault.detail)  # the parser stops, and the server answers as `send_400_response` does
        super().on_headers_complete()

    def on_message_begin(self) -> None:
        """Show the application the connection."""
        super().on_message_begin()
        self._in_request = True
        self.scope["extensions"] = {_CONNECTION: {"transport": self.transport, "whole": False}}

    def on_body(self, body: bytes) -> None:
        """Have a part of a body, which nobody waits for when the answer is sent."""
        super().on_body(body)
        if self.cycle.response_complete:
            if self._ending is None:
                self._ending = self.loop.call_later(self.rest_s, self.transport.abort)
            self._rest_bytes += len(body)
            if self._rest_bytes > self.most_rest:
                self.transport.abort()

    def on_message_complete(self) -> None:
        """Have the whole request."""
        super().on_message_complete()
        self.scope["extensions"][_CONNECTION]["whole"] = True
        self._in_request = False
        self._forget_rest()

    def pause_writing(self) -> None:
        """Have so much to send that nothing more is taken from the application, and not for ever."""
        super().pause_writing()
        self._stalled = self.loop.call_later(self.stalled_s, self._cut_off)

    def resume_writing(self) -> None:
        """Have sent most of it."""
        super().resume_writing()
        self._forget_stall()

    def connection_lost(self, exc: Exception | None) -> None:
        """Have nobody to send to."""
        super().connection_lost(exc)
        self._forget_stall()
        self._forget_head()
        self._forget_rest()

    def _forget_rest(self) -> None:
        self._rest_bytes = 0
        if self._ending is not None:
            self._ending.cancel()
            self._ending = None

    def _forget_stall(self) -> None:
        if self._stalled is not None:
            self._stalled.cancel()
            self._stalled = None

    def _await_head(self) -> None:
        self._waiting = self.loop.call_later(self.head_s, self._give_up_head)

    def _forget_head(self) -> None:
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
            self.transport.close()  # nobody is there to be told

    def _cut_off(self) -> None:
        counts.stalled += 1
        _log.info("connection.stalled", waited_s=self.stalled_s)
        self.transport.abort()

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP, and close the connection."""
        self._refuse(
            self._fault or problems.ProblemError(problems.BAD_REQUEST, "This is not well-formed HTTP/1.1."), msg
        )

    def _refuse(self, problem: problems.ProblemError, reason: str = "") -> None:
        """Answer a request that has no part in the application, and close the connection."""
        self._forget_head()
        request_id = str(uuid.uuid4())
        counts.unreadable += 1
        _log.info("request.unreadable", request_id=request_id, reason=reason or problem.detail)
        body = problems.document(problem, request_id)
        status = http.HTTPStatus(problem.kind.status)
        head = _ANSWER.format(status=status.value, reason=status.phrase, length=len(body), request_id=request_id)
        self.transport.write(head.encode() + body)
        self.transport.close()


def _too_large() -> problems.ProblemError:
    return problems.ProblemError(
        problems.HEAD_TOO_LARGE, f"A request's head may have {_MOST_HEAD:,} bytes; send fewer or shorter fields."
    )
