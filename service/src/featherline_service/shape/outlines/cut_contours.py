"""The outline that film is cut out along: an artwork with its weed border, as one piece without holes."""

from __future__ import annotations

import math
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

_TOLERANCE_MM: Final = 0.15
"""How far an outline may lie outside the border: a tenth of what a gap between pieces is."""

_QUARTER: Final = 8
"""Chords of a quarter circle of the border."""


def contour(artwork: MultiPolygon, border: float) -> tuple[tuple[float, float], ...]:
    """Return the corners of an outline that lies a border or more from an artwork [mm].

    Pieces of the artwork that the border does not join are held together by the convex hull: they are cut, weeded and
    laid as one.
    """
    # A little more than the border makes up for what chords cut off a curve, and for what is simplified away.
    reach = (border + _TOLERANCE_MM / 2.0) / math.cos(math.pi / (4.0 * _QUARTER))
    grown = shapely.buffer(artwork, reach, quad_segs=_QUARTER)
    parts = [part for part in shapely.get_parts(grown) if part.area > 0.0]
    outer = Polygon(parts[0].exterior) if len(parts) == 1 else shapely.convex_hull(MultiPolygon(parts))
    plain = shapely.simplify(outer, _TOLERANCE_MM / 2.0)
    return tuple((float(x), float(y)) for x, y in plain.exterior.coords[:-1])
