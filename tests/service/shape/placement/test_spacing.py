from __future__ import annotations

import math

import pytest
import shapely
from shapely import MultiPolygon

from featherline_service.shape.placement import spacing
from featherline_service.shape.placement.containment import ROUNDING_MM


def box(left: float, low: float, right: float, high: float) -> MultiPolygon:
    """Return a rectangle [mm]."""
    return MultiPolygon([shapely.box(left, low, right, high)])


SQUARE = box(0.0, 0.0, 10.0, 10.0)


@pytest.mark.parametrize(
    ("other", "gap"),
    [
        (box(13.0, 0.0, 20.0, 10.0), 3.0),
        (box(13.0, 14.0, 20.0, 20.0), 5.0),  # corner to corner: 3, 4, 5
        (box(10.0, 0.0, 20.0, 10.0), 0.0),  # along an edge
        (box(10.0, 10.0, 20.0, 20.0), 0.0),  # in a corner
        (box(8.0, 0.0, 20.0, 10.0), -2.0),
        (box(8.0, 9.0, 20.0, 20.0), -1.0),  # a common piece of 2 by 1 mm holds a circle of 1 mm
        (box(4.0, 4.0, 6.0, 6.0), -2.0),
        (box(9.5, 9.5, 20.0, 20.0), -0.5),
    ],
)
def test_a_gap_is_the_distance_or_the_width_of_the_overlap(other: MultiPolygon, gap: float) -> None:
    """Of an overlap the diameter of the largest circle in it, with a minus; either way round."""
    assert pytest.approx(gap, abs=0.02) == spacing.gap(SQUARE, other)
    assert pytest.approx(gap, abs=0.02) == spacing.gap(other, SQUARE)


def test_the_widest_of_several_overlaps_counts() -> None:
    """Not that of the first, nor of them all together."""
    comb = MultiPolygon([shapely.box(-1.0, 0.0, 1.0, 10.0), shapely.box(6.0, 0.0, 16.0, 10.0)])

    assert pytest.approx(-4.0, abs=0.05) == spacing.gap(SQUARE, comb)
    assert pytest.approx(-1.0, abs=0.05) == spacing.gap(SQUARE, box(-1.0, 0.0, 1.0, 10.0))


@pytest.mark.parametrize(
    ("gap_mm", "near"),
    [
        (3.0, False),
        (3.0 - 0.9 * ROUNDING_MM, False),
        (3.0 - 1.1 * ROUNDING_MM, True),
        (3.1, False),
        (0.0, True),
        (-1.0, True),
    ],
)
def test_marks_are_too_near_with_less_than_their_clearance(gap_mm: float, near: bool) -> None:
    """Rounding apart."""
    assert near == spacing.too_near(gap_mm, 3.0)


def test_without_a_clearance_marks_may_touch() -> None:
    """And overlap by no more than rounding."""
    assert not spacing.too_near(0.0, 0.0)
    assert not spacing.too_near(-0.9 * ROUNDING_MM, 0.0)
    assert spacing.too_near(-1.1 * ROUNDING_MM, 0.0)


@pytest.mark.parametrize(
    ("upper", "beyond"),
    [
        (box(1.0, 1.0, 9.0, 9.0), 0.0),
        (SQUARE, 0.0),
        (box(5.0, 4.0, 12.0, 6.0), 2.0),
        (box(5.0, 4.0, 10.5, 6.0), 0.5),
        (box(20.0, 0.0, 25.0, 10.0), 15.0),  # its far side is 15 mm from the square
    ],
)
def test_a_mark_reaches_beyond_the_one_it_lies_on(upper: MultiPolygon, beyond: float) -> None:
    """By the distance of its furthest point from it: to 0.13 mm, as the docstring says."""
    assert pytest.approx(beyond, abs=0.13) == spacing.beyond(upper, SQUARE)


def test_a_mark_over_a_hole_reaches_beyond() -> None:
    """There it would meet the panel: the middle of a hole of 4 mm is 2 mm from the film."""
    ring = MultiPolygon([shapely.box(0.0, 0.0, 10.0, 10.0).difference(shapely.box(3.0, 3.0, 7.0, 7.0))])

    assert pytest.approx(2.0, abs=0.13) == spacing.beyond(box(2.0, 2.0, 8.0, 8.0), ring)
    assert 0.0 == spacing.beyond(box(0.5, 0.5, 2.5, 9.5), ring)


def test_what_reaches_beyond_by_next_to_nothing_still_does() -> None:
    """At least by a rounding error, so that it is never said to lie wholly on it."""
    over = spacing.beyond(box(1.0, 1.0, 10.0 + 1.5 * ROUNDING_MM, 9.0), SQUARE)

    assert ROUNDING_MM <= over < 0.13
    assert math.isfinite(over)
