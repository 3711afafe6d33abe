"""Tips and notches against an independent opening and the closed form of a wedge.

Sources: openings and closings, J. Serra, *Image Analysis and Mathematical Morphology*, Academic Press 1982, chapter II
(from memory). An opening by a disc of radius r rounds a wedge of opening angle a: the disc that touches both sides has
its centre at r / sin(a / 2) from the vertex, so a tip of r / sin(a / 2) - r is removed (elementary geometry).

The independent opening is an erosion and a dilation with arcs of 256 chords to a quarter circle. The length of a tip is
the length of what it removes along the tip's axis, which the construction of the drawing gives.
"""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.affinity import rotate

from featherline_service.shape.outlines import tips, widths

TABLE = runpy.run_path(str(Path(__file__).with_name("letter_tips.py")))
FAR = 100.0
End = tuple[float, float]


def area(*polygons: Polygon) -> MultiPolygon:
    """Return polygons as one region."""
    return MultiPolygon(list(polygons))


def removed(region: MultiPolygon, diameter: float, *, closing: bool) -> shapely.Geometry:
    """Return what an opening removes from a region, or what a closing adds to it."""
    radius = diameter / 2.0 * (-1.0 if closing else 1.0)
    result = shapely.buffer(shapely.buffer(region, -radius, quad_segs=256), radius, quad_segs=256)
    return shapely.difference(result, region) if closing else shapely.difference(region, result)


def along(part: shapely.Geometry, end: End, towards: End) -> float:
    """Return the length of a part along the axis from its end."""
    axis = LineString([end, (end[0] + FAR * towards[0], end[1] + FAR * towards[1])])
    pieces = shapely.get_parts(shapely.intersection(axis, part))
    lengths = [piece.length for piece in pieces if shapely.distance(piece, Point(end)) < 1e-6]
    return max(lengths, default=0.0)


def needle() -> tuple[MultiPolygon, list[tuple[End, End]]]:
    """Return a body with a needle of 15 mm that is 1.4 mm wide at its root: an angle of 5.3 degrees."""
    return area(Polygon([(0, -5), (10, -5), (10, -0.7), (25, 0), (10, 0.7), (10, 5), (0, 5)])), [((25, 0), (-1, 0))]


def hair() -> tuple[MultiPolygon, list[tuple[End, End]]]:
    """Return a body with a hair of 8 mm that is 0.3 mm wide and has a round end."""
    body = shapely.union_all([shapely.box(0, -5, 10, 5), LineString([(5, 0), (17.85, 0)]).buffer(0.15, 64)])
    return area(body), [((18, 0), (-1, 0))]


def v_notch() -> tuple[MultiPolygon, list[tuple[End, End]]]:
    """Return a square with a V-shaped notch of 10 degrees."""
    half = 16.0 * math.tan(math.radians(5.0))
    return area(Polygon([(0, 0), (20, 0), (20, 20), (10 + half, 20), (10, 4), (10 - half, 20), (0, 20)])), [
        ((10, 4), (0, 1))
    ]


def star() -> tuple[MultiPolygon, list[tuple[End, End]]]:
    """Return a star of twelve spikes."""
    angle = math.pi * np.arange(24) / 12.0
    radius = np.where(np.arange(24) % 2, 5.0, 12.0)
    points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    ends = [((x, y), (-x / 12.0, -y / 12.0)) for x, y in points[::2].tolist()]
    return area(Polygon(points)), ends


def bow_tie() -> tuple[MultiPolygon, list[tuple[End, End]]]:
    """Return two triangles that meet in a point, with an angle of 40 degrees there."""
    half = 10.0 * math.tan(math.radians(20.0))
    left, right = Polygon([(0, 0), (-10, half), (-10, -half)]), Polygon([(0, 0), (10, -half), (10, half)])
    return area(left, right), [((0, 0), (1, 0)), ((0, 0), (-1, 0))]


def saw() -> tuple[MultiPolygon, list[tuple[End, End]]]:
    """Return a bar with nine teeth of 5 mm at a pitch of 2 mm: angles of 22.6 degrees."""
    teeth = [(x, y) for k in range(9) for x, y in ((1.0 + 2.0 * k, 5.0), (2.0 + 2.0 * k, 0.0))]
    points = [(0.0, 0.0), *teeth, (18.0, -6.0), (0.0, -6.0)]
    return area(Polygon(points)), [((x, y), (0, -1)) for x, y in teeth if y]


SHAPES = {"needle": needle, "hair": hair, "star": star, "bow-tie": bow_tie, "saw": saw}


@pytest.mark.parametrize("diameter", [0.5, 0.8, 1.2])
@pytest.mark.parametrize("turn", [0.0, 33.0, 211.7])
@pytest.mark.parametrize("name", SHAPES)
def test_tips_are_as_long_as_an_independent_opening_removes(name: str, turn: float, diameter: float) -> None:
    """Tips lie at the ends of the drawing's tips, and their lengths are within 5 % of the independent opening's."""
    region, ends = SHAPES[name]()
    cut = removed(region, diameter, closing=False)
    expected = [along(cut, end, towards) for end, towards in ends]
    turned = rotate(region, turn, origin=(0, 0))
    found = [tip for tip in tips.tips(turned, diameter) if tip.length > 0.5 * min(expected)]

    assert len({end for end, _ in ends}) == len([tip for tip in found if tip.length > 0.9 * min(expected)])
    for (end, _), length in zip(ends, expected, strict=True):
        at = rotate(Point(end), turn, origin=(0, 0))
        tip = min(found, key=lambda tip: math.hypot(tip.x - at.x, tip.y - at.y))
        assert pytest.approx((at.x, at.y), abs=0.02 * diameter + 1e-6) == (tip.x, tip.y)
        assert pytest.approx(length, rel=0.05) == tip.length


@pytest.mark.parametrize("diameter", [0.5, 0.8, 1.2])
@pytest.mark.parametrize("name", ["v-notch", "needle", "star", "saw"])
def test_notches_are_as_long_as_an_independent_closing_fills(name: str, diameter: float) -> None:
    """The notches of a square, and of plates around shapes with tips, are within 5 % of the independent closing's."""
    if name == "v-notch":
        region, ends = v_notch()
    else:
        drawn, ends = SHAPES[name]()
        region = area(shapely.difference(shapely.buffer(shapely.envelope(drawn), 10.0), drawn))
    filled = removed(region, diameter, closing=True)
    expected = [along(filled, end, towards) for end, towards in ends]

    found = tips.notches(region, diameter)

    for (end, _), length in zip(ends, expected, strict=True):
        notch = min(found, key=lambda notch: math.hypot(notch.x - end[0], notch.y - end[1]))
        assert pytest.approx(end, abs=1e-6) == (notch.x, notch.y)
        assert pytest.approx(length, rel=0.05) == notch.length


@pytest.mark.parametrize("angle", [4.0, 10.0, 23.0, 36.0, 60.0])
def test_a_wedge_loses_the_closed_form(angle: float) -> None:
    """A wedge of opening angle a loses r / sin(a / 2) - r, to 1 %, and a notch of the same angle gains it."""
    half = math.radians(angle) / 2.0
    wedge = area(Polygon([(0, 0), (30, -30 * math.tan(half)), (30, 30 * math.tan(half))]))
    plate = area(shapely.difference(shapely.box(-5, -40, 30, 40), wedge))
    length = 0.4 / math.sin(half) - 0.4

    tip = min(tips.tips(wedge, 0.8), key=lambda tip: abs(tip.x))
    notch = min(tips.notches(plate, 0.8), key=lambda notch: abs(notch.x))

    assert pytest.approx((length, length), rel=0.011) == (tip.length, notch.length)


def test_a_right_angle_is_no_tip() -> None:
    """A right angle loses r (sqrt 2 - 1), a fifth of the diameter, and is not reported."""
    assert () == tips.tips(area(shapely.box(0, 0, 10, 10)), 1.0)


def test_parts_that_meet_in_a_point_are_seen() -> None:
    """The triangles of a bow-tie touch where they meet, and each has its tip there."""
    region, _ = bow_tie()

    assert ((0.0, 0.0),) == widths.measure(region, 1e-4).touches
    assert (0.0, 0.0) == (tips.tips(region, 0.8)[0].x, tips.tips(region, 0.8)[0].y)


@pytest.mark.slow
def test_the_page_of_letters_is_what_the_script_writes() -> None:
    """The table that is published is the one that is computed."""
    page = Path(__file__).parents[2] / "service" / "letters.md"

    assert TABLE["page"]() + "\n" == page.read_text(encoding="utf-8")


def test_letters_and_digits_of_both_fonts_pass_where_they_are_cut_today() -> None:
    """At the heights from which the demo films take them, no letter or digit has a tip or notch beyond the limits."""
    rows = TABLE["rows"]()

    assert 2 * 62 == len(rows)
    assert [] == [row for row in rows if row.tip > tips.LONGEST_TIP or row.notch > tips.LONGEST_NOTCH]
    # The limits are not far from what letters need.
    assert max(row.notch for row in rows) > 0.75 * tips.LONGEST_NOTCH
