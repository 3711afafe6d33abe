"""Containment of artwork in a panel: an exact test at a pose, the clearance, and the largest copy there.

A positive answer is always a test of the flattened outlines themselves, never of a grown or shrunk copy.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
import shapely
from msgspec import Struct
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

# Rounding allowed of an artwork that fits exactly: a nanometre, a thousandth of what a blade or an eye can hold.
ROUNDING_MM: Final = 1e-6
# Outlines beyond the free area are sampled at this distance.
_OVERREACH_STEP_MM: Final = 0.25
_MOST_OVERREACHING: Final = 40_000  # points: an outline of 10 m
# Scales are tried downwards by this ratio, from the largest that the free area's box admits to this share of it.
_SCAN_RATIO: Final = 0.96
_SMALLEST_SHARE: Final = 0.02
_SCALE_PRECISION: Final = 1e-5
_LEAST_STEP: Final = 0.75  # of that precision: a step beyond a scale that nearly touches ends the search


@dataclass(frozen=True, eq=False)
class FreeArea:
    """The part of a panel that may be marked [mm], y upwards; hashed by identity.

    `barriers` are the names and geometries of its bounds: ``edge``, then the keep-outs.
    """

    region: BaseGeometry
    boundary: BaseGeometry
    barriers: tuple[tuple[str, BaseGeometry], ...]

    @cached_property
    def extent(self) -> tuple[float, float]:
        """Width and height of its box [mm]; zero where nothing may be marked."""
        if self.region.is_empty:
            return 0.0, 0.0
        left, low, right, high = self.region.bounds
        return right - left, high - low


def free_area(panel: MultiPolygon, keep_outs: tuple[tuple[str, MultiPolygon], ...] = ()) -> FreeArea:
    """Return a panel less its keep-outs.

    Args:
        panel: The panel [mm].
        keep_outs: Names and regions [mm] of the parts that must not be marked.
    """
    region: BaseGeometry = panel
    if keep_outs:
        region = shapely.difference(panel, shapely.union_all([keep_out for _, keep_out in keep_outs]))
    boundary = region.boundary
    barriers = (("edge", panel.boundary), *keep_outs)
    shapely.prepare([region, boundary, *(barrier for _, barrier in barriers)])
    return FreeArea(region=region, boundary=boundary, barriers=barriers)


class Pose(Struct, frozen=True):
    """Position of the centre of an artwork's box [mm] and rotation about it [rad, counter-clockwise]."""

    x: float
    y: float
    rotation: float = 0.0


def place(artwork: MultiPolygon, pose: Pose, scale: float = 1.0) -> MultiPolygon:
    """Return artwork scaled and rotated about the centre of its box, with the centre moved to the pose."""
    left, low, right, high = artwork.bounds
    centre, there = complex(left + right, low + high) / 2.0, complex(pose.x, pose.y)
    cosine, sine = scale * math.cos(pose.rotation), scale * math.sin(pose.rotation)
    turn = np.array([[cosine, sine], [-sine, cosine]])
    # Pairs are added as complex numbers, which numpy does several times as fast.
    return shapely.transform(
        artwork, lambda points: (((points.view(complex) - centre).view(float) @ turn).view(complex) + there).view(float)
    )


def scaled(artwork: MultiPolygon, scale: float, to: Pose) -> MultiPolygon:
    """Return artwork scaled about the origin, and the origin moved to a pose; not turned."""
    there = complex(to.x, to.y)
    return shapely.transform(artwork, lambda points: (points.view(complex) * scale + there).view(float))


def all_fit(area: FreeArea, placed: Iterable[MultiPolygon], clearance: float) -> bool:
    """Return whether every one of placed artworks fits, as by `fits`: so then does their union."""
    return all(fits(area, one, clearance) for one in placed)


def fits(area: FreeArea, placed: MultiPolygon, clearance: float) -> bool:
    """Return whether placed artwork lies in the free area, at least `clearance` [mm] from its boundary."""
    if clearance > ROUNDING_MM:
        return bool(
            shapely.contains_properly(area.region, placed)
            and not shapely.dwithin(area.boundary, placed, clearance - ROUNDING_MM)
        )
    if shapely.covers(area.region, placed):
        return True
    # Artwork that touches the edge exactly may be a rounding error over it.
    over = shapely.difference(placed, area.region)
    return bool(over.is_empty or _overreach(area, over, placed) <= ROUNDING_MM)


def margin(area: FreeArea, placed: MultiPolygon, clearance: float) -> float:
    """Return by how much placed artwork keeps more than its clearance [mm]; where it is above zero, it `fits`.

    Infinite where it reaches out of the free area, and without a clearance. Half of the rounding allowed is left to
    copies that are placed anew.
    """
    if clearance <= ROUNDING_MM:
        return math.inf if fits(area, placed, clearance) else -math.inf
    if not shapely.contains_properly(area.region, placed):
        return -math.inf
    return float(shapely.distance(area.boundary, placed)) - (clearance - ROUNDING_MM / 2.0)


@dataclass(frozen=True)
class Room:
    """The clearance of placed artwork from the free area's barriers [mm], negative where it overlaps them.

    `bound_by` is the nearest barrier, or the barrier that artwork overlaps furthest: ``edge`` or a keep-out's name.
    """

    clearance: float
    bound_by: str


def room(area: FreeArea, placed: MultiPolygon) -> Room:
    """Return the clearance of placed artwork and the barrier that bounds it.

    Inside the free area the distance is exact. Outside, it is minus the largest distance of a point of the artwork from
    the free area, to within 0.13 mm for outlines up to 10 m (samples 0.25 mm apart).
    """
    inside = room_inside(area, (placed,))
    if inside is not None:
        return inside
    names = [name for name, _ in area.barriers]
    reaches = []
    for name, barrier in area.barriers:
        panel = shapely.union_all([area.region, *(keep_out for _, keep_out in area.barriers[1:])])
        over = shapely.difference(placed, panel) if name == "edge" else shapely.intersection(placed, barrier)
        reaches.append(0.0 if over.is_empty else _overreach(area, over, placed))
    furthest = int(np.argmax(reaches))
    return Room(clearance=-reaches[furthest], bound_by=names[furthest])


def room_inside(area: FreeArea, placed: Sequence[MultiPolygon]) -> Room | None:
    """Return the room of the union of placed artworks as by `room`; None where it reaches out of the free area."""
    if not np.all(shapely.covers(area.region, placed)):
        return None
    # No barrier is nearer than it is to the artwork's box, which takes little to know.
    bounds = shapely.bounds(placed)
    box = shapely.box(*bounds[:, :2].min(axis=0), *bounds[:, 2:].max(axis=0))
    least = shapely.distance([barrier for _, barrier in area.barriers], box)
    nearest, clearance = 0, math.inf
    for index in np.argsort(least, kind="stable").tolist():
        if least[index] > clearance + ROUNDING_MM:
            break
        distance = float(np.min(shapely.distance(area.barriers[index][1], placed)))
        if (distance, index) < (clearance, nearest):
            nearest, clearance = index, distance
    return Room(clearance=clearance, bound_by=area.barriers[nearest][0])


def _overreach(area: FreeArea, over: BaseGeometry, placed: MultiPolygon) -> float:
    """Return the largest distance from a point of `over` to the free area."""
    step = max(_OVERREACH_STEP_MM, float(shapely.length(over)) / _MOST_OVERREACHING)
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(over, step)))
    furthest = float(shapely.distance(area.region, points).max(initial=0.0))
    # A keep-out completely under the artwork is overlapped deepest at its centre, not on an outline.
    for part in shapely.get_parts(over):
        if shapely.area(part) > 0.0:
            middle = shapely.get_point(shapely.maximum_inscribed_circle(part), 0)
            if shapely.intersects(placed, middle):
                furthest = max(furthest, float(shapely.distance(area.region, middle)))
    return furthest


def largest_scale(area: FreeArea, artwork: MultiPolygon, pose: Pose, clearance: float) -> float | None:
    """Return the largest scale at which a copy of artwork fits, with a fixed centre and rotation.

    Args:
        area: The free area.
        artwork: The artwork at scale one, anywhere [mm].
        pose: Centre and rotation of the copies.
        clearance: Needed on all sides [mm].

    Returns:
        A scale that passes `fits`, within 1e-5 of a scale that does not; None when no copy fits down to 2 % of the
        largest that the free area's box admits. The scales that fit need not be an interval (a ring can surround an
        eyelet): scales are tried downwards in steps of 4 %, so a narrower interval can be missed.
    """
    if area.region.is_empty:
        return None
    turned = place(artwork, Pose(0.0, 0.0, pose.rotation))
    left, low, right, high = turned.bounds
    free_left, free_low, free_right, free_high = area.region.bounds
    rooms = (
        (pose.x - free_left - clearance, -left), (free_right - clearance - pose.x, right),
        (pose.y - free_low - clearance, -low), (free_high - clearance - pose.y, high),
    )  # fmt: skip
    most = float(min(have / need for have, need in rooms))

    def margin_at(scale: float) -> float:
        return margin(area, scaled(turned, scale, pose), clearance)

    return largest_passing(margin_at, most)


def largest_passing(margin_at: Callable[[float], float], most: float) -> float | None:
    """Return the largest scale that passes a test, trying scales downwards from an upper bound.

    Between a scale that passes and one that does not, the next one tried is where the line through their margins
    crosses zero, and the middle where a margin is infinite, or where the line has not halved the interval.

    Args:
        margin_at: By how much a copy at a scale passes the test; above zero where it does.
        most: Upper bound of the scales that pass; zero or less when none does.

    Returns:
        As in `largest_scale`.

    References:
        R. P. Brent, *Algorithms for Minimization without Derivatives* (Prentice-Hall 1973), chapter 4: steps of the
        secant safeguarded by bisection, and no step below the tolerance; from memory.
    """
    if most <= 0.0:
        return None
    good = bad = most
    over = under = margin_at(most)
    while under <= 0.0:
        good, bad, over = good * _SCAN_RATIO, good, under
        if good < _SMALLEST_SHARE * most:
            return None
        under = margin_at(good)
    halved = True
    while bad - good > _SCALE_PRECISION * good:
        width, least = bad - good, _LEAST_STEP * _SCALE_PRECISION * good
        step = width * under / (under - over) if halved and math.isfinite(under - over) else width / 2.0
        middle = good + min(max(step, least), width - least)
        passed = margin_at(middle)
        if passed > 0.0:
            good, under = middle, passed
        else:
            bad, over = middle, passed
        halved = bad - good <= width / 2.0
    return good
