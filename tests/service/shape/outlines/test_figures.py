from __future__ import annotations

import pytest

from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.text_outlines import Typeface


def test_text_is_measured_once_for_all_heights(plain: Typeface) -> None:
    """At twice the height a text has twice the widths and four times the areas."""
    detail = figures.of_text(plain, "MARLOW\n7").detail
    one, two = detail.scaled(0.01), detail.scaled(0.02)

    assert (2 * one.stroke, 2 * one.cut_length, 4 * one.area) == (two.stroke, two.cut_length, two.area)
    assert (one.pieces, one.corners, one.counters) == (two.pieces, two.corners, two.counters)
    assert one.gap is not None
    assert two.gap == pytest.approx(2 * one.gap)


def test_detail_of_a_text_is_that_of_its_whole_region(bold: Typeface) -> None:
    """The detail composed from letters has the area, length, pieces and counters of the text's region."""
    figure = figures.of_text(bold, "ROB\n80", text_outlines.TextSetting(align="left"))
    region = figure.drawn(1)

    assert pytest.approx((region.area, region.length)) == (figure.detail.area, figure.detail.cut_length)
    assert (len(region.geoms), 7) == (figure.detail.pieces, figure.detail.counters)
    assert pytest.approx(min(part.area for part in region.geoms)) == figure.detail.island


@pytest.mark.parametrize("height", [5.0, 50.0, 500.0])
def test_outlines_are_finer_for_larger_artwork(bold: Typeface, height: float) -> None:
    """At any height the outline is within 0.01 mm of a much finer outline."""
    figure = figures.of_text(bold, "SO")
    scale = height / figure.height
    fineness = figure.fineness(scale)

    distance = figure.drawn(fineness).boundary.hausdorff_distance(figure.drawn(fineness + 5).boundary) * scale

    assert distance <= figures.OUTLINE_TOLERANCE_MM
    assert figure.coarsest / 2.0**fineness * scale <= figures.OUTLINE_TOLERANCE_MM


def test_letters_that_touch_at_the_height_asked_for_are_said_to_touch(plain: Typeface) -> None:
    """Letters 0.011 mm apart touch, and the clear gap is that of the rest; ten times larger they do not touch."""
    spacing = -gap_of_touching_letters(plain)
    figure = figures.of_text(plain, "HHO", text_outlines.TextSetting(letter_spacing=spacing))
    scale = 12.0 / plain.capital

    assert figure.detail.gap is not None
    assert 0.011 == pytest.approx(figure.detail.gap * scale, rel=0.02)
    small, large = figures.detail_at(figure, scale), figures.detail_at(figure, 10.0 * scale)
    assert small.touches
    assert all(figure.box[1] * scale <= y <= figure.box[3] * scale for _, y in small.touches)
    assert small.clear_gap is not None
    assert small.clear_gap > 0.3
    assert ((), pytest.approx(0.11, rel=0.02)) == (large.touches, large.clear_gap)


def gap_of_touching_letters(plain: Typeface) -> float:
    """Return by how much less space HH and HO leave 0.011 mm at capitals of 12 mm [capital heights]."""
    figure = figures.of_text(plain, "HH")
    assert figure.detail.gap is not None
    return figure.detail.gap / plain.capital - 0.011 / 12.0


def test_detail_at_a_scale_is_the_scaled_detail_where_nothing_touches(bold: Typeface) -> None:
    """A text with ordinary gaps is not measured again."""
    figure = figures.of_text(bold, "LOT")

    assert figure.detail.scaled(0.01) == figures.detail_at(figure, 0.01)


def test_drawing_has_its_box_and_no_capital() -> None:
    """A drawing's box is that of its filled region; lines without area do not count."""
    figure = figures.of_path("M0 0H60V30H0ZM90 0H99", "nonzero")

    assert (60.0, 30.0, None) == (figure.width, figure.height, figure.capital)


def test_drawing_without_extent_is_refused() -> None:
    """A drawing whose points all coincide is refused."""
    with pytest.raises(DrawingError, match="no area"):
        figures.of_path("M5 5L5 5Z", "nonzero")


def test_artwork_on_both_shoes_is_united_with_its_mirror_image(bold: Typeface) -> None:
    """The region for both shoes is the union of the artwork and its mirror image, with the same box."""
    figure = figures.of_text(bold, "LOT")
    right, left, both = (figures.FittedRegion(figure, 0, sides).region for sides in ("right", "left", "both"))

    assert pytest.approx(right.bounds) == left.bounds == both.bounds
    assert pytest.approx(right.area) == left.area
    assert not right.equals(left)
    assert both.is_valid
    assert pytest.approx(right.union(left).area) == both.area


@pytest.mark.parametrize(
    "data",
    [
        # Lines that lie on one another, but for rounding: no slivers between them.
        "M-.5-20H-19t10 0T0-11",
        "M8 10L-.5 10L10 10V2t-10 0H-20.036h32.098",
        "M.5 .5V.5q10 .5 10 10t0 0",
        # Pieces too small or thin for a point well inside.
        "M.5 5.589C27.986 0 10 .5 .5-13.389s16-25.455 .5 9M-8 .5v0T10-.5",
        "M1 .5t18 10zt-.5 10Zt6.665-.5v-.5L10 7",
    ],
)
def test_crooked_drawings_have_no_slivers(data: str) -> None:
    """Drawings with doubled lines have a few real pieces with a width, and no slivers."""
    figure = figures.of_path(data, "nonzero")

    assert figure.drawn(0).is_valid
    assert figure.detail.pieces <= 3
    assert figure.detail.stroke > 0.0
    assert min(part.area for part in figure.drawn(0).geoms) > 1e-9


def test_lowest_line_of_a_text_has_a_baseline(bold: Typeface) -> None:
    """The baseline is that of the lowest line with ink; drawings and text on an arc have none."""
    setting = text_outlines.TextSetting(line_distance=1.5)
    one, two, spaced = (figures.of_text(bold, text, setting) for text in ("NO", "NO\n7", "NO\n7\n "))

    assert (0.0, -1.5 * bold.capital, -1.5 * bold.capital) == (one.baseline, two.baseline, spaced.baseline)
    assert one.baseline == pytest.approx(figures.of_text(bold, "H").box[1])
    assert figures.of_text(bold, "NO", text_outlines.TextSetting(arc=9.0)).baseline is None
    assert figures.of_path("M0 0H9V9H0Z", "nonzero").baseline is None


def test_both_sides_are_united_by_footprint(bold: Typeface) -> None:
    """The region for both shoes uses the exact, filled or hull footprint that is asked for."""
    figure = figures.of_text(bold, "LO")

    exact, filled, hull = (figures.FittedRegion(figure, 0, "both", kind).region for kind in ("exact", "filled", "hull"))

    assert exact.area < filled.area < hull.area
    assert pytest.approx(exact.bounds) == hull.bounds
