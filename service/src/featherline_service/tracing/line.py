"""The panel's edge from the pen's line: the middle of the one closed line that there is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from featherline_service.messages.values import Quantity
from featherline_service.tracing.refusal import RefusalError

_SMALLEST_PANEL_MM2: Final = 400.0
_LONG_MM: Final = 60.0
_LARGEST_SLIVER_MM2: Final = 1.5
_NARROWEST_MM: Final = 0.25
_WIDEST_MM: Final = 2.5
_NOISE_MM: Final = 0.05
_STEP_MM: Final = 0.4
_NEAR_EDGE_MM: Final = 1.0
_MITRE: Final = 5.0
_APART_MM: Final = 0.1
_APART: Final = 4.0
"""Where the middle by one edge is so far from that by the other, and so many times the usual, there is a corner."""
_AROUND_CORNER_MM: Final = 1.0
_LONGEST_CORNER_MM: Final = 4.0
"""Around what is longer, the line's width wavers along its way."""
_SLIT_MM: Final = 0.1
"""Half the width of slits that are closed, where a corner was put in."""
_BRANCH: Final = 2.2
_BRANCH_MM: Final = 0.4
"""A line that is wider than so many times its usual width, and this, is touched by another."""


class Line(NamedTuple):
    """The closed line: the area within its middle [mm], and how wide it is."""

    outline: shapely.Polygon
    width: float
    area: shapely.Polygon


def closed_line(areas: Sequence[shapely.Polygon], field: tuple[float, float, float, float]) -> Line:
    """Return the one closed line among dark areas [mm].

    Raises:
        RefusalError: There is none, or more than one, or it is open, doubled, crossed, or leaves the field.
    """
    rings = [(hole, area) for area in areas for hole in _holes(area) if hole.area > _SMALLEST_PANEL_MM2]
    if not rings:
        longest = max((math.hypot(*_extent(area)) for area in areas), default=0.0)
        if longest > _LONG_MM:
            raise RefusalError(
                "tracing.line-open", "The panel's line is open: close its gaps with the pen, and take the photo again."
            )
        raise RefusalError(
            "tracing.no-line",
            "There is no closed black line in the field. Draw the panel's edge on the tape as "
            "one closed line with a black pen, half a millimetre to one wide, and stick the tape "
            "on the crosses.",
        )
    hole, area = max(rings, key=lambda ring: ring[0].area)
    if any(other is area for ring, other in rings if ring is not hole):
        raise RefusalError(
            "tracing.line-across",
            "A line crosses the panel from edge to edge: paint over it in white, or draw it in blue.",
        )
    if len(rings) > 1:
        inside = any(shapely.Polygon(area.exterior).contains(other) for _, other in rings if other is not area)
        if inside:
            raise RefusalError(
                "tracing.line-within",
                "The panel's line is doubled: a second closed line lies within it. Leave one of the two.",
            )
        raise RefusalError(
            "tracing.two-lines", "There are two closed lines in the field: trace one panel on each sheet."
        )
    if any(other.area > _LARGEST_SLIVER_MM2 for other in _holes(area) if other.area < hole.area):
        raise RefusalError(
            "tracing.line-doubled", "The panel's line is doubled in places: draw it once, or fill the gap between both."
        )
    if _leaves(area, field):
        raise RefusalError(
            "tracing.line-at-edge", "The panel's line reaches the edge of the field: stick the tape within the crosses."
        )
    return _middle(shapely.Polygon(area.exterior), hole, area)


def _holes(area: shapely.Polygon) -> list[shapely.Polygon]:
    return [shapely.Polygon(ring) for ring in area.interiors]


def _extent(area: shapely.Polygon) -> tuple[float, float]:
    left, top, right, bottom = area.bounds
    return right - left, bottom - top


def _leaves(area: shapely.Polygon, field: tuple[float, float, float, float]) -> bool:
    left, top, right, bottom = area.bounds
    near = _NEAR_EDGE_MM
    return bool(left < field[0] + near or top < field[1] + near or right > field[2] - near or bottom > field[3] - near)


def _middle(outer: shapely.Polygon, inner: shapely.Polygon, area: shapely.Polygon) -> Line:
    """Return the middle between the two edges of a line.

    Each edge is moved by half the line's width: for a line of one width both come to lie on the way of the pen's
    middle, and what is left between them is halved. At a corner one edge is round, as the pen is, and gives the corner
    back sharp; the other is sharp on paper, but not in a photo, and is left out there.
    """
    outer, inner = (each.simplify(_NOISE_MM) for each in (outer, inner))
    gaps = np.concatenate([_distances(outer, inner), _distances(inner, outer)])
    width = float(np.median(gaps))
    if width < _NARROWEST_MM or width > _WIDEST_MM:
        raise RefusalError(
            "tracing.line-width",
            "The panel's line is {width} wide: draw it with a black pen, half a millimetre to one wide.",
            width=Quantity(round(width, 1), "mm", 1),
        )
    if float(gaps.max()) > _BRANCH * width + _BRANCH_MM:
        raise RefusalError(
            "tracing.line-touched",
            "Another line touches or crosses the panel's line, such as a seam or an end that "
            "goes too far: paint over it in white, or draw seams in blue.",
        )
    first = _largest(outer.buffer(-0.5 * width, join_style="mitre", mitre_limit=_MITRE))
    second = _largest(inner.buffer(0.5 * width, join_style="mitre", mitre_limit=_MITRE))
    ring = first.exterior.segmentize(_STEP_MM)
    points = shapely.points(shapely.get_coordinates(ring))
    other = second.exterior
    nearest = shapely.line_interpolate_point(other, shapely.line_locate_point(other, points))
    middle = 0.5 * (shapely.get_coordinates(points) + shapely.get_coordinates(nearest))
    smooth = _largest(shapely.Polygon(middle).buffer(0.0))
    apart = max(_APART_MM, _APART * float(np.median(shapely.distance(points, nearest))))
    return Line(_largest(_with_corners(smooth, first, second, apart)).simplify(_NOISE_MM), width, area)


def _with_corners(
    middle: shapely.Polygon, first: shapely.Polygon, second: shapely.Polygon, apart: float
) -> shapely.Geometry:
    """Return the middle of a line with its corners as the edge has them that is round there.

    Args:
        middle: The area within the middle [mm].
        first: The same by the outer edge, right where the area has a corner.
        second: The same by the inner edge, right where the area around it has one.
        apart: How far one is from the other at a corner.
    """
    shape: shapely.Geometry = middle
    for part in shapely.get_parts(first.difference(second.buffer(apart))):
        if part.length > _LONGEST_CORNER_MM:
            continue
        around = part.centroid.buffer(part.minimum_rotated_rectangle.length / 4.0 + _AROUND_CORNER_MM)
        is_corner = middle.intersection(around).area < 0.5 * around.area
        shape = shape.difference(around).union((first if is_corner else second).intersection(around))
    return shape.buffer(_SLIT_MM, join_style="mitre").buffer(-_SLIT_MM, join_style="mitre")


def _distances(edge: shapely.Polygon, other: shapely.Polygon) -> NDArray[np.float64]:
    points = shapely.points(shapely.get_coordinates(edge.exterior.segmentize(_STEP_MM)))
    return np.asarray(shapely.distance(points, other.exterior))


def _largest(shape: shapely.Geometry) -> shapely.Polygon:
    return max(shapely.get_parts(shape), key=lambda part: float(part.area))
