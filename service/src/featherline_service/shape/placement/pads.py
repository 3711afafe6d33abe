"""Boxes on pads: positions and the largest size of an upright box within an outline."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon

from featherline_service.runtime.cache import cached
from featherline_service.shape.placement.containment import ROUNDING_MM

_HALVINGS: Final = 24
# Chords to a quarter circle of an inset's arcs: an arc deviates by at most 8e-5 of the inset.
_QUARTER: Final = 64


@cached
def inset(outline: MultiPolygon, rim: float) -> MultiPolygon:
    """Return the part of an outline at least a rim's width inside its edge [mm]."""
    inner = shapely.buffer(outline, -rim, quad_segs=_QUARTER)
    return MultiPolygon([part for part in shapely.get_parts(inner) if part.area > 0.0])


def box_centre(outline: MultiPolygon, width: float, height: float) -> tuple[float, float] | None:
    """Return a centre for an upright box to lie within an outline, or None when it fits nowhere.

    Exact: the centres barred are those outside the outline and those of boxes over an edge. The latter are the
    Minkowski sum of edge and box: the convex hull of the boxes around the edge's two ends.

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
    """Return the largest scale at which an upright box lies within an outline.

    Args:
        outline: Polygons, with or without holes [mm].
        width: Width of the box at scale one [mm].
        height: Its height [mm].

    Returns:
        A scale at which the box fits, within 1e-7 of the scale at which it fills the outline's box; zero for an empty
        outline. Bisection is exact enough, since a smaller box fits wherever a larger box does.
    """
    if outline.is_empty:
        return 0.0
    left, low, right, high = outline.bounds
    least, most = 0.0, float(min((right - left) / width, (high - low) / height))
    if box_centre(outline, most * width, most * height) is not None:
        return most
    for _ in range(_HALVINGS):
        middle = (least + most) / 2.0
        fits = box_centre(outline, middle * width, middle * height) is not None
        least, most = (middle, most) if fits else (least, middle)
    return least
