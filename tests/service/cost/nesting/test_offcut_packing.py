from __future__ import annotations

import math
from itertools import combinations

import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from featherline_service.cost.nesting.equal_rectangles import Position
from featherline_service.cost.nesting.offcut_packing import OffcutPacking, Outline, enclosed_area_mm2, pack_offcut
from featherline_service.cost.nesting.rectangles import pack_rectangles

L_SHAPED: Outline = ((0, 0), (200, 0), (200, 60), (80, 60), (80, 150), (0, 150))
SIZES = st.lists(st.tuples(st.floats(8, 90), st.floats(8, 60)), min_size=1, max_size=12)


def box(laid: Position) -> Polygon:
    """Return a laid rectangle as a polygon."""
    return shapely.box(laid.x_mm, laid.y_mm, laid.x_mm + laid.width_mm, laid.y_mm + laid.height_mm)


@st.composite
def outlines(draw: st.DrawFn) -> Outline:
    """Draw a star-shaped outline about the origin: convex or not, never crossing itself."""
    corners = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(30, 120), min_size=corners, max_size=corners))
    return tuple(
        (radius * math.cos(2 * math.pi * at / corners), radius * math.sin(2 * math.pi * at / corners))
        for at, radius in enumerate(radii)
    )


def apart(found: OffcutPacking) -> float:
    """Return the smallest distance between two rectangles, measured by shapely [mm]."""
    pairs = combinations([box(one) for one in found.positions], 2)
    return min((float(shapely.distance(one, other)) for one, other in pairs), default=math.inf)


@settings(max_examples=drawn(40), deadline=None)
@given(outlines(), SIZES, st.floats(0, 5))
def test_rectangles_lie_on_the_film_and_a_gap_apart(
    outline: Outline, sizes: list[tuple[float, float]], gap_mm: float
) -> None:
    """No rectangle is laid twice, crosses the edge of the offcut, or is nearer to another than the gap."""
    found = pack_offcut(sizes, outline, gap_mm=gap_mm, turnable=False)
    film = shapely.buffer(Polygon(outline), 2e-6, join_style="mitre")

    assert len({one.index for one in found.positions}) == len(found.positions)
    assert all(shapely.covers(film, box(one)) for one in found.positions)
    assert apart(found) >= gap_mm - 1e-6
    assert all((one.width_mm, one.height_mm) == sizes[one.index] for one in found.positions)
    assert found.area_mm2 <= enclosed_area_mm2(outline) + 1e-6


@settings(max_examples=drawn(30), deadline=None)
@given(SIZES, st.floats(40, 250), st.floats(40, 250))
def test_pieces_and_remnant_are_no_more_than_the_offcut(
    sizes: list[tuple[float, float]], width: float, height: float
) -> None:
    """The pieces and the remnant together have no more area than the offcut."""
    outline = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    found = pack_offcut(sizes, outline, gap_mm=1.0, turnable=True)
    pieces = sum(one.width_mm * one.height_mm for one in found.positions)

    assert pieces <= found.area_mm2 + 1e-6
    assert pieces + found.left[0] * found.left[1] <= width * height + 1e-6


def test_a_rectangular_outline_holds_as_many_as_the_rectangle() -> None:
    """Six of 30 x 20 mm with gaps of 2 mm on 94 x 42 mm, exactly."""
    outline = ((0.0, 0.0), (94.0, 0.0), (94.0, 42.0), (0.0, 42.0))
    as_rectangle = pack_rectangles([(30.0, 20.0)] * 9, width_mm=94, height_mm=42, gap_mm=2, turnable=False)
    as_outline = pack_offcut([(30.0, 20.0)] * 9, outline, gap_mm=2, turnable=False)

    assert (6, 6) == (len(as_rectangle.positions), len(as_outline.positions))
    assert 94 * 42 == pytest.approx(as_outline.area_mm2)


def test_an_l_holds_its_two_arms() -> None:
    """An L holds one piece in each of its arms."""
    found = pack_offcut([(198, 58), (78, 88)], L_SHAPED, gap_mm=1, turnable=False)

    assert [0, 1] == sorted(one.index for one in found.positions)


def test_a_slanted_offcut_is_turned_upright_unless_the_film_has_a_grain() -> None:
    """A strip at 17 degrees holds two pieces when it may be turned, and none when it may not."""
    angle = math.radians(17)
    strip = ((0, 0), (122, 0), (122, 30), (0, 30))
    askew = tuple(
        (x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle)) for x, y in strip
    )

    assert 2 == len(pack_offcut([(59, 29)] * 2, askew, gap_mm=2, turnable=True).positions)
    assert 0 == len(pack_offcut([(59, 29)] * 2, askew, gap_mm=2, turnable=False).positions)


def test_the_remnant_is_the_largest_free_rectangle() -> None:
    """The upper arm of the L stays free: 80 x 90 mm."""
    found = pack_offcut([(200, 58)], L_SHAPED, gap_mm=2, turnable=False)

    assert (80, 90) == pytest.approx(found.left, abs=2 * 200 / 250)
    assert 200 * 58 == pytest.approx(found.area_mm2)


def test_a_piece_larger_than_the_offcut_is_not_laid() -> None:
    """No piece is laid and no film is taken."""
    found = pack_offcut([(300, 10)], L_SHAPED, gap_mm=0, turnable=True)

    assert ((), 0.0) == (found.positions, found.area_mm2)
