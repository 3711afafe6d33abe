"""The envelope: what holds for every request, whether or not there is anything at its path.

A request id, HEAD wherever GET works, a metric, a span and a log line for each request, a problem document for whatever
exception the framework let through, and `Connection: close` on every answer once the service is to stop.
"""

from __future__ import annotations

import random
import re
import time
from collections.abc import Callable, Sequence
from typing import Final

import structlog
from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Message, Receive, Scope, Send

from featherline_service.messages.texts import Texts
from featherline_service.runtime.logs import request_ids
from featherline_service.web.http import problems
from featherline_service.web.http.context import ComputedFor, context_of
from featherline_service.web.telemetry.metrics import Metrics
from featherline_service.web.telemetry.trace_context import StartSpan, read_parent, start_span

_ID_BYTES: Final = 16
_VARIABLE: Final = re.compile(r"\\\{.*?\\\}")  # of an escaped template
_VALID_ID: Final = re.compile(rb"[A-Za-z0-9._:+/=-]{1,128}")

_log: Final = structlog.stdlib.get_logger()


class Envelope:
    """An ASGI application around another."""

    def __init__(
        self,
        app: ASGIApp,
        metrics: Metrics | None = None,
        start_span: StartSpan = start_span,
        templates: Sequence[str] = (),
        words: Callable[[Scope], Texts] | None = None,
    ) -> None:
        self._app = app
        self._words = words
        self._templates = {template: re.compile(_VARIABLE.sub("[^/]+", re.escape(template))) for template in templates}
        self._start_span = start_span
        self._metrics = metrics or Metrics()
        self._stopping = False

    def stop(self) -> None:
        """From now on say that the service is not ready, and close each connection with its next answer."""
        self._stopping = True

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        if scope["type"] == ScopeType.HTTP:
            await self._serve_request(scope, receive, send)
        else:
            await self._app(scope, receive, send)

    def _route_of(self, path: str) -> str | None:
        """Return the template of a path whose request was refused before it was routed."""
        return next((template for template, pattern in self._templates.items() if pattern.fullmatch(path)), None)

    async def _serve_request(self, received: HTTPScope, receive: Receive, send: Send) -> None:
        started = time.perf_counter()
        context = context_of(received)
        context.request_id = _request_id(received)
        context.stopping = self._stopping
        if self._words is not None:
            context.words = self._words
        span = self._start_span(read_parent(received))
        ids = {"request_id": context.request_id, "trace_id": span.trace_id, "span_id": span.span_id}
        request_ids.set(ids)
        method, scheme = received["method"], received.get("scheme", "http")
        head = method == "HEAD"
        scope: HTTPScope = {**received, "method": "GET" if head else method}
        status = 0
        labels = self._metrics.request_started(method, scheme)

        async def send_in_envelope(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = [
                    *map(_with_head_allowed, message["headers"]),
                    *context.response_headers,
                    (b"x-request-id", context.request_id.encode()),
                ]
                message["headers"] = [*headers, (b"connection", b"close")] if self._stopping else headers
            elif head and message["type"] == "http.response.body":
                message["body"] = b""
            await send(message)

        try:
            await self._app(scope, receive, send_in_envelope)
        except Exception as error:  # noqa: BLE001 - the last resort: everything is answered and logged
            problem = problems.internal(error, context.request_id)
            if not status:
                await problems.send_problem(scope, send_in_envelope, problem)
        finally:
            took_s = time.perf_counter() - started
            route = scope.get("path_template")
            self._metrics.request_finished(labels, route, status, took_s)
            key = context.caller.id if context.caller else context.refused_key
            if context.problem is not None:
                self._metrics.request_refused(key or "", context.problem.problem)
            span.end(method, scheme, route, status, context.computed)
            _log.info(
                "request.finished",
                **ids,
                method=method,
                route=route or self._route_of(scope["path"]),
                key=key,
                status=status or None,
                duration_ms=round(took_s * 1000, 3),
                **({} if context.computed is None else _told(context.computed)),
                **({} if context.problem is None else context.problem._asdict()),
            )


def _told(computed: ComputedFor) -> dict[str, float]:
    return {"queued_ms": round(computed.waited_s * 1000, 3), "computed_ms": round(computed.took_s * 1000, 3)}


def _request_id(scope: HTTPScope) -> str:
    """Return the id that the caller sent, when it is valid; else a new one."""
    for name, value in scope["headers"]:
        if name == b"x-request-id" and _VALID_ID.fullmatch(value):
            return value.decode()
    return random.randbytes(_ID_BYTES).hex()  # noqa: S311 - a name, no secret


def _with_head_allowed(header: tuple[bytes, bytes]) -> tuple[bytes, bytes]:
    """Return a header as it was; an Allow header with HEAD wherever it has GET."""
    name, value = header
    if name.lower() != b"allow":
        return header
    methods = {method.strip() for method in value.split(b",")}
    return name, b", ".join(sorted(methods | ({b"HEAD"} if b"GET" in methods else set())))
