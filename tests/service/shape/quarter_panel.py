"""The quarter of a shoe as a panel: a polygon with two eyelets and a seam."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.affinity import rotate, scale

from featherline_service.shape.placement import containment
from featherline_service.shape.placement.containment import FreeArea

QUARTER = Polygon([(0, 0), (110, 0), (121, 20), (105, 60), (60, 50), (20, 58), (2, 40)])
EYELETS = [Point(88, 44).buffer(3, 16), Point(100, 30).buffer(3, 16)]


def area(*polygons: Polygon) -> MultiPolygon:
    """Return polygons as one region."""
    return MultiPolygon(list(polygons))


def quarter(factor: float = 1.0, angle: float = 0.0) -> FreeArea:
    """Return the quarter of a shoe as a panel with two eyelets and a seam, scaled and turned about the origin."""

    def moved(*polygons: Polygon) -> MultiPolygon:
        return area(*(scale(rotate(p, angle, origin=(0, 0)), factor, factor, origin=(0, 0)) for p in polygons))

    seam = shapely.box(14, 0, 16, 60)
    return containment.free_area(moved(QUARTER), (("eyelets", moved(*EYELETS)), ("seam", moved(seam))))
