"""Widths and other measures of a region of film: strokes, gaps, islands, cut length.

A width is the length of a chord that is perpendicular, or nearly so, to the outline at both ends: inside the region it
measures a stroke, outside a gap or counter. A sharp tip or notch has no such chord, so it does not count as a width of
zero; its angle is reported instead. Where a stroke or gap is no wider than the outlines are accurate, they touch: such
places are reported too, and the widths elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from featherline_service.runtime import deadline
from featherline_service.shape.outlines.curves import DrawingError

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Place = tuple[float, float]

# A chord that leans less than this is perpendicular; the allowance is for rounding.
_SQUARE_RAD: Final = math.radians(0.05)
# A stroke whose sides converge by up to this angle has a width, down to its narrow end. A stroke that tapers more ends
# in a tip, blunt or sharp, and is measured where it starts or is pinched.
_TAPER_RAD: Final = math.radians(5.0)
# Chords between the arms of a corner sharper than this belong to a tip, unless the arms are parallel.
_SHARPEST_CORNER_RAD: Final = math.radians(60.0)
_STRAIGHT_ARMS: Final = 0.97
_PARALLEL: Final = math.cos(math.radians(1.5))
# A vertex where the blade turns by more than this is a corner; smoother bends are cut without a stop.
_CORNER: Final = math.radians(30.0)
# Outlines with more segments than this are searched from near pairs outwards, smaller outlines in one step.
_MANY_SEGMENTS: Final = 250
_FIRST_REACH: Final = 1.0 / 32.0
_FIRST_BATCH: Final = 32
_LARGEST_BATCH: Final = 4096
_MOST_PAIRS: Final = 200_000  # in one batch, at a hundred bytes a pair
_MOST_ROWS: Final = 256
# Most pairs of segments examined, and most of them that can face each other: three seconds of computing.
_MOST_EXAMINED: Final = 8_000_000
_MOST_FACING: Final = 2_000_000
_WIDEST_LEAN: Final = _TAPER_RAD + _CORNER  # at a vertex that is not a corner
_INSET: Final = 1e-6
# A chord beside a place where outlines touch is no longer than this share of the distance along either outline, and the
# distances are equal to this factor: sides of curves that narrow to the place open by up to 11 degrees.
_NARROWING: Final = 0.2
_UNEVEN: Final = 1.5
# A circle at least this share of a chord is taken as no narrower, since its diameter is computed less exactly.
_CIRCLE_SHARE: Final = 0.998


class Detail(Struct, frozen=True):
    """Measures of a region of film. Lengths in the region's unit, areas in its square.

    `cut_length` is the length of all outlines, `corners` the number of their vertices that turn by more than 30
    degrees. `stroke` is the narrowest stroke. `gap` is the narrowest gap, inside counters or outside, None without any.
    `counter` is the narrowest width of a counter, None without counters. `island` is the area of the smallest piece.
    `tips` is the number of corners and notches sharper than 60 degrees; `sharpest` is the smallest angle of all corners
    and notches [rad], None without any. `touches` are the places where outlines touch: a gap or a neck there is no
    wider than the outlines are accurate, and is left out of `gap`, `counter` and `stroke`.
    """

    area: float
    cut_length: float
    corners: int
    pieces: int
    counters: int
    stroke: float
    gap: float | None
    counter: float | None
    island: float
    tips: int
    sharpest: float | None
    clear_stroke: float
    clear_gap: float | None
    touches: tuple[Place, ...]

    def scaled(self, scale: float) -> Detail:
        """Return the detail of a copy enlarged by a factor."""
        return replace(
            self,
            area=self.area * scale * scale,
            cut_length=self.cut_length * scale,
            stroke=self.stroke * scale,
            gap=None if self.gap is None else self.gap * scale,
            counter=None if self.counter is None else self.counter * scale,
            island=self.island * scale * scale,
            clear_stroke=self.clear_stroke * scale,
            clear_gap=None if self.clear_gap is None else self.clear_gap * scale,
            touches=tuple((x * scale, y * scale) for x, y in self.touches),
        )


def combined(details: list[Detail], gap_between: float | None) -> Detail:
    """Return the detail of several regions that do not meet, given the smallest distance between two of them."""
    gaps = [gap for gap in (*(detail.gap for detail in details), gap_between) if gap is not None]
    clear_gaps = [gap for gap in (*(detail.clear_gap for detail in details), gap_between) if gap is not None]
    counters = [detail.counter for detail in details if detail.counter is not None]
    angles = [detail.sharpest for detail in details if detail.sharpest is not None]
    return Detail(
        area=math.fsum(detail.area for detail in details),
        cut_length=math.fsum(detail.cut_length for detail in details),
        corners=sum(detail.corners for detail in details),
        pieces=sum(detail.pieces for detail in details),
        counters=sum(detail.counters for detail in details),
        stroke=min(detail.stroke for detail in details),
        gap=min(gaps, default=None),
        counter=min(counters, default=None),
        island=min(detail.island for detail in details),
        tips=sum(detail.tips for detail in details),
        sharpest=min(angles, default=None),
        clear_stroke=min(detail.clear_stroke for detail in details),
        clear_gap=min(clear_gaps, default=None),
        touches=tuple(place for detail in details for place in detail.touches),
    )


@dataclass(frozen=True)
class _Outline:
    """Segments of a region's rings, the region on their left, one row per segment. Lengths in the region's unit."""

    start: Floats
    end: Floats
    normal: Floats
    """Unit outward normal, shape (n, 2)."""
    length: Floats
    turn: Floats
    """Turn at the segment's start [rad]: positive at a corner of the film, negative at a notch."""
    before: Indices
    after: Indices
    ring: Indices
    enclosed: NDArray[np.bool_]
    """Whether the segment is part of a hole, or of a piece inside a hole."""
    along: Floats
    """Distance along the ring to the segment's start."""
    perimeter: Floats
    """Length of the segment's ring."""


def measure(region: MultiPolygon, tolerance: float, touch: float = 0.0) -> Detail:
    """Return the detail of a region.

    Args:
        region: A valid multipolygon that is not empty, in any length unit.
        tolerance: Accuracy of its outlines, in the same unit: vertices closer than this to a line are dropped.
        touch: Widest gap or neck at which outlines count as touching, in the same unit; at least twice the tolerance,
            since either outline may be off by the tolerance.

    Returns:
        The detail, its widths to within twice the tolerance. Where the largest circle in a piece or counter is
        narrower than all chords, the width is its diameter, at most 0.1 % too small.

    Raises:
        DrawingError: There are too many pairs of segments near each other.
    """
    simple = MultiPolygon(list(shapely.get_parts(shapely.simplify(region, tolerance, preserve_topology=True))))
    outline = _outline(simple)
    shapely.prepare(simple)
    widths, short = _widths(simple, outline, max(touch, 2.0 * tolerance))
    touching = _touching(simple, outline, short)
    clear = widths if len(touching.length) == 0 else _widths(simple, outline, max(touch, 2.0 * tolerance), touching)[0]
    turns = np.abs(outline.turn)
    angles = math.pi - turns[turns > _CORNER]
    return Detail(
        area=float(region.area),
        cut_length=float(region.length),
        corners=len(angles),
        pieces=len(region.geoms),
        counters=sum(len(part.interiors) for part in region.geoms),
        stroke=widths.stroke,
        gap=widths.gap,
        counter=widths.counter,
        island=min(float(part.area) for part in region.geoms),
        tips=int(np.count_nonzero(angles < _SHARPEST_CORNER_RAD)),
        sharpest=float(angles.min()) if len(angles) else None,
        clear_stroke=clear.stroke,
        clear_gap=clear.gap,
        touches=_places(touching, max(touch, 2.0 * tolerance)),
    )


def _outline(region: MultiPolygon) -> _Outline:
    parts = shapely.get_parts(shapely.orient_polygons(region))
    within = _within_holes(parts)
    rings = [shapely.get_coordinates(ring)[:-1] for part in parts for ring in (part.exterior, *part.interiors)]
    enclosed = [
        ring > 0 or within[number] for number, part in enumerate(parts) for ring in range(1 + len(part.interiors))
    ]
    counts = np.array([len(points) for points in rings])
    first = np.repeat(np.cumsum(counts) - counts, counts)
    count = np.repeat(counts, counts)
    place = np.arange(len(first)) - first
    before, after = first + (place - 1) % count, first + (place + 1) % count
    start = np.concatenate(rings)
    end = start[after]
    side = end - start
    length = np.hypot(side[:, 0], side[:, 1])
    tangent = side / length[:, None]
    last = tangent[before]
    turn = np.arctan2(
        last[:, 0] * tangent[:, 1] - last[:, 1] * tangent[:, 0], last[:, 0] * tangent[:, 0] + last[:, 1] * tangent[:, 1]
    )
    sums = np.cumsum(length) - length
    ring = np.repeat(np.arange(len(counts)), counts)
    return _Outline(
        start=start,
        end=end,
        normal=np.column_stack([tangent[:, 1], -tangent[:, 0]]),
        length=length,
        turn=turn,
        before=before,
        after=after,
        ring=ring,
        enclosed=np.array(enclosed)[ring],
        along=sums - sums[first],
        perimeter=np.bincount(ring, weights=length).astype(np.float64)[ring],
    )


def _within_holes(parts: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Return whether the parts of a region lie in a hole of another part, shape (parts,)."""
    within = np.zeros(len(parts), dtype=np.bool_)
    holes = [shapely.polygons(ring) for part in parts for ring in part.interiors]
    if holes and len(parts) > 1:
        within[shapely.STRtree(holes).query(shapely.point_on_surface(parts), predicate="within")[0]] = True
    return within


@dataclass
class _Search:
    """A search for the shortest perpendicular chord inside the region or outside, between some segments.

    Chords longer than `most` are ignored: a piece or counter is no wider than the shorter side of its box.
    """

    inside: bool
    among: NDArray[np.bool_]
    most: float
    shortest: float | None = None

    def chosen(self, chords: _Chords) -> _Chords:
        """Return the chords between the search's segments."""
        return chords.chosen(self.among[chords.first] & self.among[chords.second])


@dataclass(frozen=True)
class _Widths:
    """Narrowest stroke, gap and counter of a region."""

    stroke: float
    gap: float | None
    counter: float | None


def _widths(
    region: MultiPolygon, outline: _Outline, touch: float, touching: _Chords | None = None
) -> tuple[_Widths, _Chords]:
    """Return the widths of a region, from segments at growing distances until no search is open.

    With `touching`, the chords at which outlines touch, widths there and beside are left out. The second value is the
    chords no longer than `touch`, among which those are.
    """
    left, low, right, high = region.bounds
    whole = math.hypot(right - left, high - low)
    holes = [shapely.polygons(ring) for part in region.geoms for ring in part.interiors]
    largest_counter = min(map(_shorter_side, holes), default=None)
    anywhere = np.ones(len(outline.start), dtype=np.bool_)
    strokes = _Search(True, anywhere, min(map(_shorter_side, region.geoms)))
    gaps = _Search(False, anywhere, whole if largest_counter is None else largest_counter)
    counters = _Search(False, outline.enclosed, 0.0 if largest_counter is None else largest_counter)
    if len(outline.start) > _MANY_SEGMENTS:
        strokes.most = _bound(region.geoms)
        if holes:
            gaps.most = counters.most = _bound(holes)
    near = _near_pairs(outline)
    examined = facing = 0
    shortest: list[_Chords] = []
    nearer, reach = -1.0, whole if len(outline.start) <= _MANY_SEGMENTS else whole * _FIRST_REACH
    searches = (strokes, gaps, counters)
    while still_open := [search for search in searches if search.shortest is None and search.most > nearer]:
        gathered: list[list[_Chords]] = [[] for _ in still_open]
        for first, second in near(reach):
            deadline.check()
            keep = _can_face(outline, first, second)
            examined, facing = examined + len(first), facing + len(keep)
            if examined > _MOST_EXAMINED or facing > _MOST_FACING:
                raise DrawingError(
                    "drawing.too-many-corners",
                    "The drawing's outline has too many corners near one another: simplify it",
                )
            chords = _chords(outline, first[keep], second[keep], nearer, reach)
            shortest.append(chords.chosen(chords.length <= touch))
            chords = chords.chosen(chords.length > (0.0 if touching is None else touch))
            square = {side: _square(outline, chords, inside=side) for side in {search.inside for search in still_open}}
            for search, batches in zip(still_open, gathered, strict=True):
                batches.append(search.chosen(square[search.inside]))
        for search, batches in zip(still_open, gathered, strict=True):
            chords = _Chords.together(batches)
            if touching is not None:
                chords = chords.chosen(~_beside(outline, chords, touching))
            search.shortest = _shortest(region, outline, chords, inside=search.inside)
        nearer, reach = reach, min(2.0 * reach, max(search.most for search in still_open))
    # A piece without opposite sides, such as a triangle, has no chord: its width is that of the largest circle in it.
    stroke = min(_largest_circle(part, strokes.shortest) for part in region.geoms)
    counter = min((_largest_circle(hole, counters.shortest) for hole in holes), default=math.inf)
    stroke = min(stroke, math.inf if strokes.shortest is None else strokes.shortest)
    counter = min(counter, math.inf if counters.shortest is None else counters.shortest)
    gap = min(counter, math.inf if gaps.shortest is None else gaps.shortest)
    return _Widths(
        stroke,
        None if math.isinf(gap) else gap,
        None if math.isinf(counter) else counter,
    ), _Chords.together(shortest)


def _touching(region: MultiPolygon, outline: _Outline, chords: _Chords) -> _Chords:
    """Return the chords, of short ones, at which outlines touch: across a gap or neck, or where two rings meet."""
    if len(chords.length) == 0:
        return chords
    met = chords.chosen((chords.length == 0.0) & (outline.ring[chords.first] != outline.ring[chords.second]))
    apart = chords.chosen(chords.length > 0.0)
    crossing = []
    for inside in (True, False):
        square = _square(outline, apart, inside=inside)
        square = square.chosen(~_in_tip(outline, square, -1.0 if inside else 1.0))
        crossing.append(square.chosen(_clear(region, outline, square, inside=inside)))
    return _Chords.together([met, *crossing])


def _places(chords: _Chords, apart: float) -> tuple[Place, ...]:
    """Return the midpoints of chords that are farther apart than a distance."""
    places: list[Place] = []
    for x, y in ((chords.start + chords.end) / 2.0).tolist():
        if all(math.hypot(x - other[0], y - other[1]) > apart for other in places):
            places.append((x, y))
    return tuple(places)


def _beside(outline: _Outline, chords: _Chords, touching: _Chords) -> NDArray[np.bool_]:
    """Return whether chords cross a gap or neck that narrows to a place where outlines touch.

    Their ends lie on the two outlines that touch, about equally far along from the place, and much farther than the
    chord is long.
    """
    beside = np.zeros(len(chords.length), dtype=np.bool_)
    start = _position(outline, chords.first, chords.start_at), outline.ring[chords.first]
    end = _position(outline, chords.second, chords.end_at), outline.ring[chords.second]
    around = outline.perimeter[chords.first], outline.perimeter[chords.second]
    touch = (touching.first, touching.start_at), (touching.second, touching.end_at)
    for first, second in (touch, touch[::-1]):
        for ring, place, other_ring, other_place in zip(
            outline.ring[first[0]], _position(outline, *first), outline.ring[second[0]], _position(outline, *second),
            strict=True,
        ):  # fmt: skip
            deadline.check()
            arm, other_arm = _distance(start[0], place, around[0]), _distance(end[0], other_place, around[1])
            shorter, longer = np.minimum(arm, other_arm), np.maximum(arm, other_arm)
            leads = (chords.length <= _NARROWING * shorter) & (longer <= _UNEVEN * shorter)
            beside |= leads & (start[1] == ring) & (end[1] == other_ring)
    return beside


def _position(outline: _Outline, segment: Indices, at: Floats) -> Floats:
    """Return positions along the rings of points on segments."""
    position: Floats = outline.along[segment] + at * outline.length[segment]
    return position


def _distance(position: Floats, place: float, around: Floats) -> Floats:
    """Return distances of positions from a place along rings, the shorter way round."""
    return np.abs(np.remainder(position - place + around / 2.0, around) - around / 2.0)


def _bound(polygons: Sequence[BaseGeometry]) -> float:
    """Return an upper bound of the narrowest polygon's width: the diameter of a circle in it, and its tolerance."""
    polygon = min(polygons, key=_shorter_side)
    tolerance = _shorter_side(polygon) / 100.0
    return 2.0 * (float(shapely.length(shapely.maximum_inscribed_circle(polygon, tolerance))) + tolerance)


def _shorter_side(polygon: BaseGeometry) -> float:
    left, low, right, high = polygon.bounds
    return float(min(right - left, high - low))


def _near_pairs(outline: _Outline) -> Callable[[float], Iterator[tuple[Indices, Indices]]]:
    """Return a function that yields batches of pairs of segments within a distance; of a small outline, all pairs."""
    count = len(outline.start)
    if count <= _MANY_SEGMENTS:
        return lambda _: iter([np.triu_indices(count, 1)])
    low, high = np.minimum(outline.start, outline.end), np.maximum(outline.start, outline.end)
    tree = shapely.STRtree(shapely.box(*low.T, *high.T))

    def near(reach: float) -> Iterator[tuple[Indices, Indices]]:
        around = shapely.box(*(low - reach).T, *(high + reach).T)
        begin, rows = 0, max(1, _MOST_PAIRS // count)
        while begin < count:
            first, second = tree.query(around[begin : begin + rows])
            begin, first = begin + rows, first + begin
            rows = max(1, min(2 * rows, rows * _MOST_PAIRS // (len(first) + 1), _MOST_ROWS))
            once = first < second
            yield first[once], second[once]

    return near


def _largest_circle(polygon: BaseGeometry, chord: float | None) -> float:
    """Return the diameter of the largest circle in a polygon, at most 0.1 % too small.

    The answer is infinity where the circle is no narrower than the chord given; a rough circle mostly shows that.
    """

    def diameter(tolerance: float) -> float:
        return 2.0 * float(shapely.length(shapely.maximum_inscribed_circle(polygon, tolerance)))

    least = math.inf if chord is None else _CIRCLE_SHARE * chord
    inner = shapely.point_on_surface(polygon), shapely.centroid(polygon)
    clear = [float(shapely.distance(polygon.boundary, p)) for p in inner if shapely.intersects(polygon, p)]
    if 2.0 * max(clear, default=0.0) >= least:
        return math.inf
    rough = diameter(_shorter_side(polygon) / 100.0)
    return math.inf if rough >= least else diameter(rough / 1000.0)


def _can_face(outline: _Outline, first: Indices, second: Indices) -> Indices:
    """Return the indices of the pairs of segments that can have a chord which measures a width.

    Their normals are opposite, and the segments lie along each other's normals, within the lean allowed, the turns at
    their ends and their lengths. Segments at a corner can face any direction.
    """
    turns = np.abs(outline.turn)
    swing = np.maximum(turns, turns[outline.after])
    free = swing > _CORNER
    meet = (outline.after[first] == second) | (outline.before[first] == second)
    x, y = outline.normal.T
    facing = -(x[first] * x[second] + y[first] * y[second])
    smooth = float(np.max(swing, where=~free, initial=0.0))
    may = np.flatnonzero((free[first] | free[second] | (facing >= math.cos(_TAPER_RAD + 2.0 * smooth))) & ~meet)
    first, second = first[may], second[may]
    slack = np.cos(np.minimum(_TAPER_RAD + swing[first] + swing[second], math.pi))
    does = free[first] | free[second] | (facing[may] >= slack)
    may, first, second = may[does], first[does], second[does]
    middle, half = (outline.start + outline.end) / 2.0, outline.length / 2.0
    way_x, way_y = (middle[second] - middle[first]).T
    loose, widest = half[first] + half[second], np.tan(np.minimum(_TAPER_RAD + swing, _WIDEST_LEAN))
    lies = np.ones(len(may), dtype=np.bool_)
    for side in (first, second):
        across = np.abs(way_x * x[side] + way_y * y[side])
        along = np.abs(way_x * y[side] - way_y * x[side])
        lies &= free[side] | (along - loose <= widest[side] * (across + loose))
    aimed: Indices = may[lies]
    return aimed


@dataclass(frozen=True)
class _Chords:
    """Shortest connections of pairs of segments: the segments, the end points and their positions on the segments."""

    first: Indices
    second: Indices
    start: Floats
    end: Floats
    start_at: Floats
    """Position along segment `first`, 0 to 1."""
    end_at: Floats
    length: Floats

    @staticmethod
    def together(parts: list[_Chords]) -> _Chords:
        """Return the chords of all parts; there is at least one part."""
        return _Chords(*(np.concatenate([getattr(part, name) for part in parts]) for name in _Chords.__annotations__))

    def chosen(self, which: NDArray[np.bool_] | Indices) -> _Chords:
        """Return the chords that a mask or indices select."""
        return _Chords(
            self.first[which], self.second[which], self.start[which], self.end[which],
            self.start_at[which], self.end_at[which], self.length[which],
        )  # fmt: skip


def _chords(outline: _Outline, first: Indices, second: Indices, nearer: float, reach: float) -> _Chords:
    """Return the shortest connections of pairs of segments that do not cross; at least one end of each is a vertex.

    Only chords longer than `nearer`, which earlier steps looked at, and no longer than `reach` are returned.
    """
    a, b, c, d = outline.start[first], outline.end[first], outline.start[second], outline.end[second]

    def foot(point: Floats, start: Floats, end: Floats) -> tuple[Floats, Floats]:
        side = end - start
        share = np.clip(np.einsum("ij,ij->i", point - start, side) / np.einsum("ij,ij->i", side, side), 0.0, 1.0)
        return start + share[:, None] * side, share

    (on_cd_a, t_a), (on_cd_b, t_b) = foot(a, c, d), foot(b, c, d)
    (on_ab_c, s_c), (on_ab_d, s_d) = foot(c, a, b), foot(d, a, b)
    zero, unit = np.zeros(len(first)), np.ones(len(first))
    starts = np.stack([a, b, on_ab_c, on_ab_d])
    ends = np.stack([on_cd_a, on_cd_b, c, d])
    lengths = np.hypot(*np.moveaxis(ends - starts, -1, 0))
    best = np.argmin(lengths, axis=0)
    row = np.arange(len(first))
    chords = _Chords(
        first=first,
        second=second,
        start=starts[best, row],
        end=ends[best, row],
        start_at=np.stack([zero, unit, s_c, s_d])[best, row],
        end_at=np.stack([t_a, t_b, zero, unit])[best, row],
        length=lengths[best, row],
    )
    return chords.chosen((chords.length > nearer) & (chords.length <= reach))


def _square(outline: _Outline, chords: _Chords, *, inside: bool) -> _Chords:
    """Return the chords that are perpendicular enough to both segments to measure a stroke (`inside`) or a gap."""
    sign = -1.0 if inside else 1.0
    direction = (chords.end - chords.start) / chords.length[:, None]
    start = _lean(outline, chords.first, chords.start_at, direction, sign)
    end = _lean(outline, chords.second, chords.end_at, -direction, sign)
    # Perpendicular at one end; or from corner to corner, as at the narrow end of a tapered stroke.
    straight = np.minimum(np.abs(start), np.abs(end)) <= _SQUARE_RAD
    straight |= _at_corner(outline, chords.first, chords.start_at) & _at_corner(outline, chords.second, chords.end_at)
    return chords.chosen(straight & (np.abs(start) + np.abs(end) <= _TAPER_RAD))


def _shortest(region: MultiPolygon, outline: _Outline, chords: _Chords, *, inside: bool) -> float | None:
    """Return the length of the shortest chord that measures a stroke (`inside`) or a gap; None without any."""
    sign = -1.0 if inside else 1.0
    chords = chords.chosen(np.argsort(chords.length, kind="stable"))
    for begin, end in _batches(len(chords.length)):
        batch = chords.chosen(np.arange(begin, end))
        batch = batch.chosen(~_in_tip(outline, batch, sign))
        clear = _clear(region, outline, batch, inside=inside)
        if np.any(clear):
            return float(batch.length[int(np.argmax(clear))])
    return None


def _clear(region: MultiPolygon, outline: _Outline, chords: _Chords, *, inside: bool) -> NDArray[np.bool_]:
    """Return whether chords lie completely inside the region, or completely outside."""
    lines = _sight_lines(outline, chords)
    clear: NDArray[np.bool_] = (
        shapely.contains_properly(region, lines) if inside else ~shapely.intersects(region, lines)
    )
    return clear


def _at_corner(outline: _Outline, segment: Indices, at: Floats) -> NDArray[np.bool_]:
    turn = outline.turn[np.where(at <= 0.0, segment, outline.after[segment])]
    corner: NDArray[np.bool_] = ((at <= 0.0) | (at >= 1.0)) & (np.abs(turn) > _CORNER)
    return corner


def _sight_lines(outline: _Outline, chords: _Chords) -> NDArray[np.object_]:
    """Return chords shortened a little and moved off vertices, so that they do not touch the outline at their ends."""

    def inset(segment: Indices, at: Floats) -> Floats:
        share = np.clip(at, _INSET, 1.0 - _INSET)[:, None]
        inner: Floats = (1.0 - share) * outline.start[segment] + share * outline.end[segment]
        return inner

    start, end = inset(chords.first, chords.start_at), inset(chords.second, chords.end_at)
    hold = _INSET * (end - start)
    lines: NDArray[np.object_] = shapely.linestrings(np.stack([start + hold, end - hold], axis=1))
    return lines


def _lean(outline: _Outline, segment: Indices, at: Floats, direction: Floats, sign: float) -> Floats:
    """Return the angles of directions from the segments' normals [rad], counter-clockwise positive.

    `sign` is 1 for the outer normals, -1 for the inner normals. At a vertex of a curve, and at a corner that points to
    the side asked for, all directions between the normals of the two segments count as perpendicular: angle zero.
    """
    vertex = np.where(at <= 0.0, segment, outline.after[segment])
    at_vertex = (at <= 0.0) | (at >= 1.0)
    from_into = _angle(outline.normal[outline.before[vertex]] * sign, direction)
    from_out = _angle(outline.normal[vertex] * sign, direction)
    turn = outline.turn[vertex]
    # Between the normals of the two segments: the direction has turned by a part of the outline's turn.
    between = (from_into * turn >= 0.0) & (from_out * turn <= 0.0) & (np.abs(from_into - from_out) < math.pi)
    between &= (turn * sign > 0.0) | (np.abs(turn) <= _CORNER)
    nearer = np.where(np.abs(from_into) < np.abs(from_out), from_into, from_out)
    angle = _angle(outline.normal[segment] * sign, direction)
    return np.where(at_vertex, np.where(between, 0.0, nearer), angle)


def _angle(first: Floats, second: Floats) -> Floats:
    """Return the angles from unit vectors to unit vectors [rad]."""
    cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    angle: Floats = np.arctan2(cross, first[:, 0] * second[:, 0] + first[:, 1] * second[:, 1])
    return angle


def _batches(count: int) -> Iterator[tuple[int, int]]:
    """Yield ranges of growing size: the first chords mostly decide, and larger batches are faster."""
    begin, size = 0, _FIRST_BATCH
    while begin < count:
        yield begin, min(begin + size, count)
        begin, size = begin + size, min(2 * size, _LARGEST_BATCH)


def _in_tip(outline: _Outline, chords: _Chords, sign: float) -> NDArray[np.bool_]:
    """Return whether chords join the two arms of a sharp corner that points away from the measured side."""
    tips = np.flatnonzero(outline.turn * -sign > math.pi - _SHARPEST_CORNER_RAD)
    in_tip = np.zeros(len(chords.length), dtype=np.bool_)
    if len(tips) == 0:
        return in_tip
    parallel = -np.einsum("ij,ij->i", outline.normal[chords.first], outline.normal[chords.second]) >= _PARALLEL
    may = np.flatnonzero((outline.ring[chords.first] == outline.ring[chords.second]) & ~parallel)
    begin = _position(outline, chords.first, chords.start_at)
    end = _position(outline, chords.second, chords.end_at)
    # Straight arms are no longer than the outline is wide, so longer paths have no tip between straight arms.
    widest = 2.0 * math.hypot(*np.ptp(outline.start, axis=0)) / _STRAIGHT_ARMS
    for first, second in ((begin, end), (end, begin)):
        path = (second - first) % outline.perimeter[chords.first]
        near = may[path[may] <= widest]
        for chord, tip in _tips_between(outline, tips, chords.first[near], first[near], path[near]):
            which = near[chord]
            at = outline.start[tip]
            arms = np.hypot(*(chords.start[which] - at).T) + np.hypot(*(chords.end[which] - at).T)
            in_tip[which[arms >= _STRAIGHT_ARMS * path[which]]] = True
    return in_tip


def _tips_between(
    outline: _Outline, tips: Indices, segment: Indices, place: Floats, path: Floats
) -> Iterator[tuple[Indices, Indices]]:
    """Yield batches of pairs of a row and a tip on its path along the ring.

    A row's path starts at `place` on the ring of `segment` and is `path` long; it may pass the ring's seam.
    """
    around, ring = outline.perimeter[segment], outline.ring[segment]
    # Positions of the tips if all rings were one line, and the range of tips on the row's ring.
    perimeters = outline.perimeter[np.flatnonzero(np.diff(outline.ring, prepend=-1))]
    base = np.cumsum(perimeters) - perimeters
    of = outline.ring[tips]
    on_line = base[of] + outline.along[tips]
    bounds = np.searchsorted(of, ring, side="left"), np.searchsorted(of, ring, side="right")
    for turn in (0.0, around):  # up to the ring's seam, and beyond it
        low = np.searchsorted(on_line, base[ring] + (place - turn), side="left").clip(*bounds)
        high = np.searchsorted(on_line, base[ring] + (place - turn + path), side="right").clip(*bounds)
        count = np.maximum(high - low, 0)
        many = np.cumsum(count)
        begin = 0
        while begin < len(count):
            end = max(begin + 1, int(np.searchsorted(many, (many[begin - 1] if begin else 0) + _MOST_PAIRS)))
            counts = count[begin:end]
            row = np.repeat(np.arange(begin, end), counts)
            step = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts)
            yield row, tips[low[row] + step]
            begin = end
