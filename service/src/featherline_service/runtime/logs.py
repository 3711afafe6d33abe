"""Log lines: one JSON object each on stderr, a constant dotted `event` and facts as keys.

Answers matter more than their log: a thread writes the lines, so that a pipe that nobody reads holds up nothing else. A
line that cannot be written (a full disk, a closed pipe), or that too many wait before, is dropped. When lines can be
written again, one tells how many were lost.
"""

from __future__ import annotations

import atexit
import logging
import os
import sys
import threading
from collections.abc import Mapping
from contextvars import ContextVar
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any, Final

import msgspec
import structlog
from prometheus_client import Counter

_MOST_BYTES: Final = 1_048_576  # of lines that wait; some 3,000 requests
_LAST_S: Final = 1.0
_WITHHELD: Final = "(withheld)"
_encode: Final = msgspec.json.Encoder(enc_hook=repr).encode
# A frame's local variables hold what the caller sent; that is nobody's business in a log.
_with_text: Final = structlog.tracebacks.ExceptionDictTransformer(show_locals=False)


def _tracebacks(exc_info: structlog.typing.ExcInfo) -> list[dict[str, Any]]:
    """Return the types of exceptions and where they were raised. Their texts may name what a customer typed."""
    return [_without_text(exception) for exception in _with_text(exc_info)]


def _without_text(exception: dict[str, Any]) -> dict[str, Any]:
    inner = [list(map(_without_text, group)) for group in exception["exceptions"]]
    return {**exception, "exc_value": _WITHHELD, "exc_notes": [], "syntax_error": None, "exceptions": inner}


request_ids: Final[ContextVar[Mapping[str, str]]] = ContextVar("request_ids", default=MappingProxyType({}))
"""The ids of the request that is being answered: every log line has them."""


lines_dropped: Final = Counter(
    "featherline_log_lines_dropped",
    "Lines of the log that could not be written, or not in time.",
    registry=None,  # of this process; each application's registry takes it in
)


class Lines:
    """Lines that a thread writes to a file descriptor, without a buffer; those that cannot be written are counted."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._changed = threading.Condition()  # on a lock that who holds it may take again, such as a finalizer
        self._pending: list[bytes] = []
        self._bytes = 0
        self._surplus = 0
        self._closed = False
        self._dropped = 0  # and not told of yet
        self._torn = False
        self._thread = threading.Thread(target=self._run, name="log", daemon=True)
        self._thread.start()

    def write(self, line: bytes) -> None:
        """Have a line written, or count it as dropped; never waits or raises."""
        with self._changed:
            if self._bytes + len(line) > _MOST_BYTES:
                self._surplus += 1
                lines_dropped.inc()
            else:
                self._pending.append(line)
                self._bytes += len(line)
                self._changed.notify()

    def flush(self) -> None:
        """Do nothing: whoever logs does not wait."""

    def close(self) -> None:
        """Write what waits; at the end of the process, which waits a second for it."""
        with self._changed:
            self._closed = True
            self._changed.notify()
        self._thread.join(_LAST_S)

    def _run(self) -> None:
        while not self._closed or self._pending:
            with self._changed:
                self._changed.wait_for(lambda: self._pending or self._closed)
                lines, self._pending, self._bytes = self._pending, [], 0
                surplus, self._surplus = self._surplus, 0
            for line in lines:
                self._write(line)
            self._dropped += surplus
            if self._dropped:
                self._write(b"")

    def _write(self, line: bytes) -> None:
        """Write a line, after one that tells of those that were dropped before."""
        before = (b"\n" if self._torn else b"") + (self._loss() if self._dropped else b"")
        text = before + line
        try:
            written = os.write(self._descriptor, text)
        except OSError:
            written = 0
        else:
            self._torn = written < len(text)
        if written >= len(before):
            self._dropped = 0
        if line and written < len(text):
            self._dropped += 1
            lines_dropped.inc()

    def _loss(self) -> bytes:
        now = datetime.now(UTC).isoformat().replace("+00:00", "Z")
        return _encode({"event": "log.dropped", "level": "error", "timestamp": now, "lines": self._dropped}) + b"\n"


class _Collected:
    """Lines that are kept for another process to write."""

    def __init__(self) -> None:
        self.lines: list[bytes] = []

    def write(self, line: bytes) -> None:
        """Keep a line."""
        self.lines.append(line)

    def flush(self) -> None:
        """Do nothing: whoever takes the lines does."""


class _Handler(logging.Handler):
    """Writes the records of the libraries."""

    def __init__(self, lines: Lines | _Collected) -> None:
        super().__init__()
        self._lines = lines

    def emit(self, record: logging.LogRecord) -> None:
        """Write a record as one line."""
        self._lines.write(self.format(record).encode() + b"\n")


class _Log:
    """The lines of this process, once they are configured."""

    lines: Lines | None = None


def configure(level: str) -> None:
    """Send our events, and the warnings of the libraries, to stderr as JSON lines."""
    _Log.lines = Lines(sys.stderr.fileno())
    atexit.register(_Log.lines.close)
    _configure(level, _Log.lines)


def collect(level: str) -> list[bytes]:
    """Return the list to which our events and the warnings of the libraries come from now on, as JSON lines."""
    collected = _Collected()
    _configure(level, collected)
    return collected.lines


def write(line: bytes) -> None:
    """Write a line that another process has collected."""
    if _Log.lines is not None:
        _Log.lines.write(line)


def _configure(level: str, lines: Lines | _Collected) -> None:
    threshold = logging.getLevelNamesMapping()[level.upper()]
    shared: list[structlog.typing.Processor] = [
        _with_ids,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.ExceptionRenderer(_tracebacks),
    ]
    structlog.configure(
        processors=[*shared, structlog.processors.JSONRenderer(serializer=_serialize)],
        wrapper_class=structlog.make_filtering_bound_logger(threshold),
        logger_factory=structlog.BytesLoggerFactory(lines),  # type: ignore[arg-type]  # a descriptor's writes and flushes are all that is needed
        cache_logger_on_first_use=True,
    )
    handler = _Handler(lines)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            foreign_pre_chain=shared,
            processors=[
                _name_library,
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                structlog.processors.JSONRenderer(serializer=lambda event, **_: _encode(event).decode()),
            ],
        )
    )
    logging.captureWarnings(capture=True)
    logging.basicConfig(level=max(threshold, logging.WARNING), handlers=[handler], force=True)


def _with_ids(_logger: object, _method: str, event: structlog.typing.EventDict) -> structlog.typing.EventDict:
    return {**request_ids.get(), **event}


def _serialize(event: dict[str, Any], **_: object) -> bytes:
    return _encode(event)


def _name_library(_logger: object, _method: str, event: structlog.typing.EventDict) -> structlog.typing.EventDict:
    """Give a library's line a constant event, its words as a fact."""
    record: logging.LogRecord = event["_record"]
    return {**event, "event": "library.said", "library": record.name, "message": event["event"]}
