"""Spacing of marks on one panel: the gap between two, and how far one reaches beyond the one it lies on."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon

from featherline_service.shape.placement.containment import ROUNDING_MM, fits, free_area, room


def gap(first: MultiPolygon, second: MultiPolygon) -> float:
    """Return the gap between two regions [mm].

    Where they overlap it is negative: minus the width of the overlap at its widest, the diameter of the largest circle
    in it. Regions that only touch have a gap of zero.
    """
    common = shapely.intersection(first, second)
    parts = [part for part in shapely.get_parts(common) if shapely.area(part) > 0.0]
    if not parts:
        return float(shapely.distance(first, second))
    return -2.0 * max(float(shapely.length(shapely.maximum_inscribed_circle(part))) for part in parts)


def too_near(gap_mm: float, clearance: float) -> bool:
    """Return whether a gap [mm] is less than a clearance [mm], rounding apart."""
    return gap_mm < clearance - ROUNDING_MM


def beyond(upper: MultiPolygon, lower: MultiPolygon) -> float:
    """Return how far a region reaches beyond the one that it lies on [mm]: zero where it lies wholly on it.

    To within 0.13 mm, as `containment.room`.
    """
    area = free_area(lower)
    if fits(area, upper, 0.0):
        return 0.0
    return max(ROUNDING_MM, -room(area, upper).clearance)
