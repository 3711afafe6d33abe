from __future__ import annotations

import math

import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point

from featherline_service.shape.outlines import footprints
from featherline_service.shape.placement import containment
from featherline_service.shape.placement.containment import Pose

# A ring of 10 and 6 about the origin, and a square of 4 beside it.
RING = Point(0, 0).buffer(10.0, 64).difference(Point(0, 0).buffer(6.0, 64))
PARTS = MultiPolygon([RING, shapely.box(16, -2, 20, 2)])


def test_exact_is_the_film_itself() -> None:
    """The exact footprint is the film's region itself."""
    assert footprints.footprint_of(PARTS, "exact") is PARTS


def test_filled_adds_the_holes() -> None:
    """The filled footprint of a ring is a disc; other parts do not change, and parts stay separate."""
    filled = footprints.footprint_of(PARTS, "filled")

    assert 2 == len(filled.geoms)
    assert pytest.approx(Point(0, 0).buffer(10.0, 64).area + 16.0) == filled.area


def test_filled_absorbs_a_part_in_a_hole() -> None:
    """A part inside the hole of another part is absorbed by it."""
    nested = MultiPolygon([RING, Point(0, 0).buffer(2.0, 16)])

    assert 1 == len(footprints.footprint_of(nested, "filled").geoms)


def test_hull_is_the_convex_hull_of_all_parts() -> None:
    """The hull of a unit square and another three units away is 4 x 1: elementary geometry."""
    apart = MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(3, 0, 4, 1)])

    hull = footprints.footprint_of(apart, "hull")

    assert (1, pytest.approx(4.0)) == (len(hull.geoms), hull.area)


@settings(max_examples=drawn(30), deadline=None)
@given(turn=st.floats(0, math.tau), factor=st.floats(0.1, 20.0))
def test_footprints_contain_one_another(turn: float, factor: float) -> None:
    """Exact lies in filled and filled in hull, with the same box, and the hull of a hull is itself."""
    art = containment.place(PARTS, Pose(3.0, -1.0, turn), factor)
    exact, filled, hull = (footprints.footprint_of(art, policy) for policy in ("exact", "filled", "hull"))
    little = 1e-9 * factor

    assert shapely.difference(exact, filled).area <= little
    assert shapely.difference(filled, hull).area <= little
    assert exact.area < filled.area < hull.area
    assert pytest.approx(exact.bounds) == filled.bounds == hull.bounds
    assert pytest.approx(hull.area) == footprints.footprint_of(hull, "hull").area


@pytest.mark.parametrize(
    ("footprint", "in_ring", "between"), [("exact", True, True), ("filled", False, True), ("hull", False, False)]
)
def test_an_eyelet_may_lie_in_holes_and_gaps_by_footprint(
    footprint: footprints.Footprint, in_ring: bool, between: bool
) -> None:
    """With exact an eyelet may lie in a ring or between parts, with filled between parts, with hull in neither."""
    counted = footprints.footprint_of(PARTS, footprint)

    def fits(x: float) -> bool:
        eyelet = MultiPolygon([Point(x, 0).buffer(1.0, 16)])
        free = containment.free_area(MultiPolygon([shapely.box(-40, -40, 40, 40)]), (("eyelets", eyelet),))
        return containment.fits(free, counted, 1.0)

    assert (in_ring, between) == (fits(0.0), fits(13.0))
