"""Poses by anchor: artwork at a distance from an edge of its panel, as with a ruler, exactly and at any scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from featherline_service.runtime.cache import kept
from featherline_service.shape.placement import containment
from featherline_service.shape.placement.containment import FreeArea, Pose

Point = tuple[float, float]
Side = Literal["above", "below", "behind", "in-front-of"]

# The part of a panel's own outline along the keep-out of this name is the line that the trade knows by it; where the
# keep-out does not reach the outline, it is its own edge.
_LINES: Final = {"featherline"}
PANEL: Final = "panel"


class AnchorError(ValueError):
    """An edge that the panel has not, or not where the artwork is to be; the message says what there is."""


@dataclass(frozen=True)
class Anchor:
    """At which side of which edge, and how far [mm]: from the artwork's box, or from a level in the artwork's units.

    `centre` is the panel's, from which `along` [mm] leads along the edge to the middle of the artwork's box. `rotation`
    is counter-clockwise [rad]; with a level it is zero.
    """

    side: Side
    edge: str
    distance: float
    along: float
    centre: tuple[float, float]
    rotation: float = 0.0
    level: float | None = None


def edges(area: FreeArea) -> tuple[str, ...]:
    """Return the names of the edges that artwork can be placed by."""
    return (PANEL, *dict.fromkeys(name for name, _ in area.barriers[1:]))


def edge_name(edge: str) -> str:
    """Return an edge in words, such as "the toe cap"."""
    return "the edge of the panel" if edge == PANEL else f"the {edge.replace('-', ' ')}"


def pose(area: FreeArea, artwork: MultiPolygon, anchor: Anchor, scale: float) -> Pose:
    """Return where artwork lies by an anchor.

    The straight distance across the edge's direction is exact, to the rounding of coordinates: from the point of the
    edge that comes nearest, over the length that the artwork's box takes along it. Parts of the edge that lie wholly
    beyond the panel's centre, such as the other end's seam, are left out.

    Args:
        area: The panel's free area [mm].
        artwork: The artwork at scale one, anywhere.
        anchor: Where it is to be.
        scale: The scale of the copy.

    Raises:
        AnchorError: The panel has no such edge, or none where the artwork is to be.
    """
    return _pose(area, _sides(artwork, anchor), anchor, scale)


def measured(area: FreeArea, artwork: MultiPolygon, anchor: Anchor, scale: float) -> tuple[Point, Point]:
    """Return where a ruler is laid: from the edge's nearest point straight to the side or level of the artwork.

    Args and errors are as those of `pose`.
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
    """Return the largest scale at which a copy of artwork fits at the same distance from its edge.

    Args:
        area: The free area [mm].
        artwork: The artwork at scale one, anywhere [mm].
        anchor: Where every copy is to be.
        clearance: Needed on all sides [mm].

    Returns:
        As `placing.largest_scale`.
    """
    if area.region.is_empty:
        return None
    sides = _sides(artwork, anchor)
    left, low, right, high = area.region.bounds
    turned = containment.place(artwork, Pose(0.0, 0.0, anchor.rotation))
    width, height = (sides.right - sides.left), (sides.high - sides.low)
    most = float(min((right - left - 2.0 * clearance) / width, (high - low - 2.0 * clearance) / height))

    def passes(scale: float) -> bool:
        try:
            there = _pose(area, sides, anchor, scale)
        except AnchorError:  # a smaller copy may lie beside an end of the edge
            return False
        placed = shapely.transform(turned, lambda points: points * scale + (there.x, there.y))
        return containment.fits(area, placed, clearance)

    return containment.largest_passing(passes, most)


@dataclass(frozen=True)
class _Sides:
    """The sides of artwork's turned box from its centre, and the level that is measured from above and below."""

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
    """Return what artwork takes of its edge: from where to where, along the panel or, beside a side of it, up."""
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
    """Return the point of an edge that reaches furthest towards the artwork, over what that takes of it."""
    line = edge(area, anchor.edge)
    begin, end = span
    left, low, right, high = shapely.bounds(line)
    upright = anchor.side in {"above", "below"}
    window = (begin, low - 1.0, end, high + 1.0) if upright else (left - 1.0, begin, right + 1.0, end)
    parts = shapely.get_parts(_merged_lines(shapely.intersection(line, shapely.box(*window))))
    parts = parts[~shapely.is_empty(parts)]
    if len(parts) == 0:
        first, last = ((left, right) if upright else (low, high)) - np.array(anchor.centre[not upright])
        raise AnchorError(
            f"No part of {edge_name(anchor.edge)} is beside the artwork: give an `along` between {first:.1f} mm and "
            f"{last:.1f} mm"
        )
    bounds = shapely.bounds(parts)
    axis = 1 if upright else 0
    least, most, centre = bounds[:, axis], bounds[:, axis + 2], anchor.centre[axis]
    # Artwork above an edge, or in front of it, has the edge's far end on its own side of the centre.
    upwards = anchor.side in {"above", "in-front-of"}
    near = least < centre if upwards else most > centre
    if not np.any(near):
        side = anchor.side.replace("-", " ")
        raise AnchorError(
            f"All of {edge_name(anchor.edge)} there lies {side} the panel's centre, and artwork {side} it is off the "
            "panel: take the opposite side"
        )
    points = shapely.get_coordinates(parts[near])
    furthest = np.argmax(points[:, axis]) if upwards else np.argmin(points[:, axis])
    x, y = points[furthest].tolist()
    return x, y


def _merged_lines(geometry: BaseGeometry) -> BaseGeometry:
    """Return lines joined where their ends meet; anything else as it is."""
    return shapely.line_merge(geometry) if shapely.get_dimensions(geometry) == 1 else geometry


@kept
def edge(area: FreeArea, name: str) -> BaseGeometry:
    """Return an edge of a panel: its outline, a line of it, or a part that must not be marked.

    Raises:
        AnchorError: The panel has none of this name.
    """
    outline = area.barriers[0][1]
    if name == PANEL:
        return outline
    parts = [part for what, part in area.barriers[1:] if what == name]
    found: BaseGeometry = shapely.union_all(parts)
    if name in _LINES and shapely.intersects(outline, found):
        found = shapely.intersection(outline, found)
    if found.is_empty:
        raise AnchorError(f"The panel has no {name} to place by; it has: {', '.join(edges(area))}")
    return found
