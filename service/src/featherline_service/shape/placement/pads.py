"""Whether a pad holds artwork: a box within an outline of any form."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon

from featherline_service.runtime.cache import kept
from featherline_service.shape.placement.containment import ROUNDING_MM

_HALVINGS: Final = 24
# Chords of a quarter circle where an outline is drawn in: it is at most 2e-4 of that distance too large.
_QUARTER: Final = 64


@kept
def drawn_in(outline: MultiPolygon, rim: float) -> MultiPolygon:
    """Return the part of an outline that is at least so far inside its edge [mm]."""
    inner = shapely.buffer(outline, -rim, quad_segs=_QUARTER)
    return MultiPolygon([part for part in shapely.get_parts(inner) if part.area > 0.0])


def place_of_box(outline: MultiPolygon, width: float, height: float) -> tuple[float, float] | None:
    """Return where the centre of a box may be so that it lies within an outline, not turned; None: nowhere.

    Exact: the centres that will not do are those of boxes over the edge, each edge's the convex hull of the boxes
    around its two ends (Minkowski sum), and those outside.

    Args:
        outline: Polygons, with holes or none [mm].
        width: Width of the box [mm].
        height: Its height [mm].

    References:
        M. de Berg et al., *Computational Geometry*, 3rd ed., Springer 2008, section 13.3, Minkowski sums (from memory).
    """
    x, y = max(width / 2.0 - ROUNDING_MM, 0.0), max(height / 2.0 - ROUNDING_MM, 0.0)
    corners = np.array([(-x, -y), (x, -y), (x, y), (-x, y)])
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.get_parts(outline))]
    if not rings:
        return None
    sides = np.concatenate([np.stack([points[:-1], points[1:]], axis=1) for points in rings])
    around = (sides[:, :, None, :] + corners).reshape(len(sides), -1, 2)
    barred = shapely.union_all(shapely.convex_hull(shapely.multipoints(list(around))))
    left = shapely.difference(outline, barred)
    if left.is_empty or left.area <= 0.0:
        return None
    centre = shapely.point_on_surface(left)
    return float(centre.x), float(centre.y)


def largest_box(outline: MultiPolygon, width: float, height: float) -> float:
    """Return the largest scale at which a box lies within an outline, not turned, to a part in 1e7 of the outline's.

    Args:
        outline: Polygons, with holes or none [mm].
        width: Width of the box at scale one [mm].
        height: Its height [mm].

    Returns:
        A scale at which it does, or zero; a smaller box lies wherever a larger one does, so that halving finds it.
    """
    if outline.is_empty:
        return 0.0
    left, low, right, high = outline.bounds
    least, most = 0.0, float(min((right - left) / width, (high - low) / height))
    if place_of_box(outline, most * width, most * height) is not None:
        return most
    for _ in range(_HALVINGS):
        middle = (least + most) / 2.0
        held = place_of_box(outline, middle * width, middle * height) is not None
        least, most = (middle, most) if held else (least, middle)
    return least
