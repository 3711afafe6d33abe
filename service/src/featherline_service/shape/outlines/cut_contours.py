"""Cut contours: the outline of an artwork with its weed border, as one piece without holes."""

from __future__ import annotations

import math
from typing import Final

import shapely
from shapely import MultiPolygon, Polygon

_TOLERANCE_MM: Final = 0.15
"""Largest distance of a contour outside the border: a tenth of the gap between nested pieces."""

_QUARTER: Final = 8
"""Chords to a quarter circle."""


def contour(artwork: MultiPolygon, border: float) -> tuple[tuple[float, float], ...]:
    """Return the corners of an outline at least a border away from an artwork [mm].

    Where the border does not join the artwork's pieces, the outline is their convex hull: they are cut, weeded and laid
    together.
    """
    # A little more than the border, for chords cut off curves and simplifying removes up to half the tolerance.
    reach = (border + _TOLERANCE_MM / 2.0) / math.cos(math.pi / (4.0 * _QUARTER))
    grown = shapely.buffer(artwork, reach, quad_segs=_QUARTER)
    parts = [part for part in shapely.get_parts(grown) if part.area > 0.0]
    outer = Polygon(parts[0].exterior) if len(parts) == 1 else shapely.convex_hull(MultiPolygon(parts))
    plain = shapely.simplify(outer, _TOLERANCE_MM / 2.0)
    return tuple((float(x), float(y)) for x, y in plain.exterior.coords[:-1])
