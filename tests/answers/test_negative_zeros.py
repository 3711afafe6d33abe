"""No answer to a stored request has a negative zero."""

from __future__ import annotations

import asyncio
import json
import math
from typing import Any

import pytest
from ask_requests import answers
from draw_requests import STORED
from structlog.testing import capture_logs

EVERY = 10
"""Of the stored requests, one in so many is asked."""


def negative_zeros(value: Any) -> int:  # noqa: ANN401 - any JSON
    """Return how many numbers in decoded JSON are a negative zero."""
    if isinstance(value, dict):
        return sum(map(negative_zeros, value.values()))
    if isinstance(value, list):
        return sum(map(negative_zeros, value))
    return int(isinstance(value, float) and value == 0.0 and math.copysign(1.0, value) < 0.0)


@pytest.mark.slow
def test_answers_have_no_negative_zero() -> None:
    """Not in JSON, nor in lines of JSON."""
    asked = [json.loads(line) for line in STORED.read_text("utf-8").splitlines()[::EVERY]]
    with capture_logs():
        given = asyncio.run(answers(asked))
    texts = [each["text"] for each in given if "json" in each["headers"].get("content-type", "")]
    assert len(texts) > len(asked) // 2
    assert 0 == sum(negative_zeros(json.loads(line)) for text in texts for line in text.splitlines() if line)
