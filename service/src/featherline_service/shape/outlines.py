"""Text to outlines: shaped by HarfBuzz, drawn from the font, in font units and cached by glyph.

Everything here is in the font's own units, so that a text asked for at another height costs nothing new.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final, Literal

import numpy as np
import shapely
import uharfbuzz
from shapely import MultiPolygon

from featherline_service.shape import curves
from featherline_service.shape.curves import Contour, DrawingError, Segment
from featherline_service.shape.regions import fill

Align = Literal["left", "centre", "right"]

LONGEST_TEXT: Final = 200
MOST_LINES: Final = 12
# Control, format, surrogate and private characters have no outline of their own; U+2028 and U+2029 are not our newline.
_REFUSED_CATEGORIES: Final = {
    "Cc": "a control character", "Cf": "an invisible formatting character", "Cs": "half of a surrogate pair",
    "Co": "a private character", "Cn": "not a character", "Zl": "a line separator", "Zp": "a paragraph separator",
}  # fmt: skip


class TextError(DrawingError):
    """A text that cannot be marked; the message names the character and what to do."""


@dataclass(frozen=True, eq=False)
class Typeface:
    """A loaded font, hashed by identity. Lengths in font units, y upwards."""

    name: str
    em: float
    capital: float
    font: uharfbuzz.Font


@lru_cache(maxsize=64)
def typeface(file: Path) -> Typeface:
    """Load a font from a file.

    Raises:
        OSError: The file cannot be read.
        ValueError: The file is not a font, or has no capital height and no capital H to take it from.

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
    return Typeface(name=file.stem, em=float(face.upem), capital=float(capital), font=font)


@dataclass(frozen=True)
class Glyph:
    """A glyph and where its origin lies, in font units."""

    id: int
    x: float
    y: float


@lru_cache(maxsize=4096)
def glyph_contours(face: Typeface, glyph: int) -> tuple[Contour, ...]:
    """Return the closed contours of a glyph, in font units: one array of cubic segments each, shape (k, 4, 2)."""
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


@lru_cache(maxsize=8192)
def glyph_region(face: Typeface, glyph: int, tolerance: float) -> MultiPolygon:
    """Return the region of a glyph, in font units, its curves drawn out to `tolerance`; empty for a space."""
    return fill([curves.flatten(contour, tolerance) for contour in glyph_contours(face, glyph)], "nonzero")


@lru_cache(maxsize=4096)
def lay_out(
    face: Typeface, text: str, align: Align = "centre", line_distance: float = 1.4
) -> tuple[tuple[Glyph, ...], ...]:
    """Shape lines of text and lay them out, the first line's baseline on y = 0.

    Args:
        face: The font.
        text: Lines divided by newlines; at most 200 characters and 12 lines.
        align: Which edges of the lines' ink, or their centres, stand above one another.
        line_distance: From baseline to baseline [capital heights].

    Returns:
        For each line its glyphs with ink, in font units. Lines of nothing but spaces are empty.

    Raises:
        TextError: A character cannot be marked, the font lacks one, or there is no ink at all.
    """
    _refuse_unmarkable(text)
    lines = []
    for number, line in enumerate(text.split("\n")):
        glyphs = _shape(face, line)
        if glyphs:
            left, right = _ink(face, glyphs)
            shift = -{"left": left, "centre": (left + right) / 2.0, "right": right}[align]
            drop = -number * line_distance * face.capital
            glyphs = tuple(Glyph(glyph.id, glyph.x + shift, glyph.y + drop) for glyph in glyphs)
        lines.append(glyphs)
    if not any(lines):
        raise TextError("The text has no ink, only spaces: write at least one letter or digit")
    return tuple(lines)


@lru_cache(maxsize=1024)
def text_region(lines: tuple[tuple[Glyph, ...], ...], face: Typeface, tolerance: float) -> MultiPolygon:
    """Return the region of a laid-out text, in font units, its curves drawn out to `tolerance`."""
    glyphs = [glyph for line in lines for glyph in line]
    regions = [glyph_region(face, glyph.id, tolerance) for glyph in glyphs]
    return _placed(regions, glyphs)


def _placed(regions: list[MultiPolygon], glyphs: list[Glyph]) -> MultiPolygon:
    """Return glyphs' regions at their places, united where they meet."""
    moved = []
    for region, glyph in zip(regions, glyphs, strict=True):
        offset = np.array([glyph.x, glyph.y])
        moved.append(shapely.transform(region, lambda points, offset=offset: points + offset))
    one, other = shapely.STRtree(moved).query(moved, predicate="intersects")
    if np.all(one == other):
        return MultiPolygon([part for region in moved for part in region.geoms])
    united = shapely.union_all(moved)
    return united if isinstance(united, MultiPolygon) else MultiPolygon([united])


def _refuse_unmarkable(text: str) -> None:
    if len(text) > LONGEST_TEXT:
        raise TextError(f"The text has {len(text)} characters: write at most {LONGEST_TEXT}")
    if text.count("\n") >= MOST_LINES:
        raise TextError(f"The text has more than {MOST_LINES} lines: write fewer")
    for place, character in enumerate(text):
        what = _REFUSED_CATEGORIES.get(unicodedata.category(character))
        if what and character != "\n":
            raise TextError(f"Character {place + 1}, {_name(character)}, is {what}: leave it out")


def _name(character: str) -> str:
    code = f"U+{ord(character):04X}"
    name = unicodedata.name(character, "")
    marks = unicodedata.category(character).startswith("M")
    shown = f"{character!r} " if character.isprintable() and not marks else ""
    return f"{shown}({code}{' ' + name if name else ''})"


def _shape(face: Typeface, line: str) -> tuple[Glyph, ...]:
    """Return the inked glyphs of one line, its origin at x = 0."""
    buffer = uharfbuzz.Buffer()
    buffer.cluster_level = uharfbuzz.BufferClusterLevel.CHARACTERS
    buffer.add_str(line)
    buffer.guess_segment_properties()
    # What the font has no glyph for must show, or an invisible character would be dropped in silence.
    buffer.flags = uharfbuzz.BufferFlags.PRESERVE_DEFAULT_IGNORABLES | uharfbuzz.BufferFlags.BOT
    uharfbuzz.shape(face.font, buffer)
    infos, positions = buffer.glyph_infos or [], buffer.glyph_positions or []
    missing = sorted({info.cluster for info in infos if info.codepoint == 0})
    if missing:
        names = ", ".join(dict.fromkeys(_name(line[cluster]) for cluster in missing))
        raise TextError(f"The font {face.name} lacks {names}: choose another font, or leave it out")
    glyphs, pen_x, pen_y = [], 0.0, 0.0
    for info, position in zip(infos, positions, strict=True):
        if glyph_contours(face, info.codepoint):
            glyphs.append(Glyph(info.codepoint, pen_x + position.x_offset, pen_y + position.y_offset))
        pen_x += position.x_advance
        pen_y += position.y_advance
    return tuple(glyphs)


def _ink(face: Typeface, glyphs: tuple[Glyph, ...]) -> tuple[float, float]:
    """Return the left and right edges of a line's ink."""
    edges = []
    for glyph in glyphs:
        extents = face.font.get_glyph_extents(glyph.id)
        edges += [glyph.x + extents.x_bearing, glyph.x + extents.x_bearing + extents.width]
    return min(edges), max(edges)
