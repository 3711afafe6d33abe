"""Answers as JSON: where the numbers of all answers leave the service."""

from __future__ import annotations

import re
from typing import Any, Final

import msgspec

_encode: Final = msgspec.json.Encoder().encode
_NEGATIVE_ZERO: Final = b"-0.0"
_STRING_OR_NEGATIVE_ZERO: Final = re.compile(rb'"(?:[^"\\]|\\.)*"|-0\.0(?![0-9eE])')


def encode(answer: Any) -> bytes:  # noqa: ANN401 - whatever msgspec encodes
    """Return an answer as JSON, a negative zero as zero: the sign says nothing, and reads like a fault."""
    text = _encode(answer)
    if _NEGATIVE_ZERO not in text:
        return text
    return _STRING_OR_NEGATIVE_ZERO.sub(_unsigned, text)


def _unsigned(match: re.Match[bytes]) -> bytes:
    return b"0.0" if match[0] == _NEGATIVE_ZERO else match[0]
