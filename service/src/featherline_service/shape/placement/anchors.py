"""Anchors: poses of artwork at a distance from an edge of its panel, as measured with a ruler."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from featherline_service.messages.told import ToldError
from featherline_service.messages.values import Quantity
from featherline_service.runtime.cache import cached
from featherline_service.shape.placement import containment
from featherline_service.shape.placement.containment import FreeArea, Pose

Point = tuple[float, float]
Side = Literal["above", "below", "behind", "in-front-of"]

# For these keep-outs the edge is the part of the panel's outline that they cover, where they reach the outline.
_LINES: Final = {"featherline"}
PANEL: Final = "panel"


class AnchorError(ToldError):
    """An edge that the panel does not have, or not beside the artwork; the message says which edges it has."""


@dataclass(frozen=True)
class Anchor:
    """A side of an edge, and the distance from the edge [mm] to the artwork's box or to a level of the artwork.

    `centre` is the panel's centre; `along` [mm] is the offset from it, along the edge, of the middle of the artwork's
    box. `rotation` is counter-clockwise [rad]. `level` is a y coordinate of the artwork in its units; it needs a
    rotation of zero.
    """

    side: Side
    edge: str
    distance: float
    along: float
    centre: tuple[float, float]
    rotation: float = 0.0
    level: float | None = None


def edges(area: FreeArea) -> tuple[str, ...]:
    """Return the names of a panel's edges for anchors."""
    return (PANEL, *dict.fromkeys(name for name, _ in area.barriers[1:]))


def edge_name(edge: str) -> str:
    """Return an edge in words, such as "the toe cap"."""
    return "the edge of the panel" if edge == PANEL else f"the {edge.replace('-', ' ')}"


def pose(area: FreeArea, artwork: MultiPolygon, anchor: Anchor, scale: float) -> Pose:
    """Return the pose of artwork at an anchor.

    The distance is measured upright, or level for an edge behind or in front, from the point of the edge that comes
    nearest within the extent of the artwork's box; it is exact to the rounding of coordinates. Parts of the edge
    completely beyond the panel's centre, such as the seam at the other end, are ignored.

    Args:
        area: The panel's free area [mm].
        artwork: The artwork at scale one, anywhere.
        anchor: The anchor of the copy.
        scale: The scale of the copy.

    Raises:
        AnchorError: The panel has no such edge, or not beside the artwork.
    """
    return _pose(area, _sides(artwork, anchor), anchor, scale)


def ruler(area: FreeArea, artwork: MultiPolygon, anchor: Anchor, scale: float) -> tuple[Point, Point]:
    """Return the ends of the ruler: the edge's nearest point, and the side or level of the artwork straight from it.

    Arguments and errors are as in `pose`.
    """
    there, sides = pose(area, artwork, anchor, scale), _sides(artwork, anchor)
    x, y = _nearest(area, anchor, _span(anchor, sides, scale))
    to = {
        "above": (x, there.y + scale * sides.under),
        "below": (x, there.y + scale * sides.over),
        "behind": (there.x + scale * sides.right, y),
        "in-front-of": (there.x + scale * sides.left, y),
    }
    return (x, y), to[anchor.side]


def largest_scale(area: FreeArea, artwork: MultiPolygon, anchor: Anchor, clearance: float) -> float | None:
    """Return the largest scale at which a copy of artwork fits at its anchor.

    Args:
        area: The free area [mm].
        artwork: The artwork at scale one, anywhere [mm].
        anchor: The anchor of all copies.
        clearance: Needed on all sides [mm].

    Returns:
        As in `containment.largest_scale`.
    """
    if area.region.is_empty:
        return None
    sides = _sides(artwork, anchor)
    left, low, right, high = area.region.bounds
    turned = containment.place(artwork, Pose(0.0, 0.0, anchor.rotation))
    width, height = (sides.right - sides.left), (sides.high - sides.low)
    most = float(min((right - left - 2.0 * clearance) / width, (high - low - 2.0 * clearance) / height))

    def margin_at(scale: float) -> float:
        try:
            there = _pose(area, sides, anchor, scale)
        except AnchorError:  # a larger copy may reach beside the edge
            return -math.inf
        return containment.margin(area, containment.scaled(turned, scale, there), clearance)

    return containment.largest_passing(margin_at, most)


@dataclass(frozen=True)
class _Sides:
    """Sides of the turned artwork's box relative to its centre, and the levels measured from below and above."""

    left: float
    low: float
    right: float
    high: float
    under: float
    over: float


def _sides(artwork: MultiPolygon, anchor: Anchor) -> _Sides:
    left, low, right, high = containment.place(artwork, Pose(0.0, 0.0, anchor.rotation)).bounds
    under, over = low, high
    if anchor.level is not None:
        under = over = anchor.level - (artwork.bounds[1] + artwork.bounds[3]) / 2.0
    return _Sides(left, low, right, high, under, over)


def _span(anchor: Anchor, sides: _Sides, scale: float) -> tuple[float, float]:
    """Return the range of coordinates along the edge that the artwork's box covers: x for above and below, else y."""
    if anchor.side in {"above", "below"}:
        x = anchor.centre[0] + anchor.along
        return x + scale * sides.left, x + scale * sides.right
    y = anchor.centre[1] + anchor.along
    return y + scale * sides.low, y + scale * sides.high


def _pose(area: FreeArea, sides: _Sides, anchor: Anchor, scale: float) -> Pose:
    x, y = _nearest(area, anchor, _span(anchor, sides, scale))
    middle_x, middle_y = anchor.centre[0] + anchor.along, anchor.centre[1] + anchor.along
    match anchor.side:
        case "above":
            return Pose(middle_x, y + anchor.distance - scale * sides.under, anchor.rotation)
        case "below":
            return Pose(middle_x, y - anchor.distance - scale * sides.over, anchor.rotation)
        case "behind":
            return Pose(x - anchor.distance - scale * sides.right, middle_y, anchor.rotation)
        case "in-front-of":
            return Pose(x + anchor.distance - scale * sides.left, middle_y, anchor.rotation)


def _nearest(area: FreeArea, anchor: Anchor, span: tuple[float, float]) -> Point:
    """Return the point of an edge that reaches furthest towards the artwork, within the box's extent."""
    line = edge(area, anchor.edge)
    begin, end = span
    left, low, right, high = shapely.bounds(line)
    upright = anchor.side in {"above", "below"}
    window = (begin, low - 1.0, end, high + 1.0) if upright else (left - 1.0, begin, right + 1.0, end)
    parts = shapely.get_parts(_merged_lines(shapely.intersection(line, shapely.box(*window))))
    parts = parts[~shapely.is_empty(parts)]
    if len(parts) == 0:
        ends = ((left, right) if upright else (low, high)) - np.array(anchor.centre[not upright])
        first, last = ends.tolist()  # what a fault tells is encoded
        raise AnchorError(
            "pose.edge-not-beside",
            "No part of {edge_name} is beside the artwork: give an `along` between {first} and {last}",
            edge_name=edge_name(anchor.edge),
            first=Quantity(round(first, 1), "mm", 1),
            last=Quantity(round(last, 1), "mm", 1),
        )
    bounds = shapely.bounds(parts)
    axis = 1 if upright else 0
    least, most, centre = bounds[:, axis], bounds[:, axis + 2], anchor.centre[axis]
    # Artwork above or in front of an edge needs a part of the edge that starts before the panel's centre.
    upwards = anchor.side in {"above", "in-front-of"}
    near = least < centre if upwards else most > centre
    if not np.any(near):
        side = anchor.side.replace("-", " ")
        raise AnchorError(
            "pose.off-the-panel",
            "All of {edge_name} there lies {side} the panel's centre, and artwork {side} it is "
            "off the panel: take the opposite side",
            edge_name=edge_name(anchor.edge),
            side=side,
        )
    points = shapely.get_coordinates(parts[near])
    furthest = np.argmax(points[:, axis]) if upwards else np.argmin(points[:, axis])
    x, y = points[furthest].tolist()
    return x, y


def _merged_lines(geometry: BaseGeometry) -> BaseGeometry:
    """Return lines merged where their ends meet; points and areas unchanged."""
    return shapely.line_merge(geometry) if shapely.get_dimensions(geometry) == 1 else geometry


@cached
def edge(area: FreeArea, name: str) -> BaseGeometry:
    """Return an edge of a panel: its outline, a part of the outline, or a keep-out.

    Raises:
        AnchorError: The panel has no edge of this name.
    """
    outline = area.barriers[0][1]
    if name == PANEL:
        return outline
    parts = [part for what, part in area.barriers[1:] if what == name]
    geometry: BaseGeometry = shapely.union_all(parts)
    if name in _LINES and shapely.intersects(outline, geometry):
        geometry = shapely.intersection(outline, geometry)
    if geometry.is_empty:
        raise AnchorError(
            "pose.no-such-edge",
            "The panel has no {name} to place by; it has: {edges}",
            name=name,
            edges=tuple(edges(area)),
        )
    shapely.prepare(geometry)
    return geometry
