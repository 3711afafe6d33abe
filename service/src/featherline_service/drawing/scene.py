"""A picture as plain data: shapes and words on a sheet in millimetres, x to the right, y downwards, painted in order.

One scene is written as SVG or set into a PDF, so that both show the same.
"""

from __future__ import annotations

import textwrap
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Points = NDArray[np.float64]
"""Points of one contour or line [mm], ``(n, 2)``."""
Anchor = Literal["start", "middle", "end"]

BLACK: Final = "#111111"
GREY: Final = "#5f6368"
PALE: Final = "#d5d7da"
WHITE: Final = "#ffffff"
LETTER_WIDTH: Final = 0.57
"""[-] Width of a letter as a share of its size, on average, in a plain sans-serif face: to leave room for words."""


class Ink(NamedTuple):
    """How a shape is painted: `fill` and `stroke` are colours or None; `width` and `dash` are in millimetres."""

    fill: str | None = None
    stroke: str | None = None
    width: float = 0.2
    dash: tuple[float, ...] = ()


class Shape(NamedTuple):
    """Contours, filled by the even-odd rule, or open lines. `name` says what the shape is, for style and for tests."""

    name: str
    contours: tuple[Points, ...]
    ink: Ink
    closed: bool = True


class Words(NamedTuple):
    """One line of words whose baseline starts, is centred or ends at a point, turned counter-clockwise by degrees."""

    text: str
    x: float
    y: float
    size: float
    anchor: Anchor = "start"
    bold: bool = False
    colour: str = BLACK
    turn: float = 0.0


class Scene(NamedTuple):
    """A sheet [mm], what it shows in words, and what is on it."""

    name: str
    title: str
    description: str
    width: float
    height: float
    items: tuple[Shape | Words, ...]


def room_for(text: str, size: float) -> float:
    """Return about how wide [mm] words of a size [mm] are."""
    return LETTER_WIDTH * size * len(text)


def fitted(text: str, size: float, width: float) -> str:
    """Return words cut, with an ellipsis, so that they fit a width [mm]."""
    most = max(1, int(width / (LETTER_WIDTH * size)))
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def wrapped(text: str, size: float, width: float, most: int) -> tuple[str, ...]:
    """Return words on at most so many lines that each fit a width [mm]; the last is cut where there are more."""
    lines = textwrap.wrap(text, max(8, int(width / (LETTER_WIDTH * size))))
    rest = " ".join(lines[most - 1 :])
    return (*lines[: most - 1], fitted(rest, size, width)) if len(lines) > most else tuple(lines)


def line(name: str, ink: Ink, *points: tuple[float, float]) -> Shape:
    """Return an open line through points [mm]."""
    return Shape(name, (np.array(points, dtype=np.float64),), ink, closed=False)


def box(name: str, ink: Ink, left: float, top: float, width: float, height: float) -> Shape:  # noqa: PLR0917 - a rectangle
    """Return a rectangle [mm]."""
    right, bottom = left + width, top + height
    return Shape(name, (np.array([(left, top), (right, top), (right, bottom), (left, bottom)]),), ink)


def arrow_head(at: tuple[float, float], towards: tuple[float, float], length: float, colour: str = BLACK) -> Shape:
    """Return a filled arrow head with its tip at a point, pointing in a direction [mm]."""
    tip, way = np.array(at), np.array(towards) / np.hypot(*towards)
    side = 0.3 * length * np.array([-way[1], way[0]])
    foot = tip - length * way
    return Shape("arrow", (np.array([tip, foot + side, foot - side]),), Ink(fill=colour))


def contours(region: BaseGeometry) -> tuple[Points, ...]:
    """Return the contours of the polygons in any geometry, without the repeated last point."""
    return tuple(
        np.asarray(ring.coords)[:-1, :2]
        for part in shapely.get_parts(region)
        if isinstance(part, shapely.Polygon) and not part.is_empty
        for ring in (part.exterior, *part.interiors)
    )


def strokes(lines: BaseGeometry) -> tuple[Points, ...]:
    """Return the lines in any geometry."""
    return tuple(
        np.asarray(part.coords)[:, :2]
        for part in shapely.get_parts(shapely.line_merge(lines))
        if isinstance(part, shapely.LineString) and not part.is_empty
    )
