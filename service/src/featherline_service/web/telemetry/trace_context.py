"""Trace context: the trace that a request belongs to, its caller's or a new one.

References:
    W3C Trace Context (Recommendation, 23 November 2021), sections 3.2 and 4.3. The service asks nobody else, so
    nothing is passed on but to whoever collects spans; no field of an answer is standard yet, so answers have none.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from typing import Final

from litestar.types import Scope
from msgspec import Struct

from featherline_service.web.http.context import ComputedFor, header

_PARENT: Final = re.compile(r"([0-9a-f]{2})-([0-9a-f]{32})-([0-9a-f]{16})-([0-9a-f]{2})(-.*)?", re.DOTALL)
_FIRST_VERSION: Final = "00"
_NO_VERSION: Final = "ff"
_NO_TRACE: Final = "0" * 32
_NO_SPAN: Final = "0" * 16
_TRACE_DIGITS: Final = 32
_BYTES: Final = 16 + 8


class Parent(Struct, frozen=True):
    """The caller's trace and span, its flags, and its `tracestate` fields as sent."""

    trace_id: str
    span_id: str
    flags: int
    state: tuple[str, ...] = ()


class Span(Struct, frozen=True):
    """The span of a request, whose ids, in hexadecimal digits, are in the log."""

    trace_id: str
    span_id: str

    def end(
        self, method: str, scheme: str, route: str | None, status: int, computed: ComputedFor | None = None
    ) -> None:
        """End the span with the request's outcome; the status is 0 where there was no answer."""


StartSpan = Callable[[Parent | None], Span]
"""Starts a span of the caller's trace, or the first of a new one."""


def start_span(parent: Parent | None) -> Span:
    """Return a span that is not exported."""
    drawn = random.randbytes(_BYTES).hex()  # noqa: S311 - names, not secrets
    return Span(drawn[:_TRACE_DIGITS] if parent is None else parent.trace_id, drawn[_TRACE_DIGITS:])


def read_parent(scope: Scope) -> Parent | None:
    """Return the parent span that a request names; None where it names none, or a malformed one."""
    text = header(scope, b"traceparent")
    # A field that comes twice cannot be parsed.
    parent = None if text is None else parse(text.strip(" \t"))
    if parent is None:
        return None
    state = tuple(value.decode("latin-1") for name, value in scope["headers"] if name == b"tracestate")
    return Parent(parent.trace_id, parent.span_id, parent.flags, state)


def parse(text: str) -> Parent | None:
    """Return the parent span of a `traceparent`; None where it is malformed.

    Of a version that is not known yet the beginning is read, as section 4.3 asks.

    Args:
        text: The value of the field.
    """
    match = _PARENT.fullmatch(text)
    if match is None:
        return None
    version, trace_id, span_id, flags, rest = match.groups()
    if version == _NO_VERSION or (version == _FIRST_VERSION and rest is not None):
        return None
    if trace_id == _NO_TRACE or span_id == _NO_SPAN:
        return None
    return Parent(trace_id, span_id, int(flags, 16))
