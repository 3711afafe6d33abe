from __future__ import annotations

import math
import re

import msgspec
import numpy as np
import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon

from featherline_service.shape.outlines import figures
from featherline_service.shape.outlines.text_outlines import Typeface
from featherline_service.shape.placement import anchors, containment
from featherline_service.shape.placement.anchors import Anchor, AnchorError
from featherline_service.shape.placement.containment import FreeArea, Pose

CENTRE = (50.0, 30.0)
BAR = MultiPolygon([shapely.box(0, 0, 40, 10)])


def area(*polygons: Polygon) -> MultiPolygon:
    """Return polygons as one region."""
    return MultiPolygon(list(polygons))


def panel() -> FreeArea:
    """Return a panel whose featherline rises by a tenth, with eyelets, a seam at each end and a collar."""
    outline = Polygon([(0, 0), (100, 10), (100, 60), (0, 60)])
    return containment.free_area(
        area(outline),
        (
            ("featherline", area(Polygon([(-5, -6), (105, 5), (105, 16), (-5, 5)]))),
            ("collar", area(shapely.box(-1, 54, 101, 61))),
            ("eyelets", area(Point(70, 48).buffer(2.0, 32), Point(80, 33).buffer(4.0, 32))),
            ("seam", area(shapely.box(-1, -1, 4, 61), shapely.box(95, 0, 101, 61))),
        ),
    )


def anchored(side: anchors.Side, edge: str, distance: float = 5.0, along: float = 0.0, scale: float = 1.0) -> Pose:
    """Return where a bar of 40 x 10 lies by an anchor."""
    return anchors.pose(panel(), BAR, Anchor(side, edge, distance, along, CENTRE), scale)


@pytest.mark.parametrize(
    ("side", "edge", "expected"),
    [
        # The featherline is at y = x / 10, so highest under the bar's toe end, 20 mm from its middle: elementary.
        ("above", "featherline", (50.0, 7.0 + 5.0 + 5.0)),
        ("above", "panel", (50.0, 7.0 + 5.0 + 5.0)),
        ("below", "panel", (50.0, 60.0 - 5.0 - 5.0)),
        ("below", "collar", (50.0, 54.0 - 5.0 - 5.0)),
        # Of the eyelets only the first lies over the bar: its lowest point is 2 mm below its middle.
        ("below", "eyelets", (50.0, 46.0 - 5.0 - 5.0)),
        # In front of the seam at the heel, behind that at the toe; beside the bar's 10 mm the eyelet reaches to x = 76.
        ("in-front-of", "seam", (4.0 + 5.0 + 20.0, 30.0)),
        ("behind", "seam", (95.0 - 5.0 - 20.0, 30.0)),
        ("behind", "eyelets", (76.0 - 5.0 - 20.0, 30.0)),
        ("in-front-of", "panel", (0.0 + 5.0 + 20.0, 30.0)),
        ("behind", "panel", (100.0 - 5.0 - 20.0, 30.0)),
    ],
)
def test_a_bar_lies_at_its_distance_from_an_edge(side: anchors.Side, edge: str, expected: tuple[float, float]) -> None:
    """The side of the box is at the distance asked for from the nearest point of the edge along the box."""
    there = anchored(side, edge)

    assert pytest.approx(expected, abs=1e-9) == (there.x, there.y)


def test_an_offset_moves_along_the_edge() -> None:
    """An offset along a rising edge raises the artwork; an offset up a seam keeps its distance from the seam."""
    aslant, upright = anchored("above", "featherline", along=10.0), anchored("in-front-of", "seam", along=6.0)

    assert pytest.approx((60.0, 8.0 + 10.0)) == (aslant.x, aslant.y)
    assert pytest.approx((29.0, 36.0)) == (upright.x, upright.y)


def test_a_smaller_copy_keeps_its_distance() -> None:
    """At half the scale the box is 20 x 5, and 5 mm above the highest point of the edge under it."""
    there = anchored("above", "featherline", scale=0.5)

    assert pytest.approx(6.0 + 5.0 + 2.5) == there.y


def test_a_level_of_the_artwork_is_measured_instead_of_its_box() -> None:
    """A level a fifth up the artwork is at the distance asked for, from above and from below."""
    for side, expected in (("above", 7.0 + 5.0 + 3.0), ("below", 54.0 - 5.0 + 3.0)):
        anchor = Anchor(side, "featherline" if side == "above" else "collar", 5.0, 0.0, CENTRE, level=2.0)
        assert pytest.approx(expected) == anchors.pose(panel(), BAR, anchor, 1.0).y


@settings(max_examples=drawn(40), deadline=None)
@given(
    side=st.sampled_from(["above", "below", "behind", "in-front-of"]),
    edge=st.sampled_from(["panel", "featherline", "collar", "seam", "eyelets"]),
    distance=st.floats(0.0, 12.0),
    along=st.floats(-15.0, 15.0),
    rotation=st.floats(-math.pi, math.pi),
    scale=st.floats(0.2, 1.2),
)
def test_the_gap_is_the_distance_by_dense_samples(  # noqa: PLR0917 - drawn
    side: anchors.Side, edge: str, distance: float, along: float, rotation: float, scale: float
) -> None:
    """Of dense samples of the edge beside the artwork the nearest is at the distance asked for."""
    free = panel()
    art = area(Polygon([(0, 0), (30, 0), (30, 4), (8, 4), (8, 9), (0, 9)]))
    try:
        there = anchors.pose(free, art, Anchor(side, edge, distance, along, CENTRE, rotation), scale)
    except AnchorError:
        return
    left, low, right, high = containment.place(art, there, scale).bounds
    parts = [free.barriers[0][1]] if edge == "panel" else [part for name, part in free.barriers[1:] if name == edge]
    drawn = shapely.union_all(parts)
    if edge == "featherline":
        drawn = shapely.intersection(free.barriers[0][1], drawn)
    if shapely.get_dimensions(drawn) == 2:
        drawn = shapely.boundary(drawn)
    upright = side in {"above", "below"}
    axis, window = (1, (left, -99.0, right, 199.0)) if upright else (0, (-99.0, low, 199.0, high))
    pieces = shapely.get_parts(shapely.line_merge(shapely.intersection(drawn, shapely.box(*window))))
    # Pieces completely beyond the panel's centre are ignored: they belong to the other end.
    near = [each for each in pieces if (each.bounds[axis] < CENTRE[axis] if side in {"above", "in-front-of"}
            else each.bounds[axis + 2] > CENTRE[axis])]  # fmt: skip
    beside = shapely.get_coordinates(shapely.segmentize(near, 0.002))[:, axis]
    gaps = {
        "above": low - beside, "below": beside - high, "behind": beside - right, "in-front-of": left - beside,
    }[side]  # fmt: skip

    assert np.abs(gaps - distance).min() <= 0.01
    assert gaps.min() >= distance - 0.01


@pytest.mark.parametrize(
    ("side", "edge"), [("above", "featherline"), ("below", "collar"), ("behind", "seam"), ("in-front-of", "panel")]
)
def test_the_ruler_runs_from_the_edge_straight_to_the_artwork(side: anchors.Side, edge: str) -> None:
    """The ruler starts on the edge, is level or upright and as long as the distance, and ends at the artwork's box."""
    free, anchor = panel(), Anchor(side, edge, 5.0, 0.0, CENTRE)

    (x, y), (to_x, to_y) = anchors.ruler(free, BAR, anchor, 0.5)
    left, low, right, high = containment.place(BAR, anchors.pose(free, BAR, anchor, 0.5), 0.5).bounds

    assert shapely.distance(anchors.edge(free, edge), Point(x, y)) <= 1e-9
    assert pytest.approx((5.0, 0.0)) == (math.hypot(to_x - x, to_y - y), min(abs(to_x - x), abs(to_y - y)))
    assert left - 1e-9 <= to_x <= right + 1e-9
    assert low - 1e-9 <= to_y <= high + 1e-9
    level = anchors.ruler(free, BAR, Anchor("above", "featherline", 5.0, 0.0, CENTRE, level=2.0), 0.5)
    assert pytest.approx(5.0) == level[1][1] - level[0][1]


def test_the_same_pose_serves_the_mirrored_shoe(plain: Typeface) -> None:
    """A text on both shoes has one pose; turned, it keeps its distance on both."""
    figure = figures.of_text(plain, "LOT")
    scale = 12.0 / figure.height
    for rotation in (0.0, 0.2):
        anchor = Anchor("above", "featherline", 6.0, 0.0, CENTRE, rotation)
        poses = {
            sides: anchors.pose(panel(), figures.FittedRegion(figure, 0, sides).region, anchor, scale)
            for sides in ("right", "left", "both")
        }
        assert max(poses["right"].y, poses["left"].y) <= poses["both"].y <= max(poses["right"].y, poses["left"].y) + 0.5
        if not rotation:
            assert poses["right"] == poses["left"] == poses["both"]


def test_the_largest_copy_by_an_anchor_fits_and_a_larger_one_does_not() -> None:
    """The largest copy at an anchor fits with its clearance, and a copy a thousandth larger does not."""
    free, anchor = panel(), Anchor("above", "featherline", 14.0, 0.0, CENTRE)

    largest = anchors.largest_scale(free, BAR, anchor, 3.0)

    assert largest is not None

    def fits(scale: float) -> bool:
        return containment.fits(free, containment.place(BAR, anchors.pose(free, BAR, anchor, scale), scale), 3.0)

    assert (True, False) == (fits(largest), fits(largest * 1.001))
    assert anchors.largest_scale(free, BAR, Anchor("above", "featherline", 60.0, 0.0, CENTRE), 3.0) is None


def test_the_largest_copy_where_smaller_copies_are_not_beside_the_edge() -> None:
    """Copies too small to lie beside an eyelet are skipped; an area without free space has no copy."""
    anchor = Anchor("below", "eyelets", 3.0, 0.0, CENTRE)

    assert anchors.largest_scale(panel(), BAR, anchor, 1.0) is not None
    assert anchors.largest_scale(panel(), BAR, Anchor("below", "eyelets", 3.0, 0.0, (20.0, 30.0)), 1.0) is None
    covered = containment.free_area(area(shapely.box(0, 0, 9, 9)), (("seam", area(shapely.box(-1, -1, 10, 10))),))
    assert anchors.largest_scale(covered, BAR, Anchor("above", "panel", 3.0, 0.0, (4.0, 4.0)), 1.0) is None


@pytest.mark.parametrize(
    ("side", "edge", "along", "says"),
    [
        ("above", "toe-cap", 0.0, "no toe-cap to place by; it has: panel, featherline, collar, eyelets, seam"),
        ("above", "collar", 0.0, "All of the collar there lies above the panel's centre"),
        ("below", "featherline", 0.0, "All of the featherline there lies below the panel's centre"),
        ("below", "eyelets", -30.0, "give an `along` between 18.0 mm and 34.0 mm"),
        ("in-front-of", "collar", 0.0, "No part of the collar is beside the artwork"),
        ("above", "panel", 400.0, "No part of the edge of the panel is beside the artwork"),
    ],
)
def test_an_edge_that_is_not_there_is_refused(side: anchors.Side, edge: str, along: float, says: str) -> None:
    """An edge that the panel does not have, or not beside the artwork, is refused with the edges there are."""
    with pytest.raises(AnchorError, match=re.escape(says)) as refused:
        anchored(side, edge, along=along)
    assert msgspec.msgpack.encode(refused.value.told)  # as it comes from a process that computes
