from __future__ import annotations

import math

import numpy as np
import pytest

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import transforms

HALF = math.sqrt(3.0) / 2.0


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", [[1, 0, 0], [0, 1, 0]]),
        ("matrix(1 2 3 4 5 6)", [[1, 3, 5], [2, 4, 6]]),
        ("translate(3)", [[1, 0, 3], [0, 1, 0]]),
        ("translate(3 4)", [[1, 0, 3], [0, 1, 4]]),
        ("scale(2)", [[2, 0, 0], [0, 2, 0]]),
        ("scale(2,-3)", [[2, 0, 0], [0, -3, 0]]),
        ("rotate(30)", [[HALF, -0.5, 0], [0.5, HALF, 0]]),
        ("rotate(390)", [[HALF, -0.5, 0], [0.5, HALF, 0]]),
        ("rotate(90 10 20)", [[0, -1, 30], [1, 0, 10]]),
        ("rotate(-90 10 20)", [[0, 1, -10], [-1, 0, 30]]),
        ("skewX(45)", [[1, 1, 0], [0, 1, 0]]),
        ("skewY(405)", [[1, 0, 0], [1, 1, 0]]),
        ("translate(3 4) scale(2)", [[2, 0, 3], [0, 2, 4]]),
        (" ,scale(2),\ntranslate ( 3 , 4 ) ", [[2, 0, 6], [0, 2, 8]]),
        ("translate(3-4)scale(.5.25)", [[0.5, 0, 3], [0, 0.25, -4]]),
        ("translate(1e1 1000000)", [[1, 0, 10], [0, 1, 1_000_000]]),
    ],
)
def test_a_list_of_transforms_is_one_matrix(text: str, expected: list[list[float]]) -> None:
    """Its product in the order of writing, by the matrices of SVG 1.1 (Second Edition), section 7.6."""
    assert pytest.approx(np.array([*expected, [0, 0, 1]]), abs=1e-12) == transforms.matrix(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("turn(3)", "transform='turn(3)' is not a list of transforms: write such as 'translate(3 4)'"),
        ("translate(3;4)", "transform='translate(3;4)' is not a list of transforms: write such as 'translate(3 4)'"),
        ("translate()", "transform='translate()' is not a list of transforms: write such as 'translate(3 4)'"),
        ("scale(1) x", "transform='scale(1) x' is not a list of transforms: write such as 'translate(3 4)'"),
        ("ROTATE(3)", "transform='ROTATE(3)' is not a list of transforms: write such as 'translate(3 4)'"),
        ("rotate(1 2)", "'rotate(1 2)' has 2 numbers, which is not what it takes"),
        (" translate(1 2 3)", "'translate(1 2 3)' has 3 numbers, which is not what it takes"),
        ("scale(1 2 3)", "'scale(1 2 3)' has 3 numbers, which is not what it takes"),
        ("matrix(1 2 3 4 5)", "'matrix(1 2 3 4 5)' has 5 numbers, which is not what it takes"),
        ("skewX(1 2)", "'skewX(1 2)' has 2 numbers, which is not what it takes"),
        ("skewY(1 2)", "'skewY(1 2)' has 2 numbers, which is not what it takes"),
        ("translate(1000001)", "'translate(1000001)' is beyond 1000000"),
        ("scale(1 -1e999)", "'scale(1 -1e999)' is beyond 1000000"),
    ],
)
def test_what_is_no_list_of_transforms_is_refused(text: str, message: str) -> None:
    """The message shows it."""
    with pytest.raises(DrawingError) as refused:
        transforms.matrix(text)

    assert message == str(refused.value)


def test_a_refusal_shows_the_first_sixty_characters() -> None:
    """However long the attribute is."""
    with pytest.raises(DrawingError) as refused:
        transforms.matrix("y" * 61)

    assert f"transform='{'y' * 60}' is not" in str(refused.value)
