"""Answers as JSON: where the numbers of all answers leave the service."""

from __future__ import annotations

import re
from typing import Any, Final

import msgspec

_encode: Final = msgspec.json.Encoder().encode
_NEGATIVE_ZERO: Final = re.compile(rb"-0\.0(?![0-9eE])")
_AND_MINUS_OF_ZERO: Final = re.compile(rb'((?:"(?:[^"\\]++|\\.)*+"|[^"-]++|-(?!0\.0(?![0-9eE])))*+)-?')
"""Strings and all else up to a negative zero or the end, and the sign of that zero."""


def encode(answer: Any) -> bytes:  # noqa: ANN401 - whatever msgspec encodes
    """Return an answer as JSON, a negative zero as zero: the sign says nothing, and reads like a fault."""
    text = _encode(answer)
    return text if _NEGATIVE_ZERO.search(text) is None else _AND_MINUS_OF_ZERO.sub(rb"\1", text)
