"""Log lines: one JSON object each on stderr, a constant dotted `event` and facts as keys.

A line that cannot be written (a full disk, a closed pipe) is dropped: answers matter more than their log. The next line
that can be written tells how many were lost.
"""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Mapping
from contextvars import ContextVar
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any, Final

import msgspec
import structlog

_encode: Final = msgspec.json.Encoder(enc_hook=repr).encode
# A frame's local variables hold what the caller sent; that is nobody's business in a log.
_tracebacks: Final = structlog.tracebacks.ExceptionDictTransformer(show_locals=False)


request_ids: Final[ContextVar[Mapping[str, str]]] = ContextVar("request_ids", default=MappingProxyType({}))
"""The ids of the request that is being answered: every log line has them."""


class Lines:
    """Lines written to a file descriptor, without a buffer; those that cannot be written are counted."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self.dropped = 0
        self._torn = False

    def write(self, line: bytes) -> None:
        """Write a line, or count it as dropped; never raises."""
        text = (b"\n" if self._torn else b"") + (self._loss() if self.dropped else b"") + line
        try:
            written = os.write(self._descriptor, text)
        except OSError:
            self.dropped += 1
        else:
            self._torn = written < len(text)
            self.dropped = int(self._torn)

    def flush(self) -> None:
        """Do nothing: there is no buffer."""

    def _loss(self) -> bytes:
        now = datetime.now(UTC).isoformat().replace("+00:00", "Z")
        return _encode({"event": "log.dropped", "level": "error", "timestamp": now, "lines": self.dropped}) + b"\n"


class _Handler(logging.Handler):
    """Writes the records of the libraries."""

    def __init__(self, lines: Lines) -> None:
        super().__init__()
        self._lines = lines

    def emit(self, record: logging.LogRecord) -> None:
        """Write a record as one line."""
        self._lines.write(self.format(record).encode() + b"\n")


def configure(level: str) -> None:
    """Send our events, and the warnings of the libraries, to stderr as JSON lines."""
    threshold = logging.getLevelNamesMapping()[level.upper()]
    lines = Lines(sys.stderr.fileno())
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
