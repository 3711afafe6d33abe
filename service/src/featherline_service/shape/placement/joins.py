"""Joins of panels: the rigid motion that lays one panel's drawing beside another's, along the edge they share."""

from __future__ import annotations

import math

import numpy as np
import shapely
from msgspec import Struct
from shapely import MultiPolygon

Point = tuple[float, float]


class Motion(Struct, frozen=True):
    """A rotation about the origin [rad, counter-clockwise], after a mirroring of x if `mirrored`, then a shift [mm]."""

    rotation: float
    shift: Point
    mirrored: bool = False

    def moved(self, region: MultiPolygon) -> MultiPolygon:
        """Return a region where the motion takes it."""
        sign = -1.0 if self.mirrored else 1.0
        cosine, sine = math.cos(self.rotation), math.sin(self.rotation)
        turn = np.array([[sign * cosine, sign * sine], [-sine, cosine]])
        return shapely.transform(region, lambda points: points @ turn + np.array(self.shift))


def joining(edge: tuple[Point, Point], other: tuple[Point, Point], *, mirrored: bool) -> Motion:
    """Return the motion that lays the `other` edge on `edge`: middle on middle, first ends on the same side.

    Edges are straight lines between their ends [mm], which meet in their order. Where the true edges bulge by `b`, the
    panels overlap there, and distances across the join are up to `b` too small.

    Args:
        edge: Ends of a panel's edge in its drawing; they must differ.
        other: Ends of the other panel's edge in that panel's drawing; they must differ.
        mirrored: Whether the other panel is drawn as a mirror image of how it lies beside the first.
    """
    sign = -1.0 if mirrored else 1.0
    (x0, y0), (x1, y1) = edge
    (u0, v0), (u1, v1) = other
    rotation = math.atan2(y1 - y0, x1 - x0) - math.atan2(v1 - v0, sign * (u1 - u0))
    cosine, sine = math.cos(rotation), math.sin(rotation)
    u, v = sign * (u0 + u1) / 2.0, (v0 + v1) / 2.0
    shift = ((x0 + x1) / 2.0 - cosine * u + sine * v, (y0 + y1) / 2.0 - sine * u - cosine * v)
    return Motion(rotation, shift, mirrored)
