"""Log lines: one JSON object each on stderr, a constant dotted `event` and facts as keys."""

from __future__ import annotations

import logging
import sys
from typing import Any, Final

import msgspec
import structlog

_encode: Final = msgspec.json.Encoder(enc_hook=repr).encode
# A frame's local variables hold what the caller sent; that is nobody's business in a log.
_tracebacks: Final = structlog.tracebacks.ExceptionDictTransformer(show_locals=False)


def configure(level: str) -> None:
    """Send our events, and the warnings of the libraries, to stderr as JSON lines."""
    threshold = logging.getLevelNamesMapping()[level.upper()]
    shared: list[structlog.typing.Processor] = [
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.ExceptionRenderer(_tracebacks),
    ]
    structlog.configure(
        processors=[*shared, structlog.processors.JSONRenderer(serializer=_serialize)],
        wrapper_class=structlog.make_filtering_bound_logger(threshold),
        logger_factory=structlog.BytesLoggerFactory(sys.stderr.buffer),
        cache_logger_on_first_use=True,
    )
    handler = logging.StreamHandler(sys.stderr)
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


def _serialize(event: dict[str, Any], **_: object) -> bytes:
    return _encode(event)


def _name_library(_logger: object, _method: str, event: structlog.typing.EventDict) -> structlog.typing.EventDict:
    """Give a library's line a constant event, its words as a fact."""
    record: logging.LogRecord = event["_record"]
    return {**event, "event": "library.said", "library": record.name, "message": event["event"]}
