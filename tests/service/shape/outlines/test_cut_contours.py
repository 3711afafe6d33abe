from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon

from featherline_service.shape.outlines.cut_contours import contour

SQUARE = MultiPolygon([shapely.box(0, 0, 20, 20)])


@given(st.floats(0.5, 8), st.floats(5, 40), st.integers(3, 40))
def test_an_outline_keeps_the_border_and_little_more(border: float, radius: float, corners: int) -> None:
    """The contour lies at least the border, and at most the border and 0.2 mm, from the artwork."""
    shape = Polygon(
        (radius * math.cos(2 * math.pi * at / corners), radius * math.sin(2 * math.pi * at / corners))
        for at in range(corners)
    )
    outline = Polygon(contour(MultiPolygon([shape]), border))

    assert shapely.covers(outline, shapely.buffer(shape, border - 1e-6))
    assert shapely.covers(shapely.buffer(shape, border + 0.2, quad_segs=64), outline)


def test_a_hole_is_cut_out_with_its_piece() -> None:
    """The contour of a ring is that of a disc."""
    ring = MultiPolygon([shapely.difference(shapely.Point(0, 0).buffer(20), shapely.Point(0, 0).buffer(10))])

    assert Polygon(contour(ring, 3)).area == pytest.approx(math.pi * 23**2, rel=0.02)


def test_pieces_that_belong_together_stay_together() -> None:
    """The contour of letters further apart than their borders is the convex hull."""
    letters = MultiPolygon([shapely.box(0, 0, 10, 20), shapely.box(40, 0, 50, 20)])
    outline = Polygon(contour(letters, 3))

    assert shapely.covers(outline, letters)
    assert outline.area == pytest.approx(56 * 26, rel=0.02)


def test_a_square_has_few_corners() -> None:
    """The contour of a square has straight sides and four rounded corners."""
    assert len(contour(SQUARE, 3)) <= 4 * 9
