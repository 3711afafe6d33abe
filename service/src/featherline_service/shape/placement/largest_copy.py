"""Search for the largest similar copy of artwork in a free area, over position and rotation.

Starts come from rays to the free area's boundary from a grid of points. They are improved by sequential linear
programming on the distances between outlines, and the result has passed the exact containment test. It is the best copy
found; a better copy is not excluded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from featherline_service.runtime import deadline
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.regions import polygons
from featherline_service.shape.placement import containment
from featherline_service.shape.placement.containment import FreeArea, Pose

Floats = NDArray[np.float64]

_DIRECTIONS: Final = 72
_GRID_POINTS: Final = 160
# Starts improved with the artwork's silhouette, straight and turned, and the best of them improved with the artwork.
_STARTS: Final = 6
_TURNED_STARTS: Final = 8
_FINALISTS: Final = 3
# Starts smaller than this share of the largest are not improved.
_WORTHWHILE: Final = 0.6
# The silhouette bridges gaps up to twice this share of the artwork's size.
_BRIDGE: Final = 0.03
# Outlines are simplified by this share of their size for the linear programs; containment is tested on the full
# outlines.
_ROUGH: Final = 0.004
# An artwork with more points than this is grown by this share of its size, so that its silhouette needs fewer.
_MANY_POINTS: Final = 400
_COARSE: Final = 0.002
# The cost of a containment test: points of the artwork, times points of the boundary and this overhead.
_EDGE_POINTS: Final = 200
_MOST_TO_TRY: Final = 30_000_000
# Touching outlines have no direction between them, so this share of the panel's size is kept as a distance.
_APART: Final = 1e-5
# Starts closer than this share of the artwork's size, and than this angle [rad], count as the same.
_SAME_SHARE: Final = 0.05
_MOST_RAYS: Final = 1_000_000  # pairs of a ray and a side of the boundary in one batch
_BISECTIONS: Final = 4
_PIVOTS: Final = 80
_FEASIBLE: Final = 1e-10


class _Stage(NamedTuple):
    """Settings of the improvement of a start.

    `first` is the length of the first step as a share of the artwork's size, `steps` their largest number. After a step
    that gains less than `precision` of the scale the length is divided by four, down to `last`. The boundary is
    simplified by up to `thinned` [mm].
    """

    first: float
    steps: int
    precision: float
    last: float
    thinned: float


_SCOUTING: Final = _Stage(first=0.25, steps=8, precision=1e-3, last=1e-2, thinned=0.08)
_POLISHING: Final = _Stage(first=0.0625, steps=24, precision=1e-4, last=2e-4, thinned=0.03)


@dataclass(frozen=True)
class Copy:
    """The pose and scale of a copy."""

    pose: Pose
    scale: float


@dataclass(frozen=True)
class _Outline:
    """Segments of outlines, and the convex corners, which alone can touch a straight side first."""

    start: Floats
    end: Floats
    corners: Floats


def _outline(region: BaseGeometry, *, outwards: bool) -> _Outline:
    """Return the outlines of a region with its convex corners, or with those of its surroundings (not `outwards`)."""
    starts, ends, corners = [], [], []
    for ring in shapely.get_rings(shapely.orient_polygons(shapely.get_parts(region))):
        points = shapely.get_coordinates(ring)[:-1]
        points = points[np.any(points != np.roll(points, 1, axis=0), axis=1)]
        after = np.roll(points, -1, axis=0)
        side, last = after - points, points - np.roll(points, 1, axis=0)
        turn = last[:, 0] * side[:, 1] - last[:, 1] * side[:, 0]
        starts.append(points)
        ends.append(after)
        corners.append(points[turn >= 0.0 if outwards else turn <= 0.0])
    return _Outline(np.concatenate(starts), np.concatenate(ends), np.concatenate(corners))


def largest_copy(
    area: FreeArea, artwork: MultiPolygon, clearance: float, rotation: float = 0.0, turn: float = math.pi
) -> Copy | None:
    """Return the largest similar copy found anywhere in a free area.

    Args:
        area: The free area [mm].
        artwork: The artwork at scale one, anywhere [any length].
        clearance: Needed on all sides [mm].
        rotation: Middle of the range of rotations [rad].
        turn: Largest deviation from that rotation to either side [rad], zero to pi.

    Returns:
        A pose and scale that pass `containment.fits`; None when no copy was found to fit.

    Raises:
        DrawingError: The outlines have too many points for the containment tests of a search.
    """
    if area.region.is_empty:
        return None
    points, edge = (int(shapely.get_num_coordinates(outline)) for outline in (artwork, area.boundary))
    if points * (edge + _EDGE_POINTS) > _MOST_TO_TRY:
        raise DrawingError(
            "pose.search-too-long",
            "A place for {points} points of artwork among {edge} of the panel takes too long to "
            "search: simplify the drawing or the panel, or give the pose",
            points=points,
            edge=edge,
        )
    upright = containment.place(artwork, Pose(0.0, 0.0, rotation))
    apart = max(clearance, _APART * math.sqrt(area.region.area))
    silhouette = _figure(_silhouette(upright))
    starts = [
        copy
        for start in _starts(area, upright, apart, turn)
        if (copy := _improved(area, silhouette, apart, start, turn, _SCOUTING)) is not None
    ]
    whole = _figure(upright)
    finals = [
        copy
        for start in _distinct(starts, whole.size)[:_FINALISTS]
        if (copy := _improved(area, whole, apart, start, turn, _POLISHING)) is not None
    ]
    if not finals:
        return None
    best = max(finals, key=lambda copy: copy.scale)
    best = _largest_near(area, upright, best.pose, 1.01 * best.scale, best.scale, clearance, 12) or best
    return Copy(Pose(best.pose.x, best.pose.y, rotation + best.pose.rotation), best.scale)


def _distinct(starts: list[Copy], size: float) -> list[Copy]:
    """Return starts by falling scale, without those that reached the pose of a larger start."""
    chosen: list[Copy] = []
    for start in sorted(starts, key=lambda copy: -copy.scale):
        near = _SAME_SHARE * size * start.scale
        if all(
            math.hypot(start.pose.x - other.pose.x, start.pose.y - other.pose.y) > near
            or abs(math.remainder(start.pose.rotation - other.pose.rotation, 2.0 * math.pi)) > _SAME_SHARE
            for other in chosen
        ):
            chosen.append(start)
    return chosen


@dataclass(frozen=True)
class _Figure:
    """Artwork about the origin: its region, its simplified outlines, and its largest distance from the origin."""

    region: MultiPolygon
    rough: _Outline
    size: float


def _figure(region: MultiPolygon) -> _Figure:
    size = math.hypot(*region.bounds[2:])
    rough = _outline(shapely.simplify(region, _ROUGH * size), outwards=True)
    return _Figure(region, rough, float(np.hypot(*rough.start.T).max()))


def _silhouette(artwork: MultiPolygon) -> MultiPolygon:
    """Return artwork with its narrow gaps bridged: a region that contains the artwork and has far fewer points."""
    size = math.hypot(*artwork.bounds[2:])
    if shapely.get_num_coordinates(artwork) > _MANY_POINTS:
        artwork = polygons(shapely.simplify(shapely.buffer(artwork, _COARSE * size, quad_segs=2), _COARSE * size))
    grown = shapely.buffer(artwork, _BRIDGE * size, join_style="mitre")
    return polygons(shapely.union(shapely.buffer(grown, -_BRIDGE * size, join_style="mitre"), artwork))


def _starts(area: FreeArea, artwork: MultiPolygon, clearance: float, turn: float) -> list[Copy]:
    """Return promising starts: poses where the rays to the boundary match the artwork's reach, the best first."""
    points, rays = _sight(area)
    rays = np.maximum(rays - clearance, 0.0)
    reach = _reach(artwork)
    step = 2.0 * math.pi / _DIRECTIONS
    most = min(int(turn / step), _DIRECTIONS // 2)
    turns = [0, *(sign * k for k in range(1, most + 1) for sign in (1, -1))]
    # Smallest ratio of rays to the artwork's reach, shape (points, rotations).
    scales = np.stack([np.min(rays / np.roll(reach, k), axis=1) for k in turns], axis=1)
    straight = _peaks(points, reach, scales[:, :1], turns[:1], _STARTS)
    if most == 0:
        return straight
    # A turned start can look better than it is, so straight starts are tried as well.
    turned = _peaks(points, reach, scales, turns, _TURNED_STARTS)
    return [*turned, *(start for start in straight[: _STARTS // 2] if start not in turned)]


def _peaks(points: Floats, reach: Floats, scales: Floats, turns: list[int], most: int) -> list[Copy]:
    """Return the best starts in a table of scales, shape (points, rotations), that are not close to each other."""
    step = 2.0 * math.pi / _DIRECTIONS
    left = scales.copy()
    peaks: list[Copy] = []
    while len(peaks) < most:
        point, index = np.unravel_index(int(np.argmax(left)), left.shape)
        scale = float(left[point, index])
        if scale <= 0.0 or (peaks and scale < _WORTHWHILE * peaks[0].scale):
            break
        x, y = map(float, points[point])
        peaks.append(Copy(Pose(x, y, turns[index] * step), scale))
        # Neighbours would lead to the same copy.
        near = np.hypot(*(points - points[point]).T) < 0.35 * scale * float(np.mean(reach))
        apart = np.abs((np.array(turns) - turns[index] + _DIRECTIONS // 2) % _DIRECTIONS - _DIRECTIONS // 2)
        left[np.ix_(near, apart * step < math.radians(25.0))] = 0.0
    return peaks


@cached
def _sight(area: FreeArea) -> tuple[Floats, Floats]:
    """Return points spread over the free area, and the distances to its boundary, shape (points, directions)."""
    points = _grid(area)
    return points, _rays(points, _boundary(area, _SCOUTING.thinned))


def _grid(area: FreeArea) -> Floats:
    """Return points spread over the free area, and the centres of the largest circles in its parts."""
    left, low, right, high = area.region.bounds
    pitch = math.sqrt(area.region.area / _GRID_POINTS)
    x, y = np.arange(left + pitch / 2.0, right, pitch), np.arange(low + pitch / 2.0, high, pitch)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    inside = grid[shapely.contains_xy(area.region, grid[:, 0], grid[:, 1])]
    middles = [shapely.get_point(shapely.maximum_inscribed_circle(p), 0) for p in shapely.get_parts(area.region)]
    points: Floats = np.concatenate([shapely.get_coordinates(middles), inside])
    return points


def _rays(points: Floats, boundary: _Outline) -> Floats:
    """Return distances from points to a boundary, shape (points, directions)."""
    angles = 2.0 * math.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    direction = np.column_stack([np.cos(angles), np.sin(angles)])
    side = boundary.end - boundary.start
    across = direction[:, 0, None] * side[:, 1] - direction[:, 1, None] * side[:, 0]
    across = np.where(across == 0.0, np.nan, across)
    rows = max(1, _MOST_RAYS // across.size)

    def shot(points: Floats) -> Floats:
        x, y = boundary.start[:, 0] - points[:, 0, None], boundary.start[:, 1] - points[:, 1, None]
        ahead = (x * side[:, 1] - y * side[:, 0])[:, None, :] / across
        share = (x[:, None, :] * direction[:, 1, None] - y[:, None, :] * direction[:, 0, None]) / across
        with np.errstate(invalid="ignore"):
            hit = (ahead >= 0.0) & (share >= 0.0) & (share <= 1.0)
        nearest: Floats = np.min(np.where(hit, ahead, np.inf), axis=2)
        return nearest

    rays = np.concatenate([shot(points[begin : begin + rows]) for begin in range(0, len(points), rows)])
    return np.where(np.isinf(rays), 0.0, rays)


def _reach(artwork: MultiPolygon) -> Floats:
    """Return the reach of artwork from the origin in the sectors of the directions, shape (directions,)."""
    size = math.hypot(*artwork.bounds[2:])
    points = shapely.get_coordinates(shapely.segmentize(artwork.boundary, size / 40.0))
    sector = np.rint(np.arctan2(points[:, 1], points[:, 0]) / (2.0 * math.pi) * _DIRECTIONS).astype(np.intp)
    reach = np.full(_DIRECTIONS, 1e-3 * size)
    np.maximum.at(reach, sector % _DIRECTIONS, np.hypot(points[:, 0], points[:, 1]))
    return reach


def _posed(points: Floats, pose: Pose, scale: float) -> Floats:
    cosine, sine = scale * math.cos(pose.rotation), scale * math.sin(pose.rotation)
    moved: Floats = points @ np.array([[cosine, sine], [-sine, cosine]]) + (pose.x, pose.y)
    return moved


def _fits(area: FreeArea, artwork: MultiPolygon, pose: Pose, scale: float, clearance: float) -> bool:
    return containment.fits(area, shapely.transform(artwork, lambda points: _posed(points, pose, scale)), clearance)


def _improved(  # noqa: PLR0917 - the state of a search
    area: FreeArea, figure: _Figure, clearance: float, start: Copy, turn: float, stage: _Stage
) -> Copy | None:
    """Return the copy that improving a start leads to; None when not even a tenth of the start fits."""
    boundary = _boundary(area, stage.thinned)
    copy: Copy | None = start
    while copy is not None and not _fits(area, figure.region, copy.pose, copy.scale, clearance):
        copy = Copy(copy.pose, 0.9 * copy.scale) if copy.scale > start.scale / 10.0 else None
    if copy is None:
        return None
    step = stage.first
    for _ in range(stage.steps):
        deadline.check()
        better = _stepped(area, figure, boundary, clearance, copy, step * copy.scale * figure.size, turn)
        if better is None or better.scale <= copy.scale * (1.0 + stage.precision):
            step /= 4.0
            copy = copy if better is None or better.scale < copy.scale else better
            if step < stage.last:
                break
        else:
            copy = better
    return copy


@cached
def _boundary(area: FreeArea, tolerance: float) -> _Outline:
    return _outline(shapely.simplify(area.region, tolerance), outwards=False)


def _stepped(  # noqa: PLR0917 - the state of a search
    area: FreeArea, figure: _Figure, boundary: _Outline, clearance: float, copy: Copy, step: float, turn: float
) -> Copy | None:
    """Return the largest copy within a step [mm] of a fitting copy, by a linear program; None when it does not fit.

    The constraints: close pairs of a point of the artwork and a point of the boundary come no closer than the
    clearance, to first order in shift, growth and rotation.
    """
    size = figure.size * copy.scale
    middle = np.array([copy.pose.x, copy.pose.y])
    rough = figure.rough
    here = _Outline(*(_posed(points, copy.pose, copy.scale) for points in (rough.start, rough.end, rough.corners)))
    within = clearance + 3.0 * step
    on_art, on_edge = _pairs(here, boundary, within)
    apart = on_art - on_edge
    distance = np.hypot(apart[:, 0], apart[:, 1])
    toward = -apart / distance[:, None]
    arm = (on_art - middle) / size
    rows = np.column_stack([toward, np.sum(toward * arm, axis=1), toward[:, 1] * arm[:, 0] - toward[:, 0] * arm[:, 1]])
    room = np.maximum(distance - clearance, 0.0)
    swing = min(step, max(0.0, (turn - abs(copy.pose.rotation)) * size)) if turn < math.pi else step
    # At the end of the range of rotations, only the direction back is allowed.
    back = step if turn > 0.0 else 0.0
    at_end = (swing, back) if copy.pose.rotation > 0.0 else (back, swing)
    x = _most(rows, room, np.array([step, step, step, at_end[0]]), np.array([step, step, step, at_end[1]]))
    if x is None:
        return None
    right, up, grown, turned = map(float, x)
    pose = Pose(copy.pose.x + right, copy.pose.y + up, copy.pose.rotation + turned / size)
    hoped = copy.scale * (1.0 + grown / size)
    return _largest_near(area, figure.region, pose, hoped, copy.scale, clearance, _BISECTIONS)


def _pairs(artwork: _Outline, boundary: _Outline, within: float) -> tuple[Floats, Floats]:
    """Return pairs of points of artwork and boundary: corners of either, with their feet on the other's sides."""
    low, high = artwork.start.min(axis=0) - within, artwork.start.max(axis=0) + within
    # A corner of the boundary behind a side of the artwork is nearer to another side.
    vertex, foot = _feet(artwork.corners, _segments_near(boundary, low, high), within)
    inside = np.all((boundary.corners >= low) & (boundary.corners <= high), axis=1)
    corner, on_art = _feet(boundary.corners[inside], artwork, within, outside=True)
    return np.concatenate([vertex, on_art]), np.concatenate([foot, corner])


def _segments_near(outline: _Outline, low: Floats, high: Floats) -> _Outline:
    """Return the segments whose bounding boxes meet a box."""
    near = np.all(np.maximum(outline.start, outline.end) >= low, axis=1)
    near &= np.all(np.minimum(outline.start, outline.end) <= high, axis=1)
    return _Outline(outline.start[near], outline.end[near], outline.corners)


def _feet(points: Floats, outline: _Outline, within: float, *, outside: bool = False) -> tuple[Floats, Floats]:
    """Return points and their feet on the segments within a distance; `outside`: only on segments that face them."""
    side = outline.end - outline.start
    x, y = points[:, 0, None] - outline.start[:, 0], points[:, 1, None] - outline.start[:, 1]
    seen = y * side[:, 0] <= x * side[:, 1] if outside else True
    # A segment whose ends coincide after rounding has no length; its foot is its start.
    square = np.maximum(np.sum(side * side, axis=1), np.finfo(np.float64).tiny)
    share = np.clip((x * side[:, 0] + y * side[:, 1]) / square, 0.0, 1.0)
    x, y = x - share * side[:, 0], y - share * side[:, 1]
    away = x * x + y * y
    point, segment = np.nonzero(seen & (away < within * within) & (away > 0.0))
    foot = outline.start[segment] + share[point, segment, None] * side[segment]
    return points[point], foot


def _most(rows: Floats, room: Floats, up: Floats, down: Floats) -> Floats | None:
    """Return the x with the greatest x[2] for ``rows @ x <= room`` and ``-down <= x <= up``; None when there is none.

    References:
        The dual simplex method (C. E. Lemke, Naval Res. Logist. Q. 1, 1954, 36-47), started at a corner of the box.
    """
    count = len(up)
    everything = np.concatenate([rows, np.eye(count), -np.eye(count)])
    limit = np.concatenate([room, up, down])
    # Small unequal gains in the other directions prevent cycling.
    gain = np.array([1.3e-7, 0.7e-7, 1.0, 1.1e-7])
    basis = len(rows) + np.arange(count)
    for _ in range(_PIVOTS):
        corner = everything[basis]
        x: Floats = np.linalg.solve(corner, limit[basis])
        over = everything @ x - limit
        entering = int(np.argmax(over))
        if over[entering] <= _FEASIBLE:
            return x
        price, share = np.linalg.solve(corner.T, np.column_stack([gain, everything[entering]])).T
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(share > _FEASIBLE, price / share, np.inf)
        leaving = int(np.argmin(ratio))
        if math.isinf(ratio[leaving]):
            return None
        basis[leaving] = entering
    return None


def _largest_near(  # noqa: PLR0917 - the state of a search
    area: FreeArea, artwork: MultiPolygon, pose: Pose, hoped: float, fitting: float, clearance: float, bisections: int
) -> Copy | None:
    """Return the largest copy at a pose between a scale that fitted nearby and a scale hoped for; None without any."""
    if _fits(area, artwork, pose, hoped, clearance):
        return Copy(pose, hoped)
    low, high = min(fitting, 0.99 * hoped), hoped
    if not _fits(area, artwork, pose, low, clearance):
        return None
    for _ in range(bisections):
        middle = (low + high) / 2.0
        low, high = (middle, high) if _fits(area, artwork, pose, middle, clearance) else (low, middle)
    return Copy(pose, low)
