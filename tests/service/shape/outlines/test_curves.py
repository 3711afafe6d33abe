from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from featherline_service.shape.outlines import curves
from featherline_service.shape.outlines.curves import DrawingError


def test_lines_and_quadratics_are_cubics_exactly() -> None:
    """A line and a quadratic, raised to cubics, keep their midpoints."""
    for segment, middle in (
        (curves.line(1 + 1j, 5 + 3j), 3 + 2j),
        (curves.quadratic(0j, 4 + 8j, 8 + 0j), 4 + 4j),
    ):
        a, b, c, d = segment
        assert pytest.approx(middle) == (a + 3 * b + 3 * c + d) / 8


@pytest.mark.parametrize("tolerance", [1.0, 0.1, 0.01, 0.001])
def test_flattened_circle_stays_within_the_tolerance(tolerance: float) -> None:
    """Vertices and chord midpoints of a flattened circle of radius 50 are within the tolerance of the circle."""
    half = curves.elliptical_arc(50 + 0j, -50 + 0j, (50, 50), 0.0, large=False, sweep=True)
    rest = curves.elliptical_arc(-50 + 0j, 50 + 0j, (50, 50), 0.0, large=False, sweep=True)

    points = curves.flatten(curves.contour([*half, *rest]), tolerance)
    middles = (points + np.roll(points, -1, axis=0)) / 2.0

    assert np.abs(np.hypot(*points.T) - 50.0).max() < 1e-5
    assert np.hypot(*middles.T).min() >= 50.0 - tolerance
    assert len(points) < 8 * math.pi / math.sqrt(tolerance / 50.0)


def test_flattened_cubic_is_within_the_tolerance_of_a_finer_one() -> None:
    """A curve with an inflection is within its tolerance of a flattening a hundred times finer."""
    wave = curves.contour([(0j, 30 + 60j, 70 - 60j, 100 + 0j), curves.line(100 + 0j, 0j)])
    rough, fine = (shapely.linestrings(curves.flatten(wave, tolerance)) for tolerance in (0.1, 0.001))

    assert shapely.hausdorff_distance(rough, fine, densify=0.01) <= 0.1


def test_repeated_points_are_dropped() -> None:
    """Segments of zero length add no points."""
    square = [0j, 0j, 4 + 0j, 4 + 4j, 4 + 4j, 4j]
    contour = curves.contour([curves.line(a, b) for a, b in zip(square, [*square[1:], 0j], strict=True)])

    assert [[0, 0], [4, 0], [4, 4], [0, 4]] == curves.flatten(contour, 0.1).tolist()


def test_too_fine_a_flattening_is_refused() -> None:
    """A tolerance that needs millions of points is refused."""
    arc = curves.contour([(0j, 0 + 1e6j, 1e6 + 1e6j, 1e6 + 0j)])

    with pytest.raises(DrawingError, match="more than 30000 points"):
        curves.flatten(arc, 1e-9)
