"""Closed contours of cubic Bézier segments, and their flattening to polygons.

A contour is an array of shape (k, 4, 2): k segments of four control points. A segment starts where its predecessor
ends, and the last segment ends where the first starts. Lines and quadratics are exact cubics. While a contour is drawn,
points are complex numbers.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from featherline_service.messages.told import ToldError

Points = NDArray[np.float64]
Contour = NDArray[np.float64]
Segment = tuple[complex, complex, complex, complex]

# A cubic approximates an arc of a circle with a radial error of (4/27) sin^6(a/4) / cos^2(a/4) of the radius: 1.3e-7 at
# this angle, a ten-thousandth of a millimetre on a circle of a metre.
_LONGEST_ARC_RAD: Final = math.pi / 8
# Most points of a flattened drawing. A drawing with more could not be cut, and would take long to compute.
MOST_POINTS: Final = 30_000


class DrawingError(ToldError):
    """A drawing that cannot be read or cut; the message says what to change."""


def line(start: complex, end: complex) -> Segment:
    """Return a straight line as a cubic segment."""
    return start, start + (end - start) / 3.0, end + (start - end) / 3.0, end


def quadratic(start: complex, control: complex, end: complex) -> Segment:
    """Return a quadratic Bézier curve as a cubic segment."""
    return start, start + (control - start) * (2.0 / 3.0), end + (control - end) * (2.0 / 3.0), end


def elliptical_arc(
    start: complex, end: complex, radii: tuple[float, float], tilt: float, *, large: bool, sweep: bool
) -> list[Segment]:
    """Return an SVG elliptical arc as cubic segments.

    Args:
        start: First point [any length].
        end: Last point, in the same unit.
        radii: Both radii, in the same unit; signs are dropped, and radii too small for the end points are enlarged.
        tilt: Angle from the x axis of the coordinates to the ellipse's first axis [rad].
        large: Take the arc of more than half the ellipse.
        sweep: Take the arc along which the angle grows.

    References:
        SVG 1.1 (Second Edition), W3C 2011, appendix F.6.5 and F.6.6.
    """
    first, second = abs(radii[0]), abs(radii[1])
    if start == end:
        return []
    if first == 0.0 or second == 0.0:
        return [line(start, end)]
    turn = cmath.exp(1j * tilt)
    # In coordinates where the ellipse is a unit circle, start and end are `half` and ``-half``, relative to `centre`.
    chord = (start - end) / 2.0 / turn
    half = complex(chord.real / first, chord.imag / second)
    reach = abs(half)
    if reach > 1.0:
        first, second, half, reach = first * reach, second * reach, half / reach, 1.0
    sign = -1.0 if large == sweep else 1.0
    centre = sign * math.sqrt(max(0.0, 1.0 - reach * reach)) / reach * complex(half.imag, -half.real)
    begin = cmath.phase(half - centre)
    angle = cmath.phase(-half - centre) - begin
    if sweep and angle <= 0.0:
        angle += 2.0 * math.pi
    if not sweep and angle >= 0.0:
        angle -= 2.0 * math.pi
    pieces = max(1, math.ceil(abs(angle) / _LONGEST_ARC_RAD))
    arm = (4.0 / 3.0) * math.tan(angle / pieces / 4.0) * 1j

    def to_ellipse(point: complex) -> complex:
        moved = point + centre
        return complex(moved.real * first, moved.imag * second) * turn + (start + end) / 2.0

    ends = [cmath.exp(1j * (begin + angle * k / pieces)) for k in range(pieces + 1)]
    arc = [(to_ellipse(a), to_ellipse(a + arm * a), to_ellipse(b - arm * b), to_ellipse(b)) for a, b in pairwise(ends)]
    arc[0] = (start, *arc[0][1:])
    arc[-1] = (*arc[-1][:3], end)
    return arc


def contour(segments: Sequence[Segment]) -> Contour:
    """Return consecutive segments as an array of shape (k, 4, 2)."""
    return np.array(segments, dtype=np.complex128).view(np.float64).reshape(-1, 4, 2)


def box_size(contours: Sequence[Contour]) -> tuple[float, float]:
    """Return width and height of the box around all control points of contours, in their unit."""
    width, height = np.ptp(np.concatenate([contour.reshape(-1, 2) for contour in contours]), axis=0).tolist()
    return width, height


def refuse_points(count: float) -> None:
    """Raise `DrawingError` when a flattened drawing has more than `MOST_POINTS` points, or not a number of them."""
    if not count <= MOST_POINTS:
        raise DrawingError(
            "drawing.too-many-points",
            "The drawing has more than {most_points} points once its curves are drawn out: simplify it",
            most_points=MOST_POINTS,
        )


def flatten(contour: Contour, tolerance: float) -> Points:
    """Return the vertices of a polygon within `tolerance` of a contour, shape (n, 2), not closed.

    Args:
        contour: Closed contour, shape (k, 4, 2) [any length].
        tolerance: Largest distance between a curve and its chord, in the same unit, greater than zero.

    Raises:
        DrawingError: The polygon would have more than `MOST_POINTS` points.

    References:
        A chord over the parameter range h deviates at most ``h^2 / 8 * max |B''|`` (linear interpolation error; de
        Boor, *A Practical Guide to Splines*, chapter III, from memory); for a cubic, ``|B''| <= 6 max(|p0 - 2 p1 + p2|,
        |p1 - 2 p2 + p3|)``.
    """
    bends = contour[:, :2] - 2.0 * contour[:, 1:3] + contour[:, 2:]
    bend = np.hypot(bends[..., 0], bends[..., 1]).max(axis=1)
    # Straight lines have no bend, apart from rounding, and take one chord.
    needed = np.maximum(np.ceil(np.sqrt(0.75 * bend / tolerance)), 1.0)
    refuse_points(float(needed.sum()))
    chords = needed.astype(np.intp)
    owner = np.repeat(np.arange(len(contour)), chords)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(chords) - chords, chords)
    t = (step / chords[owner])[:, None]
    p0, p1, p2, p3 = (contour[owner, corner] for corner in range(4))
    u = 1.0 - t
    points = u * u * u * p0 + 3.0 * u * u * t * p1 + 3.0 * u * t * t * p2 + t * t * t * p3
    moved = np.any(points != np.roll(points, 1, axis=0), axis=1)
    distinct: Points = points[moved]
    return distinct
