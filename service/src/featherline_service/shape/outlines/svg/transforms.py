"""Transform attributes of SVG: lists of transforms as matrices."""

from __future__ import annotations

import math
import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from featherline_service.messages.values import Quantity
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths
from featherline_service.shape.outlines.svg.paths import NUMBER

Matrix = NDArray[np.float64]

NUMBERS: Final = re.compile(rf"\s*{NUMBER}(?:(?:\s+,?\s*|,\s*|(?=[+-])|(?=\.)){NUMBER})*\s*")
_TRANSFORM: Final = re.compile(r"[\s,]*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^()]*)\)[\s,]*")
_ARGUMENTS: Final = {
    "matrix": {6}, "translate": {1, 2}, "scale": {1, 2}, "rotate": {1, 3}, "skewX": {1}, "skewY": {1},
}  # fmt: skip


def matrix(text: str) -> Matrix:
    """Return the matrix of a list of transforms, shape (3, 3).

    Raises:
        DrawingError: The text is not a list of transforms, or has numbers beyond the limits.

    References:
        SVG 1.1 (Second Edition), W3C 2011, section 7.6.
    """
    product: Matrix = np.eye(3)
    at = 0
    while at < len(text):
        match = _TRANSFORM.match(text, at)
        if match is None or NUMBERS.fullmatch(match[2]) is None:
            raise DrawingError(
                "svg.transform-unreadable",
                "transform={text!r} is not a list of transforms: write such as 'translate(3 4)'",
                text=text[:60],
            )
        values = [float(number) for number in re.findall(NUMBER, match[2])]
        if len(values) not in _ARGUMENTS[match[1]]:
            raise DrawingError(
                "svg.transform-numbers",
                "{match!r} has {values} numbers, which is not what it takes",
                match=match[0].strip()[:60],
                values=len(values),
            )
        if not all(abs(value) <= paths.LARGEST_COORDINATE for value in values):
            raise DrawingError(
                "svg.transform-too-large",
                "{match!r} is beyond {largest_coordinate}",
                match=match[0].strip()[:60],
                largest_coordinate=Quantity(round(paths.LARGEST_COORDINATE, 0), None, 0),
            )
        product = product @ _transform(match[1], values)
        at = match.end()
    return product


def _transform(name: str, values: list[float]) -> Matrix:
    a, b, c, d, e, f = 1.0, 0.0, 0.0, 1.0, 0.0, 0.0
    match name:
        case "matrix":
            a, b, c, d, e, f = values
        case "translate":
            e, f = (*values, 0.0)[:2]
        case "scale":
            a, d = (*values, values[0])[:2]
        case "skewX":
            c = math.tan(math.radians(math.fmod(values[0], 360.0)))
        case "skewY":
            b = math.tan(math.radians(math.fmod(values[0], 360.0)))
        case _:
            angle = math.radians(math.fmod(values[0], 360.0))
            a, b, c, d = math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle)
            x, y = (*values[1:], 0.0, 0.0)[:2]
            e, f = x - a * x - c * y, y - b * x - d * y
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])
