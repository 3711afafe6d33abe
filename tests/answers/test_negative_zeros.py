"""No answer to a stored request has a negative zero."""

from __future__ import annotations

import asyncio
import json
import math
import re
from typing import Any

import pytest
from ask_requests import answers
from draw_requests import STORED
from draws import PERCENT
from structlog.testing import capture_logs

EVERY = 1000 // PERCENT
"""Of the stored requests, one in so many is asked: by day fewer."""

MINUS_ZERO = re.compile(r"(?<![\w.-])[-\u2212]0(?:\.0*)?(?![\w.])|(?<=[ML])-0(?= )|(?<= )-0(?=[MLZ])")
"""A zero with a minus sign as a word of its own, in text or among the coordinates of a drawing."""


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


@pytest.mark.slow
def test_pictures_have_no_negative_zero() -> None:
    """Neither coordinates nor words of drawings and pages have one."""
    stored = [json.loads(line) for line in STORED.read_text("utf-8").splitlines()]
    asked = [each for each in stored if each.get("accept", "").endswith(("svg+xml", "html"))][::EVERY]
    with capture_logs():
        given = asyncio.run(answers(asked))
    texts = [each["text"] for each in given if each["headers"]["content-type"].startswith(("image/svg", "text/html"))]
    assert texts
    assert [] == [match[0] for text in texts for match in MINUS_ZERO.finditer(text)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("M-0 1", 1),
        ("M1 -0L2 3", 1),
        ("M1 -0 2", 1),
        ("-0.0 mm", 1),
        ("\u22120 degC", 1),
        ("-0.05", 0),
        ("a-0", 0),
        ("2026-0", 0),
    ],
)
def test_a_negative_zero_in_text_is_seen(text: str, expected: int) -> None:
    """A number that only begins like one, and a hyphen in a name, are none."""
    assert expected == len(MINUS_ZERO.findall(text))
