"""Nesting of outlines on a strip of film, by a search with a time limit.

Millimetres; `x` across the strip, `y` along it. A result of the search is accepted only after a check that every piece
lies on the strip and a gap from the others.

It pays only for runs of irregular shapes. Measured on a strip of 500 mm with a gap of 2 mm and 8 s of search, against
bounding rectangles: 48 triangles take 35 % less of the strip, 48 arrows 32 %, 48 stars 25 %, 48 crescents 12 %; 120
names and numbers take 7 % more, and two stars the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from importlib.util import find_spec
from typing import Final

import numpy as np
import shapely
from msgspec import Struct
from shapely import Polygon

from featherline_service.cost.nesting.outline_search import Laid, Piece, Search, search

Outline = tuple[tuple[float, float], ...]
"""Corners of a piece [mm]; the last is joined to the first."""

MOST_PIECES: Final = 240
"""Most pieces for which a search of seconds finds a result."""

_SLACK_MM: Final = 0.01
"""Tolerance of the check [mm]: a blade is not more accurate."""

_QUARTERS: Final = (0.0, 90.0, 180.0, 270.0)
_ALONG: Final = (0.0,)


class Shape(Struct, frozen=True, kw_only=True):
    """An outline, weed border included, and the number of copies."""

    outline: Outline
    count: int


class OutlineNest(Struct, frozen=True, kw_only=True):
    """Length of strip and width used by nested outlines [mm]."""

    length_mm: float
    width_mm: float


def perimeter_mm(outline: Outline) -> float:
    """Return the perimeter of an outline [mm]."""
    return float(Polygon(outline).length)


def available() -> bool:
    """Return whether the search library is installed."""
    return find_spec("spyrrow") is not None


def nest_outlines(
    shapes: Sequence[Shape], *, strip_mm: float, gap_mm: float, turnable: bool, budget_s: int
) -> OutlineNest | None:
    """Return the shortest nest found; None where there are too many pieces, or the result does not pass the check.

    Args:
        shapes: the pieces.
        strip_mm: width that the cutter can use [mm].
        gap_mm: distance to keep between pieces [mm].
        turnable: whether pieces may be turned by right angles; not on film with a nap or a brushed grain.
        budget_s: time of the search [s].
    """
    angles = _QUARTERS if turnable else _ALONG
    # The library packs along x: the coordinates are swapped.
    pieces = tuple(
        Piece(tuple((y, x) for x, y in shape.outline), shape.count, angles) for shape in shapes if shape.count
    )
    if not pieces or sum(piece.count for piece in pieces) > MOST_PIECES:
        return None
    # A slightly larger gap than needed, so that rounding in the search never violates it.
    laid = search(Search(pieces, strip_mm, gap_mm + _SLACK_MM, budget_s))
    return verified_nest(pieces, laid, strip_mm=strip_mm, gap_mm=gap_mm)


def verified_nest(
    pieces: Sequence[Piece], laid: Sequence[Laid], *, strip_mm: float, gap_mm: float
) -> OutlineNest | None:
    """Return the nest of laid pieces; None where one is missing, off the strip or too near another."""
    counts = [0] * len(pieces)
    polygons = []
    for copy in laid:
        counts[copy.piece] += 1
        polygons.append(_polygon(pieces[copy.piece], copy))
    if counts != [piece.count for piece in pieces]:
        return None
    tree = shapely.STRtree(polygons)
    first, second = tree.query(polygons, predicate="dwithin", distance=max(gap_mm - _SLACK_MM, 0.0))
    if gap_mm > _SLACK_MM and bool((first != second).any()):
        return None
    low_x, low_y, high_x, high_y = shapely.total_bounds(polygons)
    if low_y < -_SLACK_MM or high_y > strip_mm + _SLACK_MM:
        return None
    return OutlineNest(length_mm=float(high_x - low_x), width_mm=float(high_y - min(low_y, 0.0)))


def _polygon(piece: Piece, copy: Laid) -> Polygon:
    angle = math.radians(copy.angle)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    return Polygon(np.array(piece.outline) @ turn + (copy.x_mm, copy.y_mm))
