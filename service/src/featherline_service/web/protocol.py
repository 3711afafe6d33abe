"""What cannot be read as HTTP is answered with a problem document too, though no application ever sees it."""

from __future__ import annotations

import uuid
from typing import Final

import structlog
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from featherline_service.web import problems

_ANSWER: Final = (
    "HTTP/1.1 400 Bad Request\r\n"
    f"content-type: {problems.MEDIA_TYPE}\r\n"
    "content-length: {length}\r\n"
    "x-request-id: {request_id}\r\n"
    "connection: close\r\n"
    "\r\n"
)
_log: Final = structlog.stdlib.get_logger()


class Protocol(HttpToolsProtocol):
    """The server's reader of HTTP/1.1, with our answer to what it cannot read."""

    def send_400_response(self, msg: str) -> None:
        """Answer what is not HTTP, and close the connection."""
        request_id = str(uuid.uuid4())
        _log.info("request.unreadable", request_id=request_id, reason=msg)
        problem = problems.ProblemError(problems.BAD_REQUEST, "This is not well-formed HTTP/1.1.")
        body = problems.document(problem, request_id)
        self.transport.write(_ANSWER.format(length=len(body), request_id=request_id).encode() + body)
        self.transport.close()
