"""Scene: a picture as plain data, shapes and words on a sheet in millimetres, x to the right, y downwards.

Items are painted in order. The same scene is written as SVG and set into a PDF, so both show the same.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Points = NDArray[np.float64]
"""Points of one contour or line [mm], ``(n, 2)``."""
Anchor = Literal["start", "middle", "end"]
Box = tuple[float, float, float, float]
"""Left, top, right and bottom of a box [mm]."""

BLACK: Final = "#111111"
GREY: Final = "#5f6368"
PALE: Final = "#d5d7da"
WHITE: Final = "#ffffff"
MARGIN: Final = 7.0
"""[mm] Of a drawing's sheet."""
TITLE: Final = 4.4
TEXT: Final = 3.1
SMALL: Final = 2.7
"""[mm] Sizes of words: of a title, of the sentences under it, of labels and figures."""
_MOST_LINES: Final = 8
ASCENT: Final = 0.76
"""[-] Height of capitals and ascenders over the baseline, as a share of the size."""
DESCENT: Final = 0.22
"""[-] Depth of descenders below the baseline, as a share of the size."""
_WIDTHS: Final[dict[str, float]] = {
    character: width
    for width, characters in (
        (0.25, "'"),
        (0.3, " ,.Iijl|"),
        (0.35, "!:;[]`t"),
        (0.4, "()-fr{}°"),
        (0.45, "/\\"),
        (0.5, '"*'),
        (0.55, "z"),
        (0.6, "$+0123456789<=>J^_aceksvxy±\N{MULTIPLICATION SIGN}"),
        (0.65, "#?FLTZbdghnopqu"),
        (0.7, "EPSVXY~\N{EN DASH}"),
        (0.75, "&ABCDHKNRU"),
        (0.8, "GOQw"),
        (0.85, "½"),
        (0.9, "%Mm"),
        (0.95, "W"),
        (1.05, "@"),
    )
    for character in characters
}  # fmt: skip
"""[-] Widths of characters as shares of their size: at least those of Helvetica and Roboto, regular and bold."""
_OTHER_WIDTH: Final = 1.0
_MINUS_ZERO: Final = re.compile(r"^-(0(?:\.0*)?)$")


class Ink(NamedTuple):
    """Paint of a shape: `fill` and `stroke` are colours or None; `width` and `dash` are in millimetres."""

    fill: str | None = None
    stroke: str | None = None
    width: float = 0.2
    dash: tuple[float, ...] = ()


class Shape(NamedTuple):
    """Contours, filled by the even-odd rule, or open lines. `name` tells what the shape depicts."""

    name: str
    contours: tuple[Points, ...]
    ink: Ink
    closed: bool = True


class Words(NamedTuple):
    """One line of words whose baseline starts, is centred or ends at a point.

    `turn` [deg] turns it counter-clockwise about that point.
    """

    text: str
    x: float
    y: float
    size: float
    anchor: Anchor = "start"
    bold: bool = False
    colour: str = BLACK
    turn: float = 0.0


class Scene(NamedTuple):
    """A sheet [mm] with its title, its description in words, and its items."""

    name: str
    title: str
    description: str
    width: float
    height: float
    items: tuple[Shape | Words, ...]


def room_for(text: str, size: float) -> float:
    """Return the width [mm] of a line of words of a size [mm]: an upper bound in the usual sans-serif faces."""
    return size * sum(_WIDTHS.get(character, _OTHER_WIDTH) for character in text)


def fitted(text: str, size: float, width: float) -> str:
    """Return words that fit a width [mm], cut with an ellipsis where they are too long."""
    if room_for(text, size) <= width:
        return text
    kept = text
    while kept and room_for(kept + "…", size) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def wrapped(text: str, size: float, width: float, most: int) -> tuple[str, ...]:
    """Return words on at most `most` lines that each fit a width [mm]; the last line is cut where they need more."""
    lines: list[str] = []
    for word in (part for whole in text.split() for part in _broken(whole, size, width)):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and (len(lines) >= most or room_for(longer, size) <= width):
            lines[-1] = longer
        else:
            lines.append(word)
    return tuple(fitted(words, size, width) for words in lines)


def _broken(word: str, size: float, width: float) -> Iterator[str]:
    """Yield a word, in parts where it is wider than a line."""
    begin = 0
    for end in range(1, len(word)):
        if room_for(word[begin : end + 1], size) > width:
            yield word[begin:end]
            begin = end
    yield word[begin:]


def heading(title: str, sentences: Sequence[str], width: float) -> Iterator[Words]:
    """Yield a title and sentences under it, at the top left of a sheet, on lines that fit a width [mm]."""
    y = MARGIN - 0.5 * TITLE
    for part in wrapped(title, TITLE, width, 2):
        y += 1.3 * TITLE
        yield Words(part, MARGIN, y, TITLE, bold=True)
    for sentence in sentences:
        for part in wrapped(sentence, TEXT, width, _MOST_LINES):
            y += 1.45 * TEXT
            yield Words(part, MARGIN, y, TEXT, colour=GREY)


def words_box(words: Words) -> Box:
    """Return the box of words that are not turned: left, top, right, bottom [mm]."""
    wide = room_for(words.text, words.size)
    left = words.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor] * wide
    return left, words.y - ASCENT * words.size, left + wide, words.y + DESCENT * words.size


def boxes_overlap(first: Box, second: Box, clear: float) -> bool:
    """Return whether two boxes are nearer to one another than a distance [mm]."""
    return (
        first[0] < second[2] + clear
        and second[0] < first[2] + clear
        and first[1] < second[3] + clear
        and second[1] < first[3] + clear
    )


def box_around(middle: tuple[float, float], wide: float, high: float) -> Box:
    """Return the box of a size [mm] around its middle."""
    x, y = middle
    return x - 0.5 * wide, y - 0.5 * high, x + 0.5 * wide, y + 0.5 * high


def nearest_in(around: Box, point: tuple[float, float]) -> tuple[float, float]:
    """Return the point of a box that is nearest to a point."""
    return min(max(point[0], around[0]), around[2]), min(max(point[1], around[1]), around[3])


def without_minus_zero(figures: str) -> str:
    """Return figures, those of minus zero without the sign."""
    return _MINUS_ZERO.sub(r"\1", figures)


def line(name: str, ink: Ink, *points: tuple[float, float]) -> Shape:
    """Return an open line through points [mm]."""
    return Shape(name, (np.array(points, dtype=np.float64),), ink, closed=False)


def box(name: str, ink: Ink, left: float, top: float, width: float, height: float) -> Shape:  # noqa: PLR0917 - a rectangle
    """Return a rectangle [mm]."""
    right, bottom = left + width, top + height
    return Shape(name, (np.array([(left, top), (right, top), (right, bottom), (left, bottom)]),), ink)


def arrow_head(at: tuple[float, float], towards: tuple[float, float], length: float) -> Shape:
    """Return a filled arrow head with its tip at a point, pointing in a direction [mm]."""
    tip, way = np.array(at), np.array(towards) / np.hypot(*towards)
    side = 0.3 * length * np.array([-way[1], way[0]])
    foot = tip - length * way
    return Shape("arrow", (np.array([tip, foot + side, foot - side]),), Ink(fill=BLACK))


def circle(radius: float, corners: int) -> Points:
    """Return the corners of a circle about the origin [mm], ``(corners, 2)``."""
    turn = np.linspace(0.0, 2.0 * math.pi, corners, endpoint=False)
    return radius * np.column_stack((np.cos(turn), np.sin(turn)))


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
