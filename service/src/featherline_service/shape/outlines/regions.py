"""Regions that closed polygons enclose under a fill rule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from featherline_service.shape.outlines.curves import DrawingError, Points, refuse_points

FillRule = Literal["nonzero", "evenodd"]

# Most crossings of a drawing's outlines. A drawing with more could not be weeded, and would take long to compute.
MOST_CROSSINGS: Final = 2_000
_MOST_CANDIDATES: Final = 600_000
_FIRST_CHUNK: Final = 16
_LARGEST_CHUNK: Final = 1024
_FEWEST_POINTS: Final = 3
_GRID_SHARE: Final = 1e-10
# A part with less area than this share of the square around the region is a rounding error.
_SLIVER_SHARE: Final = 1e-12
# Coordinates below this share of the largest are taken as zero: their squares underflow, and GEOS divides by them.
_NEGLIGIBLE_SHARE: Final = 1e-15
_MANY_CONTOURS: Final = 64


def fill(contours: Sequence[Points], rule: FillRule, *, tangled: bool = False) -> MultiPolygon:
    """Return the region that closed contours enclose under a fill rule.

    Args:
        contours: Vertices of each contour, shape (n, 2), not closed, in any length unit.
        rule: SVG's ``nonzero`` or ``evenodd``.
        tangled: Whether they may cross as often as they do.

    Returns:
        A valid multipolygon in the same unit, empty when nothing is enclosed.

    Raises:
        DrawingError: The contours have too many points, or cross too often.

    References:
        SVG 1.1 (Second Edition), W3C 2011, section 11.3, property ``fill-rule``.
    """
    rings = [points for points in contours if len(points) >= _FEWEST_POINTS]
    refuse_points(sum(map(len, rings)))
    if not rings:
        return MultiPolygon()
    negligible = _NEGLIGIBLE_SHARE * max(float(np.abs(points).max()) for points in rings)
    rings = [np.where(np.abs(points) < negligible, 0.0, points) for points in rings]
    loops = shapely.linearrings(
        np.concatenate([np.vstack([points, points[:1]]) for points in rings]),
        indices=np.repeat(np.arange(len(rings)), [len(points) + 1 for points in rings]),
    )
    loops = np.atleast_1d(loops)
    if len(loops) > _MANY_CONTOURS and not tangled:
        # Comparing many overlapping contours would take long.
        refuse_tangles(rings)
    if not _are_separate(loops):
        if not tangled:
            refuse_tangles(rings)
        return polygons(_faces(rings, rule))
    bounding = _nested(rings, loops, rule)
    return polygons(shapely.build_area(shapely.multilinestrings(bounding))) if bounding else MultiPolygon()


def polygons(region: shapely.Geometry) -> MultiPolygon:
    """Return the polygons of a valid geometry as one multipolygon, without slivers from rounding."""
    parts = shapely.get_parts(region)
    left, low, right, high = shapely.bounds(region)
    smallest = _SLIVER_SHARE * max(right - left, high - low) ** 2
    parts = parts[(shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & (shapely.area(parts) > smallest)]
    return MultiPolygon(list(shapely.orient_polygons(parts)))


def _signed_area(points: Points) -> float:
    x, y = (points - points[0]).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2.0


def _segments(rings: Sequence[Points]) -> tuple[Points, Points]:
    return np.concatenate(rings), np.concatenate([np.roll(points, -1, axis=0) for points in rings])


def _are_separate(loops: NDArray[np.object_]) -> bool:
    """Return whether no contour crosses or touches itself or another."""
    if not bool(np.all(shapely.is_simple(loops))):
        return False
    if len(loops) == 1:
        return True
    first, second = shapely.STRtree(loops).query(loops, predicate="intersects")
    return bool(np.all(first == second))


def refuse_tangles(rings: Sequence[Points]) -> None:
    """Raise `DrawingError` when closed contours cross more than `MOST_CROSSINGS` times."""
    starts, ends = _segments(rings)
    low, high = np.minimum(starts, ends), np.maximum(starts, ends)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    tree = shapely.STRtree(boxes)
    candidates = crossings = begin = 0
    chunk = _FIRST_CHUNK
    while begin < len(starts):
        first, second = tree.query(boxes[begin : begin + chunk])
        first = first + begin
        begin, chunk = begin + chunk, min(2 * chunk, _LARGEST_CHUNK)
        later = first < second
        first, second = first[later], second[later]
        candidates += len(first)
        crossings += _crossings(starts[first], ends[first], starts[second], ends[second])
        if candidates > _MOST_CANDIDATES or crossings > MOST_CROSSINGS:
            raise DrawingError(
                "drawing.too-many-crossings",
                "The drawing's lines cross or crowd one another more than {most_crossings} times: unite its shapes",
                most_crossings=MOST_CROSSINGS,
            )


def _crossings(a: Points, b: Points, c: Points, d: Points) -> int:
    """Return the number of pairs of segments ab, cd that cross at a point inside both."""

    def side(p: Points, q: Points, r: Points) -> NDArray[np.float64]:
        u, v = q - p, r - p
        return np.sign(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])

    return int(np.count_nonzero((side(a, b, c) * side(a, b, d) < 0) & (side(c, d, a) * side(c, d, b) < 0)))


def _nested(rings: Sequence[Points], loops: NDArray[np.object_], rule: FillRule) -> list[shapely.Geometry]:
    """Return the contours that bound the filled region; the contours given do not meet."""
    areas = np.array([_signed_area(points) for points in rings])
    if len(rings) == 1:
        return list(loops) if areas[0] != 0.0 else []
    solids = shapely.polygons(loops)
    inner, outer = shapely.STRtree(solids).query(shapely.points([points[0] for points in rings]), predicate="within")
    around = inner != outer
    turns = np.sign(areas)
    outside = np.bincount(inner[around], weights=turns[outer[around]], minlength=len(rings))
    inside = outside + turns
    if rule == "evenodd":
        filled_out, filled_in = outside % 2 != 0, inside % 2 != 0
    else:
        filled_out, filled_in = outside != 0, inside != 0
    return list(loops[(filled_out != filled_in) & (areas != 0.0)])


def _faces(rings: Sequence[Points], rule: FillRule) -> shapely.Geometry:
    """Return the region of contours that meet: the faces of the plane between them that the rule fills."""
    starts, ends = _segments(rings)
    lines = shapely.linestrings(np.stack([starts, ends], axis=1))
    # Crossings are snapped to a fine grid, or rounding would leave slivers between coincident lines.
    size = float(np.ptp(np.concatenate([starts, ends]), axis=0).max())
    nodes = shapely.union_all(lines, grid_size=_GRID_SHARE * size)
    faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(nodes)))
    if len(faces) == 0:
        return MultiPolygon()
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    # The winding number: signed crossings of a ray towards +x. A segment includes its lower end, not its upper end.
    right = float(max(starts[:, 0].max(), ends[:, 0].max())) + 1.0
    far = np.column_stack([np.full(len(inside), right), inside[:, 1]])
    face, segment = shapely.STRtree(lines).query(shapely.linestrings(np.stack([inside, far], axis=1)))
    p, q, r = starts[segment], ends[segment], inside[face]
    rising = (p[:, 1] <= r[:, 1]) & (q[:, 1] > r[:, 1])
    falling = (q[:, 1] <= r[:, 1]) & (p[:, 1] > r[:, 1])
    side = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (r[:, 0] - p[:, 0]) * (q[:, 1] - p[:, 1])
    winding = np.bincount(
        face, weights=np.where(rising & (side > 0), 1.0, 0.0) - np.where(falling & (side < 0), 1.0, 0.0),
        minlength=len(faces),
    )  # fmt: skip
    filled = winding % 2 != 0 if rule == "evenodd" else winding != 0
    return shapely.union_all(faces[filled])
