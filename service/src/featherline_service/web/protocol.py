"""What cannot be read as HTTP is answered with a problem document too, though no application ever sees it."""

from __future__ import annotations

import asyncio
import uuid
from collections.abc import Mapping
from typing import Any, Final, cast

import structlog
from litestar.types import Scope
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from featherline_service.web import problems
from featherline_service.web.joined import JoinedWrites

_ANSWER: Final = (
    "HTTP/1.1 400 Bad Request\r\n"
    f"content-type: {problems.MEDIA_TYPE}\r\n"
    "content-length: {length}\r\n"
    "x-request-id: {request_id}\r\n"
    "connection: close\r\n"
    "\r\n"
)


class Counts:
    """How many connections were closed since the start, by what was wrong."""

    unreadable: int = 0
    stalled: int = 0


counts: Final = Counts()
_CONNECTION: Final = "featherline.connection"
_STALLED_S: Final = 30.0
_log: Final = structlog.stdlib.get_logger()


def has_left(scope: Scope) -> bool:
    """Return whether the caller of a request is known to have closed its connection, or to have been cut off."""
    extensions: Mapping[str, Any] = scope.get("extensions") or {}
    return _CONNECTION in extensions and bool(extensions[_CONNECTION]["transport"].is_closing())


class Protocol(HttpToolsProtocol):
    """The server's reader of HTTP/1.1, with our answer to what it cannot read.

    A caller that does not read what it asked for is cut off. The application can look at the connection, for a caller
    that has left is not told to whoever only sends.
    """

    _stalled: asyncio.TimerHandle | None = None
    stalled_s: float = _STALLED_S

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as the server has it
        """Write on the new connection head and body of each answer at once."""
        super().connection_made(transport)
        self.transport = cast("asyncio.Transport", JoinedWrites(transport, self.loop))

    def on_message_begin(self) -> None:
        """Show the application the connection."""
        super().on_message_begin()
        self.scope["extensions"] = {_CONNECTION: {"transport": self.transport}}

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

    def _forget_stall(self) -> None:
        if self._stalled is not None:
            self._stalled.cancel()
            self._stalled = None

    def _cut_off(self) -> None:
        counts.stalled += 1
        _log.info("connection.stalled", waited_s=self.stalled_s)
        self.transport.abort()

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP, and close the connection."""
        request_id = str(uuid.uuid4())
        counts.unreadable += 1
        _log.info("request.unreadable", request_id=request_id, reason=msg)
        problem = problems.ProblemError(problems.BAD_REQUEST, "This is not well-formed HTTP/1.1.")
        body = problems.document(problem, request_id)
        self.transport.write(_ANSWER.format(length=len(body), request_id=request_id).encode() + body)
        self.transport.close()
