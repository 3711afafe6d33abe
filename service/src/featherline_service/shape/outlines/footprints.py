"""Footprints: the region of an artwork that is checked against a panel's edges and keep-outs."""

from __future__ import annotations

from typing import Literal

import shapely
from shapely import MultiPolygon, Polygon

from featherline_service.shape.outlines.regions import polygons

Footprint = Literal["exact", "filled", "hull"]


def footprint_of(region: MultiPolygon, footprint: Footprint) -> MultiPolygon:
    """Return the footprint of an artwork.

    Args:
        region: The film's outlines with their holes; any length unit.
        footprint: ``exact``, the film itself: an eyelet may lie in a hole or between letters. ``filled``, the parts
            with their holes filled. ``hull``, the convex hull of all parts together.

    Returns:
        A region that contains the film, with the same bounding box.
    """
    match footprint:
        case "exact":
            return region
        case "filled":
            return polygons(shapely.union_all([Polygon(part.exterior) for part in region.geoms]))
        case "hull":
            return polygons(shapely.convex_hull(region))
