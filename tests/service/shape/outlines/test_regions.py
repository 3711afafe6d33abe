from __future__ import annotations

import numpy as np
import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.regions import FillRule, fill

SQUARE = np.array([[0.0, 0.0], [8.0, 0.0], [8.0, 8.0], [0.0, 8.0]])


def winding(contours: list[np.ndarray], x: float, y: float) -> int:
    """Return the winding number of contours about a point, by the angles of their sides at the point."""
    total = 0.0
    for points in contours:
        away = points - (x, y)
        after = np.roll(away, -1, axis=0)
        cross = away[:, 0] * after[:, 1] - away[:, 1] * after[:, 0]
        total += float(np.sum(np.arctan2(cross, np.sum(away * after, axis=1))))
    return round(total / (2.0 * np.pi))


@settings(max_examples=drawn(60), deadline=None)
@given(
    contours=st.lists(
        st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=9), min_size=1, max_size=4
    ),
    rule=st.sampled_from(["nonzero", "evenodd"]),
)
def test_region_agrees_with_the_winding_number(contours: list[list[tuple[int, int]]], rule: FillRule) -> None:
    """Contours that cross, touch or coincide fill exactly the points that their winding number fills."""
    arrays = [np.array(points, dtype=float) for points in contours]

    region = fill(arrays, rule)

    assert region.is_valid
    # Points that lie on no side of any contour between whole numbers up to 12.
    for x, y in [(i + 0.377, j + 0.619) for i in range(0, 12, 2) for j in range(0, 12, 2)]:
        times = winding(arrays, x, y)
        filled = times != 0 if rule == "nonzero" else times % 2 != 0
        assert filled == region.covers(shapely.Point(x, y)), (x, y)


@pytest.mark.parametrize("rule", ["nonzero", "evenodd"])
def test_direction_does_not_matter_alone(rule: FillRule) -> None:
    """A contour fills the same region in either direction."""
    assert 64.0 == fill([SQUARE], rule).area == fill([SQUARE[::-1]], rule).area


def test_nothing_and_flat_contours_fill_nothing() -> None:
    """No contours, two points, and a doubled line enclose no area."""
    there_and_back = np.array([[0.0, 0.0], [5.0, 0.0], [2.0, 0.0]])

    assert [True] * 3 == [fill(contours, "nonzero").is_empty for contours in ([], [SQUARE[:2]], [there_and_back])]


def test_contour_drawn_twice_is_filled_once_or_not_at_all() -> None:
    """A contour drawn twice is filled by nonzero and empty by evenodd."""
    assert 64.0 == fill([SQUARE, SQUARE], "nonzero").area
    assert fill([SQUARE, SQUARE], "evenodd").is_empty
    assert fill([SQUARE, SQUARE[::-1]], "nonzero").is_empty


def test_contours_that_cross_too_often_are_refused() -> None:
    """Two combs laid across each other cross too often and are refused."""
    comb = np.array([[x, y] for x in range(0, 120, 2) for y in ((0, 100) if x % 4 else (100, 0))], dtype=float)

    with pytest.raises(DrawingError, match="cross or crowd"):
        fill([comb, comb[:, ::-1] + 0.5], "nonzero")


@pytest.mark.parametrize("least", [5e-324, 1e-200, 1e-160, -1e-100])
def test_a_coordinate_that_is_next_to_nothing_is_nothing(least: float) -> None:
    """A coordinate whose square would underflow is taken as zero."""
    region = fill([np.where(SQUARE == 0.0, least, SQUARE)], "nonzero")
    assert fill([SQUARE], "nonzero") == region
    assert shapely.dwithin(region, shapely.Point(20.0, 4.0), 12.0 + 1e-9)
