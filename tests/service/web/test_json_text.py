"""Numbers as they leave the service."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.web.http.json_text import encode

TRAPS = (-0.0, 0.0, -0.05, "-0.0", '"-0.0\\', "[-0.0,")
EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"


def floats(value: Any) -> list[float]:  # noqa: ANN401 - any JSON
    """Return all floats in decoded JSON."""
    if isinstance(value, dict):
        return [found for each in value.values() for found in floats(each)]
    if isinstance(value, list):
        return [found for each in value for found in floats(each)]
    return [value] if isinstance(value, float) else []


def negative_zeros(text: str) -> int:
    """Return how many numbers in a JSON text are a negative zero."""
    return sum(value == 0.0 and math.copysign(1.0, value) < 0.0 for value in floats(json.loads(text)))


@given(
    st.recursive(
        st.one_of(
            st.sampled_from([-0.0, 0.0, -0.05, "-0.0", '"-0.0\\', "[-0.0,"]), st.text(), st.floats(allow_nan=False)
        ),
        lambda inner: st.one_of(st.lists(inner), st.dictionaries(st.text(), inner)),
    )
)
def test_only_the_sign_of_zero_is_lost(value: object) -> None:
    """Whatever is encoded decodes to an equal value, texts with quotes and backslashes too, without a negative zero."""
    text = encode(value)
    assert msgspec.json.decode(msgspec.json.encode(value)) == msgspec.json.decode(text)
    assert 0 == negative_zeros(text.decode())


@pytest.mark.parametrize("path", sorted(EXAMPLES.rglob("*answer*.json")), ids=lambda path: path.stem)
def test_example_answers_have_no_negative_zero(path: Path) -> None:
    """None of the published answers shows one."""
    assert 0 == negative_zeros(path.read_text("utf-8"))
