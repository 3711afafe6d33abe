"""The lines of an SVG drawing, in millimetres."""

from __future__ import annotations

import re
from typing import Final

import numpy as np

from featherline_service.messages.told import measured
from featherline_service.shape.outlines import curves
from featherline_service.shape.outlines.curves import Contour, DrawingError
from featherline_service.shape.outlines.svg import attributes, elements, paths
from featherline_service.shape.outlines.svg.elements import Root, Shape
from featherline_service.shape.panel_drawings.lines import (
    MILLIMETRES,
    SAY_UNIT,
    TOLERANCE_MM,
    Drawing,
    Line,
    Unit,
    is_red,
    refuse_far,
    refuse_lines,
)

_LENGTH: Final = re.compile(rf"\s*({paths.NUMBER})(mm|cm|in)\s*")
_PIXEL_MM: Final = 25.4 / 96.0
"""A user unit of a drawing without viewBox (CSS Values and Units Module Level 3, W3C, section 6.2)."""
_UNEVEN: Final = 1e-3
_PAPER: Final = "#ffffff"


def read(text: str, unit: Unit | None) -> Drawing:
    """Return the lines of an SVG drawing: the edges of what is filled or stroked.

    What is white without a stroke is taken for the paper.

    Args:
        text: The document.
        unit: Of its user units; None: its width and height say it.

    Raises:
        DrawingError: It cannot be read, or its size is not in millimetres.
    """
    shapes: list[tuple[Shape, str]] = []

    def take(shape: Shape) -> None:
        colour = _colour(shape)
        if colour is not None:
            shapes.append((shape, colour))
            refuse_lines(len(shapes))

    root = elements.read(text, take)
    scale = _scale(root) if unit is None else MILLIMETRES[unit]
    lines = tuple(
        _line(contour, closed=closed, scale=scale, names=shape.context.names, red=is_red(colour))
        for shape, colour in shapes
        for contour, closed in shape.lines()
    )
    return Drawing(lines, ())


def _line(contour: Contour, *, closed: bool, scale: float, names: tuple[str, ...], red: bool) -> Line:
    refuse_far(contour * scale)
    drawn = contour * (scale, -scale)
    points = curves.flatten(drawn, TOLERANCE_MM)
    return Line(points if closed else np.concatenate([points, drawn[-1:, 3]]), closed, names, red)


def _colour(shape: Shape) -> str | None:
    """Return the colour of a shape's stroke, or else of its fill; None where nothing is to be seen."""
    context = shape.context
    if context.stroked is not None:
        if context.stroked.lower() == "currentcolor":
            return context.colour
        return attributes.colour(shape.element, "stroke", context.stroked)
    return None if context.filled == _PAPER else context.filled


def _scale(root: Root) -> float:
    """Return the millimetres of a user unit.

    References:
        SVG 1.1 (Second Edition), W3C 2011, section 7.8: a viewBox is fitted into width and height, evenly.
    """
    sizes = [None if text is None else _LENGTH.fullmatch(text) for text in root.size]
    told = [f"{name}={text[:40]!r}" for name, text in zip(("width", "height"), root.size, strict=True) if text]
    if sizes[0] is None or sizes[1] is None:
        raise DrawingError(
            "panel-drawing.no-unit",
            "The drawing's size is not in millimetres ({told}): set the width and height of its "
            "page in mm, " + SAY_UNIT,
            told=" ".join(told) or "it has neither width nor height",
        )
    if not root.has_view_box:
        return _PIXEL_MM
    left, low, right, high = root.page
    across, down = (
        float(size[1]) * MILLIMETRES[size[2]] / side  # type: ignore[index] # one of the three units
        for size, side in zip(sizes, (right - left, high - low), strict=True)
        if size is not None
    )
    if abs(across - down) > _UNEVEN * down or not across > 0.0:
        raise DrawingError(
            "panel-drawing.distorted",
            "The drawing's {told} are not in the proportion of its viewBox: a unit is {across} "
            "wide and {down} high. Set them to what the page is, " + SAY_UNIT,
            told=" and ".join(told),
            across=measured(across, "mm"),
            down=measured(down, "mm"),
        )
    return across
