from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from quarter_panel import QUARTER, area, quarter
from shapely import MultiPolygon, Point, Polygon

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.placement import containment, largest_copy
from featherline_service.shape.placement.containment import Pose
from featherline_service.shape.placement.largest_copy import Copy


def test_search_finds_at_least_what_a_pose_does(name: MultiPolygon) -> None:
    """The copy found fits, keeps within its rotations, and is no smaller than copies at poses on a grid."""
    free = quarter()
    for turn in (0.0, math.radians(15.0), math.pi):
        found = largest_copy.largest_copy(free, name, 2.0, 0.0, turn)
        assert found is not None
        assert containment.fits(free, containment.place(name, found.pose, found.scale), 2.0)
        assert abs(found.pose.rotation) <= turn + 1e-9
        for x in range(30, 100, 10):
            for y in (15, 22, 29):
                assert (containment.largest_scale(free, name, Pose(x, y), 2.0) or 0.0) <= found.scale * 1.001


def test_search_about_a_rotation_stays_near_it(name: MultiPolygon) -> None:
    """A search within ten degrees of 90 stays between 80 and 100 degrees."""
    found = largest_copy.largest_copy(quarter(), name, 2.0, math.pi / 2.0, math.radians(10.0))

    assert found is not None
    assert abs(found.pose.rotation - math.pi / 2.0) <= math.radians(10.0) + 1e-9


def test_search_is_deterministic(name: MultiPolygon) -> None:
    """The same search has the same result to the last digit."""
    first, again = (largest_copy.largest_copy(quarter(), name, 2.0) for _ in range(2))

    assert first == again


def test_search_says_when_nothing_fits(name: MultiPolygon) -> None:
    """A panel narrower than twice the clearance, or without free area, has no copy."""
    narrow = containment.free_area(area(shapely.box(0, 0, 100, 5)))
    covered = containment.free_area(area(QUARTER), (("seam", area(QUARTER)),))

    assert largest_copy.largest_copy(narrow, name, 3.0) is None
    assert largest_copy.largest_copy(covered, name, 3.0) is None


def test_search_without_improvements_returns_a_start(name: MultiPolygon, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without pivots of the linear programs the search returns a start that fits, smaller than an improved copy."""
    led = largest_copy.largest_copy(quarter(), name, 2.0, 0.0, 0.0)
    monkeypatch.setattr(largest_copy, "_PIVOTS", 0)
    began = largest_copy.largest_copy(quarter(), name, 2.0, 0.0, 0.0)

    assert led is not None
    assert began is not None
    assert containment.fits(quarter(), containment.place(name, began.pose, began.scale), 2.0)
    assert 0.3 * led.scale < began.scale < led.scale


def test_a_start_off_the_panel_has_no_improvement(name: MultiPolygon) -> None:
    """A start of which not even a tenth fits is given up."""
    start = largest_copy.Copy(Pose(500.0, 500.0), 1.0)

    figure = largest_copy._figure(containment.place(name, Pose(0.0, 0.0)))
    assert largest_copy._improved(quarter(), figure, 2.0, start, 0.0, largest_copy._SCOUTING) is None


def test_an_infeasible_linear_program_has_no_answer() -> None:
    """A variable cannot be both at most minus one and at least one."""
    rows, most = np.array([[1.0, 0.0, 0.0, 0.0], [-1.0, 0.0, 0.0, 0.0]]), np.ones(4)

    assert largest_copy._most(rows, np.array([-1.0, -1.0]), 9.0 * most, 9.0 * most) is None


@pytest.fixture(scope="module")
def unit_shapes() -> dict[str, MultiPolygon]:
    """Return the shapes of the closed forms."""
    return {
        "square": area(shapely.box(0, 0, 1, 1)),
        "triangle": area(Polygon([(0, 0), (1, 0), (0.5, math.sqrt(3) / 2)])),
        "345": area(Polygon([(0, 0), (4, 0), (0, 3)])),
        "disc": area(Point(0, 0).buffer(1.0 / math.cos(math.pi / 256), 64)),
    }


@pytest.mark.parametrize(
    ("panel", "art", "expected"),
    [
        # Largest square in the unit equilateral triangle and largest equilateral triangle in the unit square (E. W.
        # Weisstein, MathWorld, "Equilateral Triangle"), largest square in the 3-4-5 triangle (on a leg: a b / (a + b),
        # J. H. Conway, R. K. Guy, The Book of Numbers, 1996, 206), its inradius (a + b - c) / 2; all from memory.
        ("triangle", "square", 2.0 * math.sqrt(3.0) - 3.0),
        ("345", "square", 12.0 / 7.0),
        ("square", "triangle", math.sqrt(6.0) - math.sqrt(2.0)),
        ("345", "disc", 1.0),
    ],
)
def test_search_reaches_the_closed_forms(
    unit_shapes: dict[str, MultiPolygon], panel: str, art: str, expected: float
) -> None:
    """The largest copy at any rotation is within 2 parts in 1000 of the known one, and never larger."""
    grown = shapely.transform(unit_shapes[panel], lambda points: points * 40.0)

    found = largest_copy.largest_copy(containment.free_area(grown), unit_shapes[art], 0.0)

    assert found is not None
    assert pytest.approx(40.0 * expected, rel=2e-3) == found.scale
    assert found.scale <= 40.0 * expected * (1.0 + 2e-4)


def test_search_finds_the_disc_in_the_corner_beside_an_eyelet() -> None:
    """A disc in a square with a centred eyelet grows to (20 sqrt 2 - 2.5) / (1 + sqrt 2)."""
    free = containment.free_area(area(shapely.box(-20, -20, 20, 20)), (("eyelets", area(Point(0, 0).buffer(2.5, 64))),))

    found = largest_copy.largest_copy(free, area(Point(0, 0).buffer(8, 64)), 0.0)

    assert found is not None
    assert pytest.approx((20.0 * math.sqrt(2.0) - 2.5) / (1.0 + math.sqrt(2.0)) / 8.0, rel=2e-3) == found.scale


def test_the_square_fills_a_square() -> None:
    """A unit square without turning is as large as a square less the clearance on all sides, in its middle."""
    found = largest_copy.largest_copy(
        containment.free_area(area(shapely.box(10, 20, 50, 60))), area(shapely.box(0, 0, 1, 1)), 3.0, 0.0, 0.0
    )

    assert found is not None
    assert pytest.approx(34.0, rel=1e-4) == found.scale
    assert found.scale <= 34.0 * (1.0 + 1e-6)
    assert pytest.approx((30.0, 40.0, 0.0), abs=2e-2) == (found.pose.x, found.pose.y, found.pose.rotation)


def test_the_rotation_asked_for_is_added_to_the_one_found() -> None:
    """A bar turned by a right angle stands upright in a tall panel, as long as that."""
    tall, bar = containment.free_area(area(shapely.box(0, 0, 10, 40))), area(shapely.box(0, 0, 8, 1))

    found = largest_copy.largest_copy(tall, bar, 0.0, math.pi / 2.0, 0.0)

    assert found is not None
    assert pytest.approx(math.pi / 2.0) == found.pose.rotation
    assert pytest.approx(5.0, rel=1e-4) == found.scale


def test_a_search_among_too_many_points_is_refused() -> None:
    """Its containment tests would take too long: points of the artwork, times those of the boundary and 200."""
    panel = containment.free_area(area(Point(0, 0).buffer(50, 2)))
    edge = int(shapely.get_num_coordinates(panel.boundary))
    most = 30_000_000 // (edge + 200)
    ring = np.column_stack([np.cos(turns := np.linspace(0.0, 2.0 * np.pi, most, endpoint=False)), np.sin(turns)])

    with pytest.raises(DrawingError, match=rf"A place for {most + 1} points of artwork among {edge} of the panel"):
        largest_copy.largest_copy(panel, area(Polygon(ring)), 0.0)


def test_starts_at_the_pose_of_a_larger_one_are_left_out() -> None:
    """Nearer than a twentieth of the artwork's size, and turned by no more than a twentieth of a radian."""
    largest = Copy(Pose(0.0, 0.0, 0.0), 10.0)
    near, aside, turned, around = (
        Copy(Pose(x, 0.0, rotation), 9.0) for x, rotation in ((0.8, 0.0), (1.0, 0.0), (0.8, 0.06), (0.8, 2.0 * math.pi))
    )

    assert [largest] == largest_copy._distinct([near, largest, around], 2.0)
    assert [largest, aside] == largest_copy._distinct([aside, largest, near], 2.0)
    assert [largest, turned] == largest_copy._distinct([turned, near, largest], 2.0)


def test_a_linear_program_ends_in_its_corner() -> None:
    """The growth is as large as a row allows: x[0] + x[2] <= 1 with x[0] >= -2 gives 3, and bounds are kept."""
    rows, room = np.array([[1.0, 0.0, 1.0, 0.0]]), np.array([1.0])

    x = largest_copy._most(rows, room, np.full(4, 5.0), np.array([2.0, 5.0, 5.0, 5.0]))

    assert x is not None
    assert pytest.approx([-2.0, 3.0]) == [x[0], x[2]]
    free = largest_copy._most(rows[:0], room[:0], np.array([1.0, 2.0, 3.0, 4.0]), np.full(4, 9.0))
    assert free is not None
    assert pytest.approx([1.0, 2.0, 3.0, 4.0]) == list(free)


def test_feet_lie_on_the_nearest_places_of_sides() -> None:
    """On the side or at its end; a point on a side has none, and outside one behind a side has none."""
    side = largest_copy._Outline(np.array([[0.0, 0.0]]), np.array([[10.0, 0.0]]), np.zeros((0, 2)))
    points = np.array([[4.0, 3.0], [12.0, 0.5], [4.0, -2.0], [4.0, 0.0], [4.0, 7.0]])

    near, feet = largest_copy._feet(points, side, 5.0)
    below, under = largest_copy._feet(points, side, 5.0, outside=True)

    assert [[4.0, 3.0], [12.0, 0.5], [4.0, -2.0]] == near.tolist()
    assert [[4.0, 0.0], [10.0, 0.0], [4.0, 0.0]] == feet.tolist()
    assert ([[4.0, -2.0]], [[4.0, 0.0]]) == (below.tolist(), under.tolist())


def test_rays_meet_the_nearest_side() -> None:
    """From a square's middle the first ray is half its side, the one at 45 degrees half its diagonal."""
    square = largest_copy._outline(shapely.box(-2, -2, 2, 2), outwards=False)

    (rays,) = largest_copy._rays(np.array([[0.0, 0.0]]), square)

    assert 72 == len(rays)
    assert pytest.approx([2.0, 2.0 * math.sqrt(2.0), 2.0, 2.0]) == [rays[0], rays[9], rays[18], rays[36]]
    assert [0.0] * 36 == largest_copy._rays(np.array([[-9.0, 0.0]]), square)[0][18:54].tolist()


def test_corners_that_touch_first_are_convex() -> None:
    """Of an L the five outer corners for the artwork, the inner one for the panel around it."""
    shape = Polygon([(0, 0), (20, 0), (20, 6), (6, 6), (6, 12), (0, 12)])

    assert 5 == len(largest_copy._outline(shape, outwards=True).corners)
    assert [[6.0, 6.0]] == largest_copy._outline(shape, outwards=False).corners.tolist()
    assert 6 == len(largest_copy._outline(shape, outwards=True).start)


def test_the_largest_scale_at_a_pose_is_bisected() -> None:
    """Between a scale that fits and one hoped for; the hoped one if it fits, none if neither does."""
    panel, square = containment.free_area(area(shapely.box(-5, -5, 5, 5))), area(shapely.box(-0.5, -0.5, 0.5, 0.5))

    def near(hoped: float, fitting: float, bisections: int = 20) -> Copy | None:
        return largest_copy._largest_near(panel, square, Pose(0.0, 0.0), hoped, fitting, 1.0, bisections)

    assert Copy(Pose(0.0, 0.0), 7.5) == near(7.5, 7.0)
    assert near(20.0, 9.0) is None
    bisected = near(20.0, 4.0)
    assert bisected is not None
    assert pytest.approx(8.0, abs=1e-4) == bisected.scale
    assert Copy(Pose(0.0, 0.0), 6.0) == near(12.0, 0.0, 1)
