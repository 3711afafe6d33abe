from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from featherline_service.drawing.hatching import Hatch, hatched

REGION = shapely.box(3.0, 1.0, 43.0, 21.0).difference(shapely.Point(20.0, 10.0).buffer(5.0))


@pytest.mark.parametrize("angle", [0.0, 30.0, 45.0, 90.0, 135.0])
def test_lines_are_parallel_evenly_apart_and_inside(angle: float) -> None:
    """Every line has the hatch's angle and lies in the region; their total length is its area over their distance."""
    lines = hatched(REGION, Hatch((angle,), 1.5))
    steps = np.array([line[-1] - line[0] for line in lines])
    turns = np.degrees(np.arctan2(steps[:, 1], steps[:, 0])) % 180.0

    assert np.allclose(np.minimum(np.abs(turns - angle), 180.0 - np.abs(turns - angle)), 0.0, atol=1e-6)
    assert all(shapely.covers(REGION.buffer(1e-9), shapely.LineString(line)) for line in lines)
    assert pytest.approx(REGION.area / 1.5, rel=0.08) == sum(math.dist(line[0], line[-1]) for line in lines)


def test_two_angles_are_both_there() -> None:
    """A cross-hatch has twice the lines."""
    assert pytest.approx(2.0 * REGION.area / 1.5, rel=0.08) == sum(
        shapely.LineString(line).length for line in hatched(REGION, Hatch((45.0, 135.0), 1.5))
    )


def test_dots_are_whole_and_inside() -> None:
    """A dotted region has dots that do not cross its outline, one for each cell of the grid."""
    dots = [shapely.Polygon(dot) for dot in hatched(REGION, Hatch((), 1.2))]

    assert all(shapely.covers(REGION, dot) for dot in dots)
    assert pytest.approx(REGION.buffer(-0.28).area / 1.2**2, rel=0.05) == len(dots)


def test_nothing_is_hatched_where_there_is_nothing() -> None:
    """An empty region has no lines."""
    assert () == hatched(shapely.Polygon(), Hatch((45.0,), 1.0))
