"""The ASGI shell around the framework: what holds for every request, whether or not there is anything at its path.

A request id, HEAD wherever GET works, one log line per request, a problem document for whatever the framework let
through, and a farewell: once the service is to stop, each answer closes its connection.
"""

from __future__ import annotations

import random
import re
import time
from typing import Any, Final, cast

import structlog
from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Message, Receive, Scope, Send

from featherline_service.runtime.logs import ids
from featherline_service.web.http import problems
from featherline_service.web.http.problems import REQUEST_ID
from featherline_service.web.server.caller_keys import CALLER
from featherline_service.web.telemetry.metrics import Metrics
from featherline_service.web.telemetry.tracing import Naming, Tracing, read_parent

LEAVING: Final = "featherline.leaving"
ADDED: Final = "featherline.added"  # header fields of whatever the answer will be
_ID_BYTES: Final = 16
_SANE_ID: Final = re.compile(rb"[A-Za-z0-9._:+/=-]{1,128}")

_log: Final = structlog.stdlib.get_logger()


class Shell:
    """An ASGI application around another."""

    def __init__(self, app: ASGIApp, metrics: Metrics | None = None, tracing: Tracing | None = None) -> None:
        self._app = app
        self._tracing = tracing or Naming()
        self._metrics = metrics or Metrics()
        self._leaving = False

    def leave(self) -> None:
        """From now on say that the service is not ready, and close each connection with its next answer."""
        self._leaving = True

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] == ScopeType.HTTP:
            await self._request(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    async def _request(self, given: HTTPScope, receive: Receive, send: Send) -> None:
        started = time.perf_counter()
        request_id = _request_id(given)
        span = self._tracing.begin(read_parent(given))
        named = {"request_id": request_id, "trace_id": span.trace_id, "span_id": span.span_id}
        ids.set(named)
        head = given["method"] == "HEAD"
        method = "GET" if head else given["method"]
        scope = cast(
            "HTTPScope", {**given, "method": method, REQUEST_ID: request_id, LEAVING: self._leaving, ADDED: ()}
        )
        noted = cast("dict[str, Any]", scope)  # what the layers within tell of it
        status = 0
        scheme = given.get("scheme", "http")
        known = self._metrics.began(given["method"], scheme)

        async def answer(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = [
                    *map(_allowing_head, message["headers"]),
                    *noted[ADDED],
                    (b"x-request-id", request_id.encode()),
                ]
                message["headers"] = [*headers, (b"connection", b"close")] if self._leaving else headers
            elif head and message["type"] == "http.response.body":
                message["body"] = b""
            await send(message)

        try:
            await self._app(scope, receive, answer)
        except Exception as error:  # noqa: BLE001 - the last resort: everything is answered and logged
            problem = problems.internal(error, request_id)
            if not status:
                await problems.send_problem(scope, answer, problem)
        finally:
            took_s = time.perf_counter() - started
            route = noted.get("path_template")
            self._metrics.finished(known, route, status, took_s)
            span.end(given["method"], scheme, route, status)
            _log.info(
                "request.finished",
                **named,
                method=given["method"],
                route=route,
                key=caller.id if (caller := noted.get(CALLER)) else None,
                status=status or None,
                duration_ms=round(took_s * 1000, 3),
            )


def _request_id(scope: HTTPScope) -> str:
    """Return the id that the caller sent, when it is sane; else a new one."""
    for name, value in scope["headers"]:
        if name == b"x-request-id" and _SANE_ID.fullmatch(value):
            return value.decode()
    return random.randbytes(_ID_BYTES).hex()  # noqa: S311 - a name, no secret


def _allowing_head(header: tuple[bytes, bytes]) -> tuple[bytes, bytes]:
    """Return a header as it was; an Allow header with HEAD wherever it has GET."""
    name, value = header
    if name.lower() != b"allow":
        return header
    methods = {method.strip() for method in value.split(b",")}
    return name, b", ".join(sorted(methods | ({b"HEAD"} if b"GET" in methods else set())))
