"""Tips and notches: parts of an outline that narrow below a film's finest stroke or gap, and their lengths.

A morphological opening of the film by a disc as wide as the finest stroke removes its tips; a closing by a disc as wide
as the finest gap fills its notches. The length of a tip or notch is the length of the removed or filled part along its
axis.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

# Longest tip that a film holds, in finest strokes, and longest notch that is weeded clean, in finest gaps. Guesses: no
# source. At every height from which the demo films take them today, the letters and digits of the demo fonts have tips
# of up to 0.7 finest strokes, and notches of up to 4.1 finest gaps (the M of the plain font;
# tests/outside/letter_tips.py prints them). 2 finest strokes is a wedge of 23 degrees: a five-pointed star (36 degrees,
# 1.1) is cut, a needle is not. 5 finest gaps is a wedge of 10 degrees. A notch may be longer, since its waste comes out
# with the waste around it, while a tip must hold on to the carrier by itself.
LONGEST_TIP: Final = 2.0
LONGEST_NOTCH: Final = 5.0

# Tips shorter than this share of the disc's diameter are ordinary corners: a right angle loses (sqrt 2 - 1) / 2 = 0.21.
SHORTEST: Final = 0.25
# The disc is smaller than asked for by the accuracy of widths, or a stroke exactly as wide as the disc would be
# removed.
_WITHIN: Final = 0.99
# Outlines are simplified by this share of the diameter; the vertex at the end of a tip is kept.
_SIMPLIFIED: Final = 0.01
# Convex vertices that turn by less than this are parts of curves wider than the disc. An arc of the disc's radius that
# is flattened to the tolerance above turns by 23 degrees at a vertex, 2 acos(1 - 0.02); uneven chords may halve that.
_LEAST_TURN: Final = math.radians(8.0)
_COSINE, _SINE = math.cos(_LEAST_TURN), math.sin(_LEAST_TURN)
# Chords to a quarter circle, and the growth of an opened region that covers what they cut off: 0.5 % of the radius.
_QUARTER: Final = 8
_GROWN: Final = 1.01
_TOUCHING: Final = 1e-6


@dataclass(frozen=True)
class Tip:
    """A tip of the film or a notch in it: the point at its end and its length along its axis, in the region's unit."""

    x: float
    y: float
    length: float

    def scaled(self, scale: float) -> Tip:
        """Return the tip of a copy enlarged by a factor."""
        return Tip(self.x * scale, self.y * scale, self.length * scale)


def tips(region: MultiPolygon, diameter: float) -> tuple[Tip, ...]:
    """Return the tips that an opening by a disc removes from a region, the longest first.

    Args:
        region: A valid multipolygon, in any length unit.
        diameter: Diameter of the disc, the film's finest stroke, in the same unit, greater than zero.

    Returns:
        Tips longer than `SHORTEST` diameters. Their length is the distance from the end of the tip to the opened
        region, within the tip: for a wedge of opening angle a, ``r / sin(a / 2) - r`` with the radius r. The length of
        a curled tip is half the perimeter of the part removed, and that of a piece that is removed completely is the
        longer side of its smallest rectangle. Ends within a diameter of the end of a longer tip count as one tip.

    References:
        J. Serra, *Image Analysis and Mathematical Morphology*, Academic Press 1982, chapter II, openings and closings
        (from memory).
    """
    return _longest(_tips(region.geoms, diameter), diameter)


def notches(region: MultiPolygon, diameter: float) -> tuple[Tip, ...]:
    """Return the notches that a closing by a disc fills in a region, the longest first.

    Args:
        region: A valid multipolygon, in any length unit.
        diameter: Diameter of the disc, the film's finest gap, in the same unit, greater than zero.

    Returns:
        The tips of the region's surroundings, as in `tips`: a closing is an opening of the complement. A counter that
        is filled completely is a notch as long as the longer side of its smallest rectangle.

    References:
        As in `tips`.
    """
    return _longest(_tips(_surroundings(region, 4.0 * diameter), diameter), diameter)


def _surroundings(region: MultiPolygon, margin: float) -> Sequence[Polygon]:
    """Return the complement of a region in its box grown by a margin."""
    left, low, right, high = region.bounds
    frame = shapely.box(left - margin, low - margin, right + margin, high + margin)
    if len(region.geoms) == 1:
        (part,) = region.geoms
        return [Polygon(frame.exterior, [part.exterior]), *map(Polygon, part.interiors)]
    return list(shapely.get_parts(shapely.difference(frame, region)))


def _tips(polygons: Sequence[Polygon], diameter: float) -> Iterator[Tip]:
    """Yield the tips of polygons."""
    radius = _WITHIN * diameter / 2.0
    for polygon in shapely.simplify(polygons, _SIMPLIFIED * diameter):
        eroded = shapely.buffer(polygon, -radius, quad_segs=_QUARTER)
        if eroded.is_empty:
            end = shapely.point_on_surface(polygon)
            yield Tip(float(end.x), float(end.y), _longer_side(polygon))
            continue
        ends = shapely.points(_sharp_vertices(polygon))
        ends = ends[~shapely.dwithin(eroded, ends, radius + SHORTEST * diameter)]
        if len(ends) == 0:
            continue
        axes = shapely.shortest_line(ends, eroded)
        lengths = shapely.length(axes) - radius
        # An axis that leaves the polygon leads to a part of the eroded region behind a gap.
        behind = ~shapely.covers(polygon, axes)
        if np.any(behind):
            lengths[behind] = _lengths_within(polygon, eroded, ends[behind], radius)
        for (x, y), length in zip(shapely.get_coordinates(ends).tolist(), lengths.tolist(), strict=True):
            yield Tip(x, y, length)


def _sharp_vertices(polygon: Polygon) -> Floats:
    """Return the convex vertices of a polygon that turn too much for a wide curve, shape (n, 2)."""
    rings = shapely.get_rings(shapely.orient_polygons(polygon))
    return np.concatenate([_sharp(shapely.get_coordinates(ring)) for ring in rings])


def _sharp(ring: Floats) -> Floats:
    """Return the sharp vertices of a ring with the polygon on its left; its first vertex is also the last."""
    side = ring[1:] - ring[:-1]
    last = np.concatenate([side[-1:], side[:-1]])
    across = last[:, 0] * side[:, 1] - last[:, 1] * side[:, 0]
    along = last[:, 0] * side[:, 0] + last[:, 1] * side[:, 1]
    # A turn to the left by more than the least; its angle is not needed.
    sharp: Floats = ring[:-1][(across >= 0.0) & (across * _COSINE > along * _SINE)]
    return sharp


def _lengths_within(polygon: Polygon, eroded: BaseGeometry, ends: NDArray[np.object_], radius: float) -> Floats:
    """Return the lengths of tips within the parts that an opening removes, straight or curled."""
    opened = shapely.buffer(eroded, _GROWN * radius, quad_segs=_QUARTER)
    removed = shapely.get_parts(shapely.difference(polygon, opened))
    part_of = np.argmin(shapely.distance(removed[:, np.newaxis], ends), axis=0)
    mouths = {part: _mouth(removed[part], opened, radius) for part in set(part_of.tolist())}
    axes = shapely.shortest_line(ends, [mouths[part] for part in part_of.tolist()])
    curled = shapely.length(removed[part_of]) / 2.0
    lengths: Floats = np.where(shapely.covers(polygon, axes), shapely.length(axes), curled)
    return lengths


def _mouth(part: Polygon, opened: BaseGeometry, radius: float) -> BaseGeometry:
    """Return the vertices at which a removed part meets the opened region."""
    corners = shapely.points(shapely.get_coordinates(part))
    return shapely.multipoints(corners[shapely.dwithin(opened, corners, _TOUCHING * radius)])


def _longer_side(polygon: Polygon) -> float:
    """Return the longer side of a polygon's smallest rectangle."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    return float(np.hypot(*np.diff(corners, axis=0).T).max())


def _longest(ends: Iterator[Tip], diameter: float) -> tuple[Tip, ...]:
    """Return tips by falling length, without those whose ends are within a diameter of the end of a longer tip."""
    longest: list[Tip] = []
    for tip in sorted(ends, key=lambda tip: -tip.length):
        if all(math.hypot(tip.x - other.x, tip.y - other.y) > diameter for other in longest):
            longest.append(tip)
    return tuple(longest)
