from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point

from featherline_service.shape.outlines import footprints
from featherline_service.shape.placement import containment
from featherline_service.shape.placement.containment import Pose

# A ring of 10 and 6 about the origin, and a square of 4 beside it.
RING = Point(0, 0).buffer(10.0, 64).difference(Point(0, 0).buffer(6.0, 64))
PARTS = MultiPolygon([RING, shapely.box(16, -2, 20, 2)])


def test_exact_is_the_film_as_it_is() -> None:
    """Nothing is added to the film's own outlines."""
    assert footprints.counted(PARTS, "exact") is PARTS


def test_filled_adds_what_is_in_the_holes() -> None:
    """A ring counts as its disc, other parts as they are, and parts stay apart."""
    filled = footprints.counted(PARTS, "filled")

    assert 2 == len(filled.geoms)
    assert pytest.approx(Point(0, 0).buffer(10.0, 64).area + 16.0) == filled.area


def test_filled_takes_in_what_lies_in_a_hole() -> None:
    """A part in the hole of another is no part of its own any more."""
    nested = MultiPolygon([RING, Point(0, 0).buffer(2.0, 16)])

    assert 1 == len(footprints.counted(nested, "filled").geoms)


def test_hull_is_what_a_taut_string_holds() -> None:
    """The hull of a unit square and one three units off is 4 x 1: elementary geometry."""
    apart = MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(3, 0, 4, 1)])

    hull = footprints.counted(apart, "hull")

    assert (1, pytest.approx(4.0)) == (len(hull.geoms), hull.area)


@settings(max_examples=30, deadline=None)
@given(turn=st.floats(0, math.tau), factor=st.floats(0.1, 20.0))
def test_each_footprint_holds_the_one_before_in_one_box(turn: float, factor: float) -> None:
    """Exact lies in filled and filled in hull, their boxes are the same, and the hull of a hull is itself."""
    art = containment.place(PARTS, Pose(3.0, -1.0, turn), factor)
    exact, filled, hull = (footprints.counted(art, policy) for policy in ("exact", "filled", "hull"))
    little = 1e-9 * factor

    assert shapely.difference(exact, filled).area <= little
    assert shapely.difference(filled, hull).area <= little
    assert exact.area < filled.area < hull.area
    assert pytest.approx(exact.bounds) == filled.bounds == hull.bounds
    assert pytest.approx(hull.area) == footprints.counted(hull, "hull").area


@pytest.mark.parametrize(
    ("footprint", "in_ring", "between"), [("exact", True, True), ("filled", False, True), ("hull", False, False)]
)
def test_an_eyelet_is_tolerated_in_holes_and_gaps_by_policy(
    footprint: footprints.Footprint, in_ring: bool, between: bool
) -> None:
    """With a clearance of 1 mm an eyelet may lie in a ring or between parts, in neither when only the hull counts."""
    counted = footprints.counted(PARTS, footprint)

    def fits(x: float) -> bool:
        eyelet = MultiPolygon([Point(x, 0).buffer(1.0, 16)])
        free = containment.free_area(MultiPolygon([shapely.box(-40, -40, 40, 40)]), (("eyelets", eyelet),))
        return containment.fits(free, counted, 1.0)

    assert (in_ring, between) == (fits(0.0), fits(13.0))
