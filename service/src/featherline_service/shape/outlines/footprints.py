"""What artwork of several parts counts as, against the edges of a panel and what must not be marked on it."""

from __future__ import annotations

from typing import Literal

import shapely
from shapely import MultiPolygon, Polygon

from featherline_service.shape.outlines.regions import polygons

Footprint = Literal["exact", "filled", "hull"]


def counted(region: MultiPolygon, footprint: Footprint) -> MultiPolygon:
    """Return the region that artwork takes up.

    Args:
        region: The film's own outlines, holes and all; any length unit.
        footprint: ``exact``, the film as it is: an eyelet may lie in a hole or between letters. ``filled``, each part
            with its holes filled. ``hull``, the convex hull of all parts together.

    Returns:
        A region that holds the film, with the same bounding box.
    """
    match footprint:
        case "exact":
            return region
        case "filled":
            return polygons(shapely.union_all([Polygon(part.exterior) for part in region.geoms]))
        case "hull":
            return polygons(shapely.convex_hull(region))
