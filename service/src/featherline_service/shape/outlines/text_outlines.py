"""Text outlines: glyphs shaped by HarfBuzz and laid out in lines, in font units, cached by glyph.

Font units keep cached outlines valid at every height.
"""

from __future__ import annotations

import cmath
import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
import uharfbuzz
from msgspec import Struct
from numpy.typing import NDArray
from shapely import MultiPolygon

from featherline.wire.problems import CustomerFaultCode
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import curves
from featherline_service.shape.outlines.bidirectional import runs
from featherline_service.shape.outlines.curves import Contour, DrawingError, Segment
from featherline_service.shape.outlines.regions import fill, polygons

Align = Literal["left", "centre", "right"]

LONGEST_TEXT: Final = 200
MOST_LINES: Final = 12
# Largest angle of a letter from the middle of its line on an arc, to either side [rad].
_LARGEST_ANGLE: Final = 0.95 * math.pi
# Characters without outlines. Lines are divided by U+000A alone, so U+2028 and U+2029 are refused too.
_REFUSED_CATEGORIES: Final = {
    "Cc": "a control character", "Cf": "an invisible formatting character", "Cs": "half of a surrogate pair",
    "Co": "a private character", "Cn": "not a character", "Zl": "a line separator", "Zp": "a paragraph separator",
}  # fmt: skip


class TextError(DrawingError):
    """A text that cannot be marked; the message says what to change, `code` and `values` say it to programs."""

    def __init__(self, code: CustomerFaultCode, pattern: str, **values: str | int) -> None:
        self.code = code
        self.values = values
        super().__init__(code, pattern, **values)


class MissingGlyphError(TextError):
    """A text with characters that the font lacks; `names` names them."""

    def __init__(self, names: str) -> None:
        self.names = names
        super().__init__(
            "text.lacks-glyphs", "The font lacks {names}: choose another font, or leave it out", names=names
        )


@dataclass(frozen=True, eq=False)
class Typeface:
    """A loaded font, hashed by identity. Lengths in font units, y upwards."""

    em: float
    capital: float
    font: uharfbuzz.Font


@cache
def typeface(file: Path) -> Typeface:
    """Load a font from a file.

    Raises:
        OSError: The file cannot be read.
        ValueError: The file is not a font, or has neither a capital height nor a capital H.

    References:
        OpenType 1.9.1, table OS/2, sCapHeight.
    """
    face = uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(file)))
    if face.glyph_count == 0:
        raise ValueError(f"{file.name} is not a font: give a TrueType or OpenType file")
    font = uharfbuzz.Font(face)
    capital = font.get_metric_position(uharfbuzz.OTMetricsTag.CAP_HEIGHT) or 0
    tall = font.get_nominal_glyph(ord("H"))
    if capital <= 0 and tall:
        extents = font.get_glyph_extents(tall)
        capital = extents.y_bearing if extents else 0
    if capital <= 0:
        raise ValueError(f"{file.name} has no capital height: give another font")
    return Typeface(em=float(face.upem), capital=float(capital), font=font)


@dataclass(frozen=True)
class Glyph:
    """A glyph, the position of its origin [font units], and its turn about the origin [rad, counter-clockwise]."""

    id: int
    x: float
    y: float
    turn: float = 0.0

    def carried(self, point: tuple[float, float]) -> tuple[float, float]:
        """Return a point of the glyph's own coordinates at the glyph's position."""
        there = complex(*point) * cmath.rect(1.0, self.turn) + complex(self.x, self.y)
        return there.real, there.imag


class TextSetting(Struct, frozen=True):
    """Setting of a text; lengths in capital heights.

    `line_distance` is the distance between baselines. `letter_spacing` is added between letters. With an `arc` the
    baseline is a circle of that radius, above the centre (positive) or below it (negative).
    """

    align: Align = "centre"
    line_distance: float = 1.4
    letter_spacing: float = 0.0
    arc: float | None = None


PLAIN: Final = TextSetting()


class GlyphPairs(NamedTuple):
    """Placed glyphs' regions, and for all pairs of them both indices and the distance of their boxes."""

    regions: NDArray[np.object_]
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    between: NDArray[np.float64]


@cached
def glyph_contours(face: Typeface, glyph: int) -> tuple[Contour, ...]:
    """Return the closed contours of a glyph as arrays of cubic segments, shape (k, 4, 2) [font units]."""
    drawn: list[list[Segment]] = []
    funcs = uharfbuzz.DrawFuncs()
    at = 0j

    def move(x: float, y: float, _: object) -> None:
        nonlocal at
        at = complex(x, y)
        drawn.append([])

    def line(x: float, y: float, _: object) -> None:
        nonlocal at
        drawn[-1].append(curves.line(at, complex(x, y)))
        at = complex(x, y)

    def quadratic(cx: float, cy: float, x: float, y: float, _: object) -> None:
        nonlocal at
        drawn[-1].append(curves.quadratic(at, complex(cx, cy), complex(x, y)))
        at = complex(x, y)

    def cubic(*values: float) -> None:
        nonlocal at
        ax, ay, bx, by, x, y = values[:6]
        drawn[-1].append((at, complex(ax, ay), complex(bx, by), complex(x, y)))
        at = complex(x, y)

    funcs.set_move_to_func(move)
    funcs.set_line_to_func(line)
    funcs.set_quadratic_to_func(quadratic)
    funcs.set_cubic_to_func(cubic)
    face.font.draw_glyph(glyph, funcs, None)
    return tuple(curves.contour(segments) for segments in drawn if segments)


@cached
def glyph_region(face: Typeface, glyph: int, tolerance: float) -> MultiPolygon:
    """Return the region of a glyph, its curves flattened to `tolerance` [font units]; empty for a space."""
    return fill([curves.flatten(contour, tolerance) for contour in glyph_contours(face, glyph)], "nonzero")


def lay_out(face: Typeface, text: str, setting: TextSetting = PLAIN) -> tuple[tuple[Glyph, ...], ...]:
    """Return the positions of a text's glyphs, with the first line's baseline on y = 0.

    Args:
        face: The font.
        text: Lines divided by newlines; at most 200 characters and 12 lines.
        setting: Alignment, distances and arc. Lines are aligned by their ink, not by their advances.

    Returns:
        The glyphs with ink of each line [font units]. A line of spaces is empty.

    Raises:
        TextError: The text is too long, a character cannot be marked or is missing from the font, there is no ink, or
            a line is longer than its circle.
    """
    _refuse_unmarkable(text)
    lines = []
    for number, line in enumerate(text.split("\n")):
        glyphs = _shape(face, line, setting.letter_spacing * face.capital)
        if glyphs:
            left, right = _ink(face, glyphs)
            shift = -{"left": left, "centre": (left + right) / 2.0, "right": right}[setting.align]
            drop = -number * setting.line_distance * face.capital
            glyphs = tuple(Glyph(glyph.id, glyph.x + shift, glyph.y + drop) for glyph in glyphs)
        lines.append(glyphs)
    if not any(lines):
        raise TextError("text.no-ink", "The text has no ink, only spaces: write at least one letter or digit")
    if setting.arc is None:
        return tuple(lines)
    return tuple(_bent(face, line, setting.arc * face.capital) for line in lines)


def _bent(face: Typeface, line: tuple[Glyph, ...], radius: float) -> tuple[Glyph, ...]:
    """Return a line bent along a circle whose top, or bottom for a negative radius, is at the origin.

    Glyphs are turned, not deformed: the middle of a glyph's ink stands perpendicular to the circle.
    """
    bent = []
    for glyph in line:
        left, right = _ink(face, (glyph,))
        middle = (left + right) / 2.0
        # A lower line of an arch is nearer to the circle's centre; a lower line of a bowl is farther from it.
        line_radius = radius + glyph.y
        angle = middle / line_radius if line_radius * radius > 0.0 else math.inf
        if not abs(angle) < _LARGEST_ANGLE:
            raise TextError(
                "text.longer-than-circle",
                "A line is longer than the circle it runs along: take a larger radius or fewer letters",
            )
        offset = complex(glyph.x - middle, line_radius) * cmath.exp(-1j * angle)
        bent.append(Glyph(glyph.id, offset.real, offset.imag - radius, -angle))
    return tuple(bent)


@cached
def text_region(lines: tuple[tuple[Glyph, ...], ...], face: Typeface, tolerance: float) -> MultiPolygon:
    """Return the region of a laid-out text, its curves flattened to `tolerance` [font units]."""
    glyphs = [glyph for line in lines for glyph in line]
    return _united(placed([glyph_region(face, glyph.id, tolerance) for glyph in glyphs], glyphs))


def glyph_pairs(face: Typeface, glyphs: Sequence[Glyph], tolerance: float) -> GlyphPairs:
    """Return the regions of placed glyphs, and for all pairs of them both indices and the distance of their boxes."""
    regions = placed([glyph_region(face, glyph.id, tolerance) for glyph in glyphs], glyphs)
    boxes = shapely.bounds(regions)
    first, second = np.triu_indices(len(glyphs), 1)
    apart = np.maximum(boxes[first, :2], boxes[second, :2]) - np.minimum(boxes[first, 2:], boxes[second, 2:])
    return GlyphPairs(np.array(regions, dtype=object), first, second, np.hypot(*np.maximum(apart, 0.0).T))


def placed(regions: Sequence[MultiPolygon], glyphs: Sequence[Glyph]) -> list[MultiPolygon]:
    """Return the regions of glyphs, turned and moved to the glyphs' positions."""
    points, of = shapely.get_coordinates(regions, return_index=True)
    x, y, turn = (np.array([getattr(glyph, name) for glyph in glyphs])[of] for name in ("x", "y", "turn"))
    cosine, sine = np.cos(turn), np.sin(turn)
    there = np.column_stack(
        [points[:, 0] * cosine - points[:, 1] * sine + x, points[:, 0] * sine + points[:, 1] * cosine + y]
    )
    moved: list[MultiPolygon] = list(shapely.set_coordinates(np.array(regions, dtype=object), there))
    return moved


def _united(regions: list[MultiPolygon]) -> MultiPolygon:
    """Return the union of regions."""
    first, second = shapely.STRtree(regions).query(regions, predicate="intersects")
    if np.all(first == second):
        return MultiPolygon([part for region in regions for part in region.geoms])
    return polygons(shapely.union_all(regions))


def _refuse_unmarkable(text: str) -> None:
    if len(text) > LONGEST_TEXT:
        raise TextError(
            "text.too-long",
            "The text has {characters:,} characters: write at most {most}",
            characters=len(text),
            most=LONGEST_TEXT,
        )
    if text.count("\n") >= MOST_LINES:
        raise TextError("text.too-many-lines", "The text has more than {most} lines: write fewer", most=MOST_LINES)
    for place, character in enumerate(text):
        what = _REFUSED_CATEGORIES.get(unicodedata.category(character))
        if what and character != "\n":
            raise TextError(
                "text.character",
                "Character {place}, {character}, is " + what + ": leave it out",
                place=place + 1,
                character=_name(character),
                category=unicodedata.category(character),
            )


def _name(character: str) -> str:
    code = f"U+{ord(character):04X}"
    name = unicodedata.name(character, "")
    marks = unicodedata.category(character).startswith("M")
    shown = f"{character!r} " if character.isprintable() and not marks else ""
    return f"{shown}({code}{' ' + name if name else ''})"


def _shape(face: Typeface, line: str, spacing: float) -> tuple[Glyph, ...]:
    """Return the glyphs with ink of a line, its origin at x = 0, its runs from left to right."""
    glyphs: list[Glyph] = []
    missing: set[int] = set()
    pen_x = pen_y = 0.0
    for run in runs(line):
        buffer = uharfbuzz.Buffer()
        buffer.cluster_level = uharfbuzz.BufferClusterLevel.CHARACTERS
        buffer.add_str(line[run.start : run.end])
        buffer.guess_segment_properties()
        buffer.direction = "rtl" if run.leftwards else "ltr"
        # Invisible characters without a glyph must be reported as missing, not dropped.
        buffer.flags = uharfbuzz.BufferFlags.PRESERVE_DEFAULT_IGNORABLES
        # Letter spacing and ligatures exclude each other.
        uharfbuzz.shape(face.font, buffer, {"liga": False, "clig": False} if spacing else None)
        before = None
        for info, position in zip(buffer.glyph_infos or [], buffer.glyph_positions or [], strict=True):
            if info.codepoint == 0:
                missing.add(run.start + info.cluster)
            if before is not None and position.x_advance:
                pen_x += spacing
            before = info
            if glyph_contours(face, info.codepoint):
                glyphs.append(Glyph(info.codepoint, pen_x + position.x_offset, pen_y + position.y_offset))
            pen_x += position.x_advance
            pen_y += position.y_advance
        pen_x += spacing
    if missing:
        names = ", ".join(dict.fromkeys(_name(line[cluster]) for cluster in sorted(missing)))
        raise MissingGlyphError(names)
    return tuple(glyphs)


def _ink(face: Typeface, glyphs: tuple[Glyph, ...]) -> tuple[float, float]:
    """Return the left and right edges of a line's ink."""
    edges = []
    for glyph in glyphs:
        extents = face.font.get_glyph_extents(glyph.id)
        edges += [glyph.x + extents.x_bearing, glyph.x + extents.x_bearing + extents.width]
    return min(edges), max(edges)
