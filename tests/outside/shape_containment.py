"""Containment of polygons, computed independently of the service and its geometry library.

Signs are exact: the orientation of three points is computed in floats where the error bound proves the sign, and in
fractions elsewhere (J. R. Shewchuk, Discrete Comput. Geom. 18, 1997, 305-363, the bound ccwerrboundA, from memory).
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_EPSILON: Final = 2.0**-53
_BOUND: Final = (3.0 + 16.0 * _EPSILON) * _EPSILON
SAMPLE_MM: Final = 0.9


def sides(region: shapely.Geometry) -> Floats:
    """Return the sides of all rings of a region, shape (n, 2, 2)."""
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.get_parts(region))]
    return np.concatenate([np.stack([points[:-1], points[1:]], axis=1) for points in rings])


def orientations(points: Floats, segments: Floats) -> NDArray[np.int8]:
    """Return the exact sides of points relative to segments, shape (points, segments): 1 left, -1 right, 0 on it."""
    a, b = segments[:, 0], segments[:, 1]
    first = (a[:, 0] - points[:, None, 0]) * (b[:, 1] - points[:, None, 1])
    second = (a[:, 1] - points[:, None, 1]) * (b[:, 0] - points[:, None, 0])
    difference = first - second
    signs = np.sign(difference).astype(np.int8)
    unsure = np.abs(difference) <= _BOUND * (np.abs(first) + np.abs(second))
    for point, segment in np.argwhere(unsure):
        (px, py), (ax, ay), (bx, by) = (
            map(Fraction, pair.tolist()) for pair in (points[point], a[segment], b[segment])
        )
        exact = (ax - px) * (by - py) - (ay - py) * (bx - px)
        signs[point, segment] = (exact > 0) - (exact < 0)
    return signs


def inside(points: Floats, segments: Floats, signs: NDArray[np.int8]) -> NDArray[np.bool_]:
    """Return whether points lie inside a region, by the crossing numbers from their orientations to its sides."""
    above = segments[:, :, 1] > points[:, None, None, 1]
    spans = above[:, :, 0] != above[:, :, 1]
    # A rising side is crossed by the ray of a point on its left.
    crossed = spans & np.where(above[:, :, 1], signs > 0, signs < 0)
    odd: NDArray[np.bool_] = np.count_nonzero(crossed, axis=1) % 2 == 1
    return odd


def distance(points: Floats, segments: Floats) -> float:
    """Return the smallest distance of points from segments."""
    start, side = segments[:, 0], segments[:, 1] - segments[:, 0]
    x, y = points[:, None, 0] - start[:, 0], points[:, None, 1] - start[:, 1]
    square = np.maximum(np.sum(side * side, axis=1), np.finfo(np.float64).tiny)
    share = np.clip((x * side[:, 0] + y * side[:, 1]) / square, 0.0, 1.0)
    return float(np.sqrt(np.min((x - share * side[:, 0]) ** 2 + (y - share * side[:, 1]) ** 2)))


def contradicts(area: Floats, placed: shapely.Geometry, clearance: float, rounding: float) -> str | None:
    """Return why artwork does not lie in a free area at least `clearance` [mm] from its boundary; None where it does.

    Args:
        area: Sides of the free area.
        placed: The artwork.
        clearance: Needed on all sides.
        rounding: Rounding error allowed of the clearance.
    """
    art = sides(placed)
    corners = art[:, 0]
    (left, low), (right, high) = corners.min(axis=0) - clearance, corners.max(axis=0) + clearance
    level = area[
        (area[:, :, 1].max(axis=1) >= low) & (area[:, :, 1].min(axis=1) <= high)
    ]  # all sides that a level ray can meet
    near = level[(level[:, :, 0].max(axis=1) >= left) & (level[:, :, 0].min(axis=1) <= right)]
    samples = _samples(art)
    outside = ~inside(samples, level, orientations(samples, level))
    if np.any(outside) and max(distance(point[None, :], area) for point in samples[outside]) > rounding:
        return "a sample of the artwork lies outside"
    if len(near) == 0:
        return None
    if clearance > rounding:
        of_art, of_edge = orientations(corners, near), orientations(near[:, 0], art)
        if np.any(inside(near[:, 0], art, of_edge)):
            return "a vertex of the boundary lies in the artwork"
        # Sides cross where the ends of each lie on different sides of the other.
        other_of_art, other_of_edge = orientations(art[:, 1], near), orientations(near[:, 1], art)
        if np.any((of_art * other_of_art < 0) & (of_edge * other_of_edge < 0).T):
            return "a side of the artwork crosses the boundary"
    # Sides that do not cross are nearest at an end of one.
    nearest = min(distance(corners, near), distance(near[:, 0], art))
    return None if nearest >= clearance - rounding else f"the artwork is {clearance - nearest:.2e} mm too near"


def _samples(art: Floats) -> Floats:
    """Return the vertices of artwork, and points on its sides at most `SAMPLE_MM` apart."""
    counts = np.maximum(np.ceil(np.hypot(*(art[:, 1] - art[:, 0]).T) / SAMPLE_MM).astype(int), 1)
    which = np.repeat(np.arange(len(art)), counts)
    number = np.arange(len(which)) - (np.cumsum(counts) - counts)[which]
    share = ((number + 0.5) / counts[which])[:, None]
    between = art[which, 0] + share * (art[which, 1] - art[which, 0])
    return np.concatenate([art[:, 0], between])
