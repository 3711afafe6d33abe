from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon
from shapely.affinity import rotate, scale, translate

from featherline_service.shape.outlines import figures, text_outlines, widths
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.text_outlines import Typeface


def area(*polygons: Polygon) -> MultiPolygon:
    """Return polygons as one region."""
    return MultiPolygon(list(polygons))


def test_sharp_tip_is_no_width() -> None:
    """A needle's tip is reported as an angle; its stroke is the diameter of the largest circle in it, not zero."""
    detail = widths.measure(area(Polygon([(0, 0), (10, -0.8), (10, 0.8)])), 1e-3)

    assert detail.stroke > 1.0
    assert pytest.approx(2.0 * math.atan(0.08)) == detail.sharpest


def test_blunt_taper_is_no_neck() -> None:
    """A blunt tip does not count as a stroke; the narrowest stroke is the shaft behind it."""
    arrow = Polygon([(0, -2), (20, -2), (26, -0.1), (26, 0.1), (20, 2), (0, 2)])

    assert pytest.approx(4.0) == widths.measure(area(arrow), 1e-3).stroke


def test_lopsided_taper_counts_to_its_narrow_end() -> None:
    """A tapered stroke with unequal sides is as wide as its narrow end, from corner to corner."""
    stroke = Polygon([(0, -1.5), (20, -1.0), (20, 1.2), (0, 1.5)])

    assert pytest.approx(2.2) == widths.measure(area(stroke), 1e-3).stroke


def test_a_gap_is_measured_at_every_tolerance() -> None:
    """The gap between a tip and a disc is measured however roughly the disc's outline is simplified."""
    disc, tip = Point(0, 0).buffer(100.0, 256), Polygon([(0, 101.0), (20, 140), (-20, 140)])

    for tolerance in (1e-4, 1e-3, 1e-2, 5e-2):
        assert pytest.approx(1.0, abs=3.0 * tolerance) == widths.measure(area(disc, tip), tolerance).gap


def test_a_circle_a_little_narrower_than_the_chords_counts() -> None:
    """The circle in a triangle counts, though it is only one and a half per cent narrower than a bar's chords."""
    bar, triangle = shapely.box(0, 0, 1, 10), Polygon([(4, 0), (6.478, 0), (5.239, 1.169)])

    circle = 2.0 * triangle.area / (triangle.length / 2.0)
    assert pytest.approx(circle, rel=2e-3) == widths.measure(area(bar, triangle), 1e-4).stroke
    assert 0.98 < circle < 0.99


def test_slightly_tapered_stroke_counts_to_its_narrow_end() -> None:
    """A stroke that tapers by three degrees is as wide as its narrow end."""
    stroke = Polygon([(0, -1.5), (20, -1.0), (20, 1.0), (0, 1.5)])

    assert pytest.approx(2.0, rel=1e-2) == widths.measure(area(stroke), 1e-3).stroke


def test_notch_is_no_gap_but_a_slot_is() -> None:
    """A V-shaped notch has no width; a slot has."""
    square = shapely.box(0, 0, 20, 20)
    notch, slot = Polygon([(8, 20), (10, 5), (12, 20)]), shapely.box(9.5, 5, 10.5, 21)

    assert widths.measure(area(square.difference(notch)), 1e-3).gap is None
    assert pytest.approx(1.0) == widths.measure(area(square.difference(slot)), 1e-3).gap


def test_cut_length_corners_and_islands() -> None:
    """A frame and a dot have the lengths and corners of all outlines, and the dot is the smallest island."""
    frame = shapely.box(0, 0, 10, 10).difference(shapely.box(2, 2, 8, 8))
    dot = translate(Point(0, 0).buffer(1.0, 64), 20, 5)

    detail = widths.measure(area(frame, dot), 1e-4)

    assert pytest.approx(64.0 + 2.0 * math.pi, rel=1e-3) == detail.cut_length
    assert (8, 2, 1) == (detail.corners, detail.pieces, detail.counters)
    assert pytest.approx(math.pi, rel=1e-3) == detail.island
    assert pytest.approx(64.0 + math.pi, rel=1e-3) == detail.area


@settings(max_examples=drawn(25), deadline=None)
@given(angle=st.floats(0, 360), factor=st.floats(0.05, 50.0))
def test_turning_and_scaling_scale_all_widths_alike(angle: float, factor: float) -> None:
    """Widths do not change with rotation and are proportional to scale."""
    e = Polygon([(0, 0), (5, 0), (5, 1), (1.5, 1), (1.5, 2.2), (4, 2.2), (4, 3.1), (1.5, 3.1), (1.5, 5), (0, 5)])
    first = widths.measure(area(e), 1e-6)

    second = widths.measure(area(scale(rotate(e, angle), factor, factor)), 1e-6 * factor)
    expected = first.scaled(factor)

    assert pytest.approx(expected.stroke, rel=1e-6) == second.stroke
    assert pytest.approx(expected.gap, rel=1e-6) == second.gap
    assert pytest.approx((expected.area, expected.cut_length)) == (second.area, second.cut_length)


def test_widths_of_many_points_agree_with_widths_of_few() -> None:
    """A ring of many segments, searched from near pairs outwards, has the widths of a ring of few segments."""
    ring = [Point(0, 0).buffer(10, n).difference(Point(0, 0).buffer(7, n)) for n in (24, 240)]

    few, many = (widths.measure(area(first), 1e-5) for first in ring)

    assert pytest.approx((few.stroke, few.gap), rel=5e-3) == (many.stroke, many.gap)


def test_gap_between_glyphs_counts(bold: Typeface) -> None:
    """Two letters have the gap between them; a single letter has none."""
    alone, both = (figures.of_text(bold, text).detail for text in ("I", "II"))

    assert alone.gap is None
    assert both.gap is not None
    assert 2.0 * alone.area == both.area
    assert alone.stroke == both.stroke


def test_detail_of_letters_that_touch_is_measured_afresh(bold: Typeface) -> None:
    """Letters of overlapping lines are one piece, measured as a whole."""
    figure = figures.of_text(bold, "H\nH", text_outlines.TextSetting(line_distance=1.0))

    assert figure.detail.pieces == len(figure.drawn(0).geoms)
    assert pytest.approx(figure.drawn(0).area) == figure.detail.area


CONE = [(-5.0, 5.0), (-5.0, -5.0)]


@pytest.mark.parametrize("apart", [0.0, 1e-9, 1e-6, 1e-3])
@pytest.mark.parametrize(
    ("left", "right", "place"),
    [
        (Polygon([(0, 0), *CONE]), Polygon([(0, 0), (5, -5), (5, 5)]), (0.0, 0.0)),
        (shapely.box(-5, -5, 0, 5), Polygon([(0, 0), (5, -5), (5, 5)]), (0.0, 0.0)),
        (shapely.box(-5, -5, 0, 5), shapely.box(0, -5, 6, 5), None),
        (Point(-5, 0).buffer(5.0, 64), Point(5, 0).buffer(5.0, 64), (0.0, 0.0)),
        (Point(-5, 0).buffer(5.0, 64), shapely.box(0, -9, 4, 9), (0.0, 0.0)),
    ],
)
def test_outlines_closer_than_they_are_accurate_touch(
    left: Polygon, right: Polygon, place: tuple[float, float] | None, apart: float
) -> None:
    """Two pieces that meet, or leave a hair, touch where they do, and that hair is not the clear gap."""
    if place is None and apart == 0.0:
        return  # one piece
    detail = widths.measure(area(left, translate(right, apart)), 1e-3)

    assert detail.touches
    # A disc of radius 5 is within 0.002 of a line over sqrt(2 * 5 * 0.002) to either side.
    assert place is None or all(math.dist(place, touch) < 0.15 for touch in detail.touches)
    assert (2, None) == (detail.pieces, detail.clear_gap)
    assert detail.clear_stroke > 1.0


@pytest.mark.parametrize("width", [1e-9, 1e-6, 1e-3])
def test_a_neck_finer_than_outlines_are_accurate_is_a_touch(width: float) -> None:
    """An hourglass whose neck has no width touches there, and its stroke is that of its halves."""
    hourglass = Polygon([(-5, -8), (5, -8), (width / 2, 0), (5, 8), (-5, 8), (-width / 2, 0)])

    detail = widths.measure(area(hourglass), 1e-3)

    (place,) = detail.touches
    assert pytest.approx((0.0, 0.0), abs=1e-6) == place
    assert pytest.approx(width) == detail.stroke
    assert detail.clear_stroke > 4.0


def test_gaps_elsewhere_count_beside_a_touch() -> None:
    """Two combs that touch at one tooth have the gap between their other teeth."""
    comb = shapely.union_all([shapely.box(0, 0, 30, 4), *(shapely.box(x, 4, x + 3, 9) for x in (0, 9, 18, 27))])
    other = shapely.union_all([shapely.box(0, 10.5, 30, 14), shapely.box(10, 9, 12, 11)])

    detail = widths.measure(area(comb, other), 1e-3)

    assert 1 <= len(detail.touches)
    assert pytest.approx(1.5) == detail.clear_gap


def test_a_wider_touch_can_be_asked_for() -> None:
    """A gap of 0.01 is a gap unless outlines touch at 0.02; scaling a detail scales its places."""
    pieces = area(shapely.box(0, 0, 4, 4), shapely.box(4.01, 0, 8, 4))

    exact, rough = widths.measure(pieces, 1e-4), widths.measure(pieces, 1e-4, touch=0.02)

    assert (pytest.approx(0.01), pytest.approx(0.01), ()) == (exact.gap, exact.clear_gap, exact.touches)
    assert (pytest.approx(0.01), None) == (rough.gap, rough.clear_gap)
    assert pytest.approx(2.0 * rough.touches[0][0]) == rough.scaled(2.0).touches[0][0]


def saw(teeth: int, depth: float) -> MultiPolygon:
    """Return a disc of radius 10 with teeth all around."""
    angle = np.pi * np.arange(2 * teeth) / teeth
    radius = np.where(np.arange(2 * teeth) % 2, 10.0, 10.0 - depth)
    return area(Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])))


@pytest.mark.parametrize(("teeth", "depth"), [(7, 3.0), (40, 2.0), (60, 0.6)])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_chords_in_tips_agree_with_a_test_of_all_tips(teeth: int, depth: float, sign: float) -> None:
    """The tips between a chord's ends give the same chords in tips as a test of every chord against every tip."""
    region = MultiPolygon([*saw(teeth, depth).geoms, *translate(saw(5, 4.0), 30.0).geoms])
    outline = widths._outline(region)
    first, second = np.triu_indices(len(outline.start), 1)
    keep = widths._can_face(outline, first, second)
    chords = widths._chords(outline, first[keep], second[keep], 0.0, math.inf)
    tips = np.flatnonzero(outline.turn * -sign > math.pi - widths._SHARPEST_CORNER_RAD)
    parallel = np.sum(outline.normal[chords.first] * outline.normal[chords.second], axis=1) <= -widths._PARALLEL

    expected = np.zeros(len(chords.length), dtype=np.bool_)
    begin = outline.along[chords.first] + chords.start_at * outline.length[chords.first]
    end = outline.along[chords.second] + chords.end_at * outline.length[chords.second]
    around = outline.perimeter[chords.first]
    for tip in tips:
        there, at = outline.along[tip], outline.start[tip]
        forward = (there - begin) % around + (end - there) % around
        way = np.minimum(forward, (begin - there) % around + (there - end) % around)
        arms = np.hypot(*(chords.start - at).T) + np.hypot(*(chords.end - at).T)
        same = (outline.ring[chords.first] == outline.ring[tip]) & (outline.ring[chords.second] == outline.ring[tip])
        expected |= same & (arms >= widths._STRAIGHT_ARMS * way) & ~parallel

    assert len(chords.length) > 0
    assert np.array_equal(expected, widths._in_tip(outline, chords, sign))


def test_too_many_corners_near_one_another_are_refused() -> None:
    """A milled edge with 1,500 ridges has nine million pairs of segments and is refused with what to change."""
    with pytest.raises(DrawingError, match="too many corners near one another: simplify it"):
        widths.measure(saw(1500, 0.02), 1e-4)


def test_measures_do_not_depend_on_batch_sizes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small batches of pairs and chords give the same detail as large batches."""
    region = saw(200, 0.5)
    expected = widths.measure(region, 1e-3)
    monkeypatch.setattr(widths, "_MOST_PAIRS", 100)
    monkeypatch.setattr(widths, "_FIRST_BATCH", 3)

    assert expected == widths.measure(region, 1e-3)
