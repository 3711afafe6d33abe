from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon
from shapely.affinity import rotate, scale

from featherline_service.runtime import cache
from featherline_service.shape.outlines import figures, text_outlines, tips
from featherline_service.shape.outlines.text_outlines import Typeface


def area(*polygons: Polygon) -> MultiPolygon:
    """Return polygons as one region."""
    return MultiPolygon(list(polygons))


def test_a_piece_finer_than_the_disc_is_a_tip_as_long_as_itself() -> None:
    """A bar of 0.5 x 12 is removed completely by a disc of 0.8, a bar exactly as wide as the disc is kept."""
    bar = area(rotate(shapely.box(0, 0, 12, 0.5), 30))

    assert pytest.approx(12.0) == tips.tips(bar, 0.8)[0].length
    assert () == tips.tips(area(shapely.box(0, 0, 12, 0.8)), 0.8)


def test_a_counter_finer_than_the_disc_is_a_notch_as_long_as_itself() -> None:
    """A slot of 0.5 x 7 inside a plate is filled completely."""
    plate = area(shapely.box(0, 0, 20, 20).difference(shapely.box(4, 4, 11, 4.5)))

    assert pytest.approx(7.0) == tips.notches(plate, 0.8)[0].length


def curled(gap: float) -> MultiPolygon:
    """Return a disc of radius 5 with a thorn along its edge, a gap away, from a foot at the right over 120 degrees."""
    angle = np.radians(np.linspace(0.0, 120.0, 90))
    width = np.linspace(0.6, 0.0, 90)
    inner, outer = 5.0 + gap, 5.0 + gap + width
    thorn = Polygon(
        [*zip(inner * np.cos(angle), inner * np.sin(angle), strict=True),
         *zip((outer * np.cos(angle))[::-1], (outer * np.sin(angle))[::-1], strict=True)]
    )  # fmt: skip
    foot = shapely.box(4.0, -1.5, 5.0 + gap + 0.6, 0.05)
    return area(shapely.union_all([Point(0, 0).buffer(5.0, 64), foot, thorn.buffer(0)]))


def test_a_tip_that_curls_around_its_own_piece_is_measured_along_itself() -> None:
    """A thorn beside the edge of its own disc is about as long as its arc, though the disc is near its end."""
    arc = math.radians(120.0) * 5.9

    (longest, *_) = tips.tips(curled(0.6), 0.8)

    assert pytest.approx(arc, rel=0.1) == longest.length


def test_notches_behind_a_thin_wall_are_measured_within_themselves() -> None:
    """A slit beside a thin wall is as long as its own axis, though the open side of the wall is nearer to its end."""
    slit = Polygon([(10, 2), (10.25, 20), (9.75, 20)])
    plate = area(shapely.box(0, 0, 10.4, 20).difference(slit))

    (notch, *_) = tips.notches(plate, 0.8)

    # Too narrow for the disc up to its open end, where the disc dips in by half its diameter less what the slit leaves.
    assert (10.0, 2.0) == (notch.x, notch.y)
    assert pytest.approx(18.0, rel=0.03) == notch.length


@settings(max_examples=drawn(25), deadline=None)
@given(angle=st.floats(0, 360), factor=st.floats(0.05, 50.0))
def test_lengths_turn_and_scale_with_the_drawing(angle: float, factor: float) -> None:
    """Lengths do not change with rotation, and are proportional to scale when the disc is scaled as well."""
    region = area(Polygon([(0, 0), (10, -1.5), (14, -6), (14, 6), (10, 1.5)]))
    expected = tips.tips(region, 0.8)

    found = tips.tips(area(*scale(rotate(region, angle), factor, factor).geoms), 0.8 * factor)

    assert pytest.approx([tip.length * factor for tip in expected], rel=1e-3) == [tip.length for tip in found]


def test_a_finer_film_never_has_longer_tips() -> None:
    """The longest tip of a needle shrinks with the disc, and is gone for a disc that fits its end."""
    region = area(Polygon([(0, -0.2), (10, -1.5), (14, -6), (14, 6), (10, 1.5), (0, 0.2)]))

    lengths = [
        max((tip.length for tip in tips.tips(region, diameter) if tip.x < 1.0), default=0.0)
        for diameter in (2.0, 1.0, 0.5, 0.3)
    ]

    assert lengths == sorted(lengths, reverse=True)
    assert 0.0 == lengths[-1]


@pytest.mark.parametrize("setting", [text_outlines.PLAIN, text_outlines.TextSetting(arc=4.0)])
def test_tips_of_a_text_are_those_of_its_region(bold: Typeface, setting: text_outlines.TextSetting) -> None:
    """Tips and notches composed from letters agree with those of the whole region, in place and length."""
    figure = figures.of_text(bold, "K7 MY", setting)
    scale_mm = 8.0 / bold.capital

    found = figures.tips_and_notches(figure, scale_mm, 0.8, 0.8)

    region = figure.region(figure.finest)
    for composed, whole in (
        (found.tips, tips.tips(region, 0.8 / scale_mm)), (found.notches, tips.notches(region, 0.8 / scale_mm)),
    ):  # fmt: skip
        for tip in (tip.scaled(scale_mm) for tip in whole if tip.length * scale_mm > 0.4):
            near = min(composed, key=lambda other: math.hypot(other.x - tip.x, other.y - tip.y))
            assert pytest.approx((tip.x, tip.y, tip.length), rel=0.03, abs=0.02) == (near.x, near.y, near.length)
    assert list(found.notches) == sorted(found.notches, key=lambda notch: -notch.length)


def test_tips_of_letters_are_cached(plain: Typeface) -> None:
    """Letters of another text at the same height and film are not measured again, for tips or for notches."""
    cache.clear()
    for text in ("MARLOW", "WARLORD"):
        figures.tips_and_notches(figures.of_text(plain, text), 0.01, 0.8, 0.8)

    assert 2 * len(set("MARLOWD")) == cache.statistics_of(figures._glyph_tips).computed


def test_tips_of_a_drawing_and_of_bordered_text_are_of_the_whole_region(plain: Typeface) -> None:
    """A drawing has its needle, in millimetres; letters with a border have none of the letters' notches."""
    needle = figures.of_path("M0 0L100 12V60H140V-60H100V-12Z", "nonzero")
    bare, bordered = (figures.of_text(plain, "M", border=border) for border in (0.0, 0.2))

    (tip, *_) = figures.tips_and_notches(needle, 0.1, 0.8, 0.8).tips
    half = math.atan2(12.0, 100.0)

    assert pytest.approx((0.0, 0.4 / math.sin(half) - 0.4), rel=0.02) == (tip.x, tip.length)
    notches = [figures.tips_and_notches(figure, 0.01, 0.8, 0.8).notches for figure in (bare, bordered)]
    assert len(notches[0]) > len(notches[1])
