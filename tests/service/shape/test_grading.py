from __future__ import annotations

import math

import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point

from featherline_service.shape import grading, shoe_sizes
from featherline_service.shape.outlines.svg import paths

# Three eyelets of radius 2 in a row, as a path, and a seam.
EYELETS = "".join(f"M{x - 2} -40a2 2 0 1 0 4 0a2 2 0 1 0-4 0Z" for x in (20, 35, 50))
SEAM = MultiPolygon([shapely.box(0, 0, 60, 2)])


def eyelets() -> MultiPolygon:
    """Return the eyelets as the book's panels have them, flattened to 0.005 mm; y upwards."""
    return paths.region(EYELETS, "nonzero", 0.005)


@settings(max_examples=drawn(30), deadline=None)
@given(along=st.floats(0.6, 1.4), around=st.floats(0.6, 1.4))
def test_eyelets_keep_their_size_and_move_with_the_panel(along: float, around: float) -> None:
    """Every eyelet has its radius, and its centre where a point of the panel goes."""
    found = grading.graded_hardware(eyelets(), along, around)

    assert 3 == len(found.geoms)
    for part, x in zip(sorted(found.geoms, key=lambda part: part.bounds[0]), (20.0, 35.0, 50.0), strict=True):
        assert pytest.approx(
            (x * along - 2.0, 40.0 * around - 2.0, x * along + 2.0, 40.0 * around + 2.0), abs=0.01
        ) == (part.bounds)
        assert pytest.approx(4.0 * math.pi, rel=5e-3) == part.area


def test_other_parts_grow() -> None:
    """A seam, and an eyelet that is not round, grow with the panel."""
    oval = MultiPolygon([shapely.affinity.scale(Point(10, 10).buffer(3.0, 32), 1.3, 1.0)])

    for region in (SEAM, oval):
        assert shapely.equals_exact(
            shapely.normalize(grading.graded(region, 1.1, 0.9)),
            shapely.normalize(grading.graded_hardware(region, 1.1, 0.9)),
            1e-9,
        )
    assert pytest.approx((0.0, 0.0, 66.0, 1.8)) == grading.graded(SEAM, 1.1, 0.9).bounds


def test_the_reference_size_is_unchanged() -> None:
    """Growth of one leaves eyelets and seams as they are."""
    both = MultiPolygon([*eyelets().geoms, *SEAM.geoms])

    assert (
        pytest.approx(0.0, abs=1e-9) == shapely.symmetric_difference(both, grading.graded_hardware(both, 1.0, 1.0)).area
    )


def test_washers_are_round_and_polygons_are_not() -> None:
    """A ring is hardware, moved with its hole; a square and a twelve-sided polygon are not round."""
    ring = Point(30, 20).buffer(4.0, 32).difference(Point(30, 20).buffer(2.0, 32))

    (moved,) = grading.graded_hardware(MultiPolygon([ring]), 1.2, 1.0).geoms

    assert pytest.approx(ring.area) == moved.area
    assert pytest.approx((36.0, 20.0)) == moved.centroid.coords[0]
    assert (False, False) == (grading.is_round(shapely.box(0, 0, 4, 4)), grading.is_round(Point(0, 0).buffer(2.0, 3)))


def test_eyelets_that_come_to_overlap_are_one_part() -> None:
    """In a size so small that eyelets overlap, the keep-out is one valid part."""
    found = grading.graded_hardware(eyelets(), 0.2, 1.0)

    assert found.is_valid
    assert 1 == len(found.geoms)


def test_an_eyelet_of_a_smaller_size_is_not_shrunk() -> None:
    """In EU 36, graded from EU 42, an eyelet of 4 mm stays 4 mm wide; scaled with the panel it would be 3.4 mm."""
    feet = [shoe_sizes.foot_length("EU", size) for size in (36.0, 42.0)]
    along, around = shoe_sizes.growth(feet[0], feet[1], 245.0)

    kept, scaled = (grade(eyelets(), along, around).geoms[0] for grade in (grading.graded_hardware, grading.graded))

    assert pytest.approx(4.0, abs=0.01) == kept.bounds[2] - kept.bounds[0]
    assert pytest.approx(3.4, abs=0.05) == scaled.bounds[2] - scaled.bounds[0]
