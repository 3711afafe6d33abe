from __future__ import annotations

import math
import random
from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from quarter_panel import QUARTER, area, quarter
from shapely import MultiPolygon, Point, Polygon

from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.regions import polygons
from featherline_service.shape.outlines.text_outlines import Typeface
from featherline_service.shape.placement import containment
from featherline_service.shape.placement.containment import FreeArea, Pose


def test_place_scales_turns_and_moves_about_the_box_centre(name: MultiPolygon) -> None:
    """The centre of the artwork's box moves to the pose at every scale and rotation."""
    square = area(shapely.box(10, 10, 14, 12))

    turned = containment.place(square, Pose(5, 6, math.pi / 2), 2.0)

    assert pytest.approx((3.0, 2.0, 7.0, 10.0)) == turned.bounds
    assert pytest.approx(name.area) == containment.place(name, Pose(1, 2, 0.7)).area


def crosses(free: FreeArea, placed: MultiPolygon, clearance: float) -> bool:
    """Return whether placed artwork overlaps the boundary, or is nearer to it than the clearance, in exact fractions.

    Independent of the service and its library: vertices are inside by crossing numbers in rational numbers, and pairs
    of sides are no nearer than the clearance less two nanometres.
    """

    def sides(geometry: shapely.Geometry) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.get_parts(geometry))]
        return [
            (tuple(a), tuple(b)) for ring in rings for a, b in zip(ring[:-1].tolist(), ring[1:].tolist(), strict=True)
        ]

    edge = [[tuple(map(Fraction, end)) for end in side] for side in sides(free.region)]

    def inside(x: Fraction, y: Fraction) -> bool:
        odd = False
        for (ax, ay), (bx, by) in edge:
            if (ay > y) != (by > y) and x < ax + (bx - ax) * (y - ay) / (by - ay):
                odd = not odd
        return odd

    points = shapely.get_coordinates(placed)
    if not all(inside(Fraction(x), Fraction(y)) for x, y in points[:: max(1, len(points) // 40)].tolist()):
        return True
    art, out = np.array(sides(placed)), np.array(sides(free.region))

    def nearest(points: np.ndarray, segments: np.ndarray) -> float:
        start, side = segments[:, 0], segments[:, 1] - segments[:, 0]
        away = points[:, None] - start
        share = np.clip(np.sum(away * side, axis=2) / np.sum(side * side, axis=1), 0.0, 1.0)
        return float(np.hypot(*np.moveaxis(away - share[..., None] * side, -1, 0)).min())

    # Two segments that do not cross are nearest at an end of one; where they cross, a vertex is outside.
    return min(nearest(art[:, 0], out), nearest(out[:, 0], art)) < clearance - 2.0 * containment.ROUNDING_MM


@pytest.mark.slow
def test_fits_is_confirmed_by_an_independent_check(name: MultiPolygon) -> None:
    """Of random poses, all that fit are confirmed in exact fractions and by independent distances."""
    free, draw = quarter(), random.Random(11)  # noqa: S311 - poses, not secrets
    said_yes = 0

    for _ in range(drawn(400)):
        pose = Pose(draw.uniform(0, 120), draw.uniform(0, 60), draw.uniform(-math.pi, math.pi))
        clearance = draw.choice([0.0, 1.0, 3.0])
        placed = containment.place(name, pose, draw.uniform(0.1, 1.0))
        if containment.fits(free, placed, clearance):
            said_yes += 1
            assert not crosses(free, placed, clearance)

    assert said_yes > 0.15 * drawn(400)


def test_fit_agrees_with_the_room(name: MultiPolygon) -> None:
    """Artwork fits exactly when its room is at least the clearance."""
    free, draw = quarter(), random.Random(12)  # noqa: S311 - poses, not secrets

    for _ in range(200):
        placed = containment.place(name, Pose(draw.uniform(0, 120), draw.uniform(0, 60), draw.uniform(-1, 1)), 0.5)
        room = containment.room(free, placed)
        assert containment.fits(free, placed, 2.0) == (room.clearance >= 2.0 - containment.ROUNDING_MM)


def test_parts_fit_and_have_the_room_of_their_union(name: MultiPolygon) -> None:
    """An artwork and one that overlaps it, at random poses: inside as their union, outside there is no answer."""
    free, draw = quarter(), random.Random(14)  # noqa: S311 - poses, not secrets
    inside = outside = 0

    for _ in range(200):
        pose = Pose(draw.uniform(0, 120), draw.uniform(0, 60), draw.uniform(-1, 1))
        parts = [containment.place(name, pose, 0.4), containment.place(name, Pose(pose.x + 3.0, pose.y), 0.4)]
        union = polygons(shapely.union_all(parts))
        room, found = containment.room(free, union), containment.room_inside(free, parts)
        assert containment.fits(free, union, 2.0) is containment.all_fit(free, parts, 2.0)
        if found is None:
            outside += 1
            assert room.clearance < 0.0
        else:
            inside += 1
            assert (room.bound_by, pytest.approx(room.clearance, abs=1e-9)) == (found.bound_by, found.clearance)

    assert min(inside, outside) > 20


def test_exact_fit_is_a_yes_in_spite_of_rounding() -> None:
    """A square as large as its panel, or as the panel less the clearance, fits at any position and rotation."""
    draw = random.Random(13)  # noqa: S311 - poses, not secrets
    for _ in range(50):
        pose = Pose(draw.uniform(-99, 99), draw.uniform(-99, 99), draw.uniform(-3, 3))
        panel = containment.free_area(containment.place(area(shapely.box(0, 0, 30, 10)), pose))
        assert containment.fits(panel, containment.place(area(shapely.box(0, 0, 30, 10)), pose), 0.0)
        assert containment.fits(panel, containment.place(area(shapely.box(0, 0, 28, 8)), pose), 1.0)
        assert not containment.fits(panel, containment.place(area(shapely.box(0, 0, 28.001, 8)), pose), 1.0)


def test_largest_scale_fits_and_a_little_more_does_not(name: MultiPolygon) -> None:
    """The largest scale at a pose passes the exact test, and one a ten-thousandth larger does not."""
    free = quarter()
    for pose in (Pose(60, 25), Pose(50, 20, 0.4), Pose(95, 15, -0.2), Pose(30, 30, 2.0)):
        largest = containment.largest_scale(free, name, pose, 2.0)
        assert largest is not None
        assert containment.fits(free, containment.place(name, pose, largest), 2.0)
        assert not containment.fits(free, containment.place(name, pose, largest * 1.0001), 2.0)


@pytest.mark.parametrize("clearance", [0.0, 2.0])
def test_a_margin_is_above_zero_where_a_copy_fits(name: MultiPolygon, clearance: float) -> None:
    """At every scale; it is what the copy keeps beyond its clearance, infinite where it reaches out of the area."""
    free, pose = quarter(), Pose(60, 25)
    copies = [containment.place(name, pose, scale / 20) for scale in range(1, 60)]
    margins = [containment.margin(free, placed, clearance) for placed in copies]

    assert [containment.fits(free, placed, clearance) for placed in copies] == [margin > 0.0 for margin in margins]
    assert -math.inf == margins[-1]
    rooms = [containment.room(free, placed).clearance for placed in copies]
    within = [(margin, room) for margin, room in zip(margins, rooms, strict=True) if math.isfinite(margin)]
    assert bool(clearance) == bool(within)
    assert pytest.approx([room - clearance for _, room in within], abs=2e-6) == [margin for margin, _ in within]


@pytest.mark.parametrize(
    ("margin_at", "tried"),
    [
        (lambda scale: 1.0 - scale, 25),  # the line through the margins crosses zero at once
        (lambda scale: 1.0 - scale**9, 30),
        (lambda scale: math.inf if scale <= 1.0 else -math.inf, 35),  # bisected
        (lambda scale: 1.0 if scale <= 1.0 else -1e-9, 50),  # the line tells little: bisected every other time
    ],
)
def test_the_largest_passing_scale_is_found_in_few_steps(margin_at: Callable[[float], float], tried: int) -> None:
    """It passes, a scale that is one part in 100,000 larger does not, and 19 steps of 4 % lead there from 2.1."""
    scales: list[float] = []

    def counted(scale: float) -> float:
        scales.append(scale)
        return margin_at(scale)

    largest = containment.largest_passing(counted, 2.1)

    assert largest is not None
    assert margin_at(largest) > 0.0
    assert 1.0 - 1e-5 <= largest <= 1.0
    assert len(scales) <= tried


def test_no_scale_below_a_fiftieth_is_tried() -> None:
    """Nor is one where the upper bound is zero; the bound is the answer where it passes."""
    scales: list[float] = []
    assert containment.largest_passing(lambda scale: scales.append(scale) or -1.0, 10.0) is None
    assert 0.2 <= min(scales) < 0.2 / 0.96
    assert containment.largest_passing(lambda _: 1.0, 0.0) is None
    assert 3.0 == containment.largest_passing(lambda _: 1.0, 3.0)


def test_no_copy_fits_on_a_keep_out_or_off_the_panel(name: MultiPolygon) -> None:
    """A centre in a keep-out has no largest scale."""
    free = quarter()

    assert containment.largest_scale(free, name, Pose(15, 30), 1.0) is None
    assert containment.largest_scale(free, name, Pose(-5, 30), 1.0) is None
    assert (
        containment.largest_scale(
            containment.free_area(area(QUARTER), (("seam", area(QUARTER)),)), name, Pose(60, 25), 1.0
        )
        is None
    )


def test_ring_goes_round_an_eyelet() -> None:
    """The largest ring about an eyelet surrounds it, though smaller rings do not fit."""
    ring = area(Point(0, 0).buffer(10, 32).difference(Point(0, 0).buffer(8, 32)))
    free = containment.free_area(area(shapely.box(-20, -20, 20, 20)), (("eyelets", area(Point(0, 0).buffer(3, 32))),))

    largest = containment.largest_scale(free, ring, Pose(0, 0), 1.0)

    assert pytest.approx(1.9, rel=1e-3) == largest
    assert not containment.fits(free, containment.place(ring, Pose(0, 0), 0.4), 1.0)


@settings(max_examples=12, deadline=None)
@given(angle=st.floats(0, 360), factor=st.floats(0.5, 3.0))
def test_turning_and_scaling_everything_changes_nothing(angle: float, factor: float) -> None:
    """Turning panel and artwork together keeps the largest scale; scaling the panel scales it."""
    art = area(Polygon([(0, 0), (20, 0), (20, 6), (6, 6), (6, 12), (0, 12)]))
    first = containment.largest_scale(quarter(), art, Pose(60, 25, 0.3), 2.0)
    turn = math.radians(angle)
    x, y = 60 * math.cos(turn) - 25 * math.sin(turn), 60 * math.sin(turn) + 25 * math.cos(turn)

    other = containment.largest_scale(
        quarter(factor, angle), art, Pose(x * factor, y * factor, 0.3 + turn), 2.0 * factor
    )

    assert first is not None
    assert pytest.approx(first * factor, rel=5e-5) == other


@settings(max_examples=12, deadline=None)
@given(shrink=st.integers(0, 4000).map(lambda um: um / 1000), clearance=st.floats(0.0, 4.0))
def test_smaller_panel_or_more_clearance_never_admits_more(shrink: float, clearance: float) -> None:
    """Shrinking the panel, or asking for more clearance, never raises the largest scale."""
    art = area(Polygon([(0, 0), (20, 0), (20, 6), (6, 6), (6, 12), (0, 12)]))
    pose = Pose(60, 25, 0.3)
    whole = containment.free_area(area(QUARTER))
    smaller = containment.free_area(area(QUARTER.buffer(-shrink)))

    first = containment.largest_scale(whole, art, pose, 1.0) or 0.0

    assert (containment.largest_scale(smaller, art, pose, 1.0) or 0.0) <= first * (1.0 + 2e-5)
    assert (containment.largest_scale(whole, art, pose, 1.0 + clearance) or 0.0) <= first * (1.0 + 2e-5)


def test_outline_of_a_typeface_is_loaded_once(plain: Typeface) -> None:
    """The same text gives the same figure object, so that caches keyed by identity find it."""
    assert figures.of_text(plain, "ONE") is figures.of_text(plain, "ONE")
    assert text_outlines.glyph_region(plain, 40, 1.0) is text_outlines.glyph_region(plain, 40, 1.0)


def test_an_area_without_room_has_no_extent() -> None:
    """A panel that a keep-out covers; a box of 30 by 20 mm beside it."""
    panel = MultiPolygon([shapely.box(5, 5, 35, 25)])

    assert (30.0, 20.0) == containment.free_area(panel).extent
    assert (0.0, 0.0) == containment.free_area(panel, (("eyelets", panel),)).extent
