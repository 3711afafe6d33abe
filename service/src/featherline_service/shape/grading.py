"""Grading: panels that grow with the shoe's size, and hardware on them that keeps its size."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon

from featherline_service.shape.outlines.regions import polygons

# A part is round when its outline stays between this share of its largest distance from its centre, and that distance.
# A circle flattened to 0.005 mm passes down to a radius of 0.2 mm; a regular twelve-sided polygon (0.966) does not.
_ROUND: Final = 0.975


def graded(region: MultiPolygon, along: float, around: float) -> MultiPolygon:
    """Return a panel or keep-out that has grown.

    Args:
        region: The region at the reference size [mm].
        along: Growth along the panel's length, the x axis.
        around: Growth around the girth, the y axis.
    """
    growth = np.array([along, around])
    return shapely.transform(region, lambda points: points * growth)


def graded_hardware(region: MultiPolygon, along: float, around: float) -> MultiPolygon:
    """Return a keep-out that has grown, with its round parts, such as eyelets and hooks, at their own size.

    Round parts move with the panel by their centres: the same eyelets are set in every size. All other parts grow as in
    `graded`. Parts that come to overlap, in a smaller size, are united.

    Args:
        region: The keep-out at the reference size [mm].
        along: Growth along the panel's length, the x axis.
        around: Growth around the girth, the y axis.

    References:
        Hardware is not graded: common practice, no source.
    """
    parts = [_moved(part, along, around) if is_round(part) else graded(part, along, around) for part in region.geoms]
    return polygons(shapely.union_all(parts))


def is_round(part: Polygon) -> bool:
    """Return whether a polygon's outline is a circle, by its distances from its centre."""
    centre = _centre(part)
    largest = float(np.hypot(*(shapely.get_coordinates(part.exterior) - (centre.x, centre.y)).T).max())
    return bool(shapely.distance(part.exterior, centre) >= _ROUND * largest)


def _centre(part: Polygon) -> Point:
    """Return the centre of a polygon's outer outline."""
    return shapely.centroid(shapely.polygons(part.exterior))


def _moved(part: Polygon, along: float, around: float) -> Polygon:
    """Return a part moved so that its centre is where the panel's growth takes it."""
    centre = _centre(part)
    shift = np.array([centre.x * (along - 1.0), centre.y * (around - 1.0)])
    return shapely.transform(part, lambda points: points + shift)
