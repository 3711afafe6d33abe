from __future__ import annotations

import math
from itertools import combinations

import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.cost.nesting import rectangles
from featherline_service.cost.nesting.packers import best_fit, row_fill, shelves
from featherline_service.cost.nesting.rectangles import Nest, NestingError, nest, pack_rectangles

SIDES = st.one_of(st.floats(0.5, 99), st.integers(1, 99).map(float), st.sampled_from([10.0, 20.0, 22.0, 60.0]))
SIZES = st.lists(st.tuples(SIDES, SIDES), min_size=1, max_size=40)
GAPS = st.sampled_from([0.0, 0.1, 2.0, 5.0])


def check(found: Nest, sizes: list[tuple[float, float]], gap: float, *, turnable: bool) -> None:
    """Check sizes, distances and overlaps of a nest with shapely."""
    boxes = [
        shapely.box(one.x_mm, one.y_mm, one.x_mm + one.width_mm, one.y_mm + one.height_mm) for one in found.positions
    ]
    for first, second in combinations(boxes, 2):
        assert shapely.distance(first, second) >= gap - 1e-7
        assert shapely.area(shapely.intersection(first, second)) <= 1e-7
    for one in found.positions:
        given_size = sizes[one.index]
        lies = pytest.approx((one.width_mm, one.height_mm), rel=1e-9)
        assert given_size == lies or (turnable and given_size[::-1] == lies)
        assert one.x_mm >= 0
        assert one.y_mm >= 0


@settings(max_examples=drawn(200))
@given(SIZES, GAPS, st.booleans())
def test_a_nest_holds_every_rectangle_once_apart_and_on_the_strip(
    sizes: list[tuple[float, float]], gap: float, turnable: bool
) -> None:
    """All rectangles lie on the strip once, in an allowed orientation, a gap from one another."""
    found = nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)

    assert list(range(len(sizes))) == [one.index for one in found.positions]
    check(found, sizes, gap, turnable=turnable)
    assert max(one.x_mm + one.width_mm for one in found.positions) == pytest.approx(found.width_mm)
    assert max(one.y_mm + one.height_mm for one in found.positions) == pytest.approx(found.length_mm)
    assert found.width_mm <= 100 + 1e-6
    assert found.area_mm2 >= sum(width * height for width, height in sizes) * (1 - 1e-9)


@given(SIZES, GAPS)
def test_a_nest_is_never_longer_than_shelves(sizes: list[tuple[float, float]], gap: float) -> None:
    """A nest is no longer than a shelf packing."""
    grown = [(max(size) + gap, min(size) + gap) for size in sizes]
    simple = shelves(grown, 100 + gap)
    longest = max(one.y_mm + one.height_mm for one in simple) - gap

    assert nest(sizes, strip_mm=100, gap_mm=gap, turnable=True).length_mm <= longest + 1e-6


@given(SIZES, GAPS, st.booleans())
def test_nesting_is_deterministic(sizes: list[tuple[float, float]], gap: float, turnable: bool) -> None:
    """The same rectangles in the same order give the same nest."""
    first = nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)

    assert first == nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)


@settings(max_examples=drawn(100))
@given(SIZES, GAPS, st.booleans(), st.floats(10, 150), st.floats(10, 150))
def test_a_packing_of_an_offcut_is_valid(
    sizes: list[tuple[float, float]], gap: float, turnable: bool, width: float, height: float
) -> None:
    """No rectangle is laid twice, and all lie on the offcut, a gap apart."""
    found = pack_rectangles(sizes, width_mm=width, height_mm=height, gap_mm=gap, turnable=turnable)

    indices = [one.index for one in found.positions]
    assert len(indices) == len(set(indices))
    check(found, sizes, gap, turnable=turnable)
    assert found.width_mm <= width + 1e-6
    assert found.length_mm <= height + 1e-6


@given(st.tuples(SIDES, SIDES), st.floats(10, 150), st.floats(10, 150))
def test_an_offcut_takes_a_rectangle_that_fits_it(size: tuple[float, float], width: float, height: float) -> None:
    """A single rectangle is laid exactly when it fits in one of its orientations."""
    fits = (size[0] <= width and size[1] <= height) or (size[1] <= width and size[0] <= height)
    found = pack_rectangles([size], width_mm=width, height_mm=height, gap_mm=3, turnable=True)

    assert (1 if fits else 0) == len(found.positions)


@given(st.tuples(SIDES, SIDES), st.integers(1, 40), GAPS, st.booleans(), st.floats(10, 150), st.floats(10, 150))
def test_an_offcut_is_left_once_no_packer_would_do_better(  # noqa: PLR0917 - drawn by position
    size: tuple[float, float], count: int, gap: float, turnable: bool, width: float, height: float
) -> None:
    """Of equal rectangles the packing is as if every packer had tried, no bound being known."""
    room = {"width_mm": width, "height_mm": height, "gap_mm": gap, "turnable": turnable}
    bounded = pack_rectangles([size] * count, **room)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rectangles, "_bounds", lambda grown, *_: (len(grown), 0.0))
        tried = pack_rectangles([size] * count, **room)

    assert (len(tried.positions), pytest.approx(tried.area_mm2)) == (len(bounded.positions), bounded.area_mm2)


@pytest.mark.parametrize(
    ("size", "turnable", "bounds"),
    [
        ((32.0, 21.0), False, (6, 63.0 * 62.0)),  # two beside one another, in three rows
        ((32.0, 21.0), True, (6, 63.0 * 62.0)),  # of nine squares of 21 mm the area holds no more than six
        ((22.0, 21.0), True, (8, 62.0 * 62.0)),  # nine are larger than the offcut
    ],
)
def test_equal_rectangles_on_an_offcut_have_bounds(
    size: tuple[float, float], turnable: bool, bounds: tuple[int, float]
) -> None:
    """How many go on 65 x 63 mm by a grid and by area, and the least area, by sums of their sides; a gap is 1 mm."""
    assert bounds == rectangles._bounds([size] * 12, 65.0, 63.0, 1.0, turnable)
    assert (2, 0.0) == rectangles._bounds([size, (9.0, 9.0)], 65.0, 63.0, 1.0, turnable)


def test_a_short_run_is_narrowed() -> None:
    """Ten pieces lie in two rows of five, not seven and three: the same length, less width."""
    found = nest([(64, 28)] * 10, strip_mm=500, gap_mm=2, turnable=True)

    assert (58, 5 * 64 + 4 * 2) == (found.length_mm, found.width_mm)


EQUAL_SIZES = st.builds(lambda size, count: [size] * count, st.tuples(SIDES, SIDES), st.integers(1, 40))


@given(st.one_of(SIZES, EQUAL_SIZES), GAPS, st.booleans())
def test_bounds_leave_out_only_what_packers_would_not_improve(
    sizes: list[tuple[float, float]], gap: float, turnable: bool
) -> None:
    """A nest is the same where every packer has tried every width, and no length is known to be the least."""
    bounded = nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rectangles, "_least_width", lambda _ways, _length_mm: 0.0)
        patch.setattr(rectangles, "_least_length", lambda _grown, _strip_mm, _turnable: 0.0)
        tried = nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)

    assert tried == bounded


@pytest.mark.parametrize(
    ("heights", "length", "least"),
    [((60.0, 51.0), 100.0, 60.0), ((50.0, 50.0), 100.0, 30.0), ((40.0, 40.0, 40.0), 100.0, 45.0)],
)
def test_rectangles_that_cannot_be_stacked_lie_side_by_side(
    heights: tuple[float, ...], length: float, least: float
) -> None:
    """Of rectangles 30 mm wide, two of half the length are stacked, of more none is; above a third of it, two are."""
    found = rectangles._least_width([[(30.0, height)] for height in heights], length)

    assert least == pytest.approx(found)


@pytest.mark.parametrize(
    ("count", "turnable", "least"),
    [(5, False, 60.0), (5, True, 45.0), (4, True, 40.0), (4, False, 40.0), (1, True, 20.0)],
)
def test_equal_rectangles_end_at_sums_of_their_sides(count: int, turnable: bool, least: float) -> None:
    """Of rectangles of 45 x 20 mm two lie side by side on 100 mm; turned, five stand."""
    found = rectangles._least_length([(45.0, 20.0)] * count, 100.0, turnable)

    assert least == pytest.approx(found)


def test_a_rectangle_too_wide_is_turned_where_allowed() -> None:
    """A piece longer than the width of the strip lies along it; where turning is not allowed, its index is named."""
    assert nest([(10, 5), (120, 20)], strip_mm=100, gap_mm=0, turnable=True).length_mm == 120
    with pytest.raises(NestingError, match="smaller or narrower") as caught:
        nest([(10, 5), (120, 20)], strip_mm=100, gap_mm=0, turnable=False)
    assert caught.value.index == 1


def test_no_rectangles_take_no_film() -> None:
    """The nest of no rectangles has no length and no width."""
    assert Nest(positions=(), length_mm=0, width_mm=0) == nest([], strip_mm=100, gap_mm=2, turnable=True)


def test_rows_are_filled_exactly() -> None:
    """Of the widths, 53 + 29 + 18 fill a row of 100 exactly, better than 53 + 41."""
    ways = [[(float(width), 10.0)] for width in (53, 41, 29, 18, 11, 48)]
    found = row_fill(ways, 100, largest=True, flatness=0.3)

    assert max(one.y_mm + one.height_mm for one in found) == 20
    assert sum(one.width_mm for one in found if one.y_mm == 0) == 100


@given(SIZES, st.booleans())
def test_every_packer_lays_everything_on_an_endless_strip(sizes: list[tuple[float, float]], at_taller: bool) -> None:
    """Every packer lays all rectangles."""
    ways = [[size, size[::-1]] for size in sizes]

    assert len(sizes) == len(shelves(sizes, 100))
    assert len(sizes) == len(best_fit(ways, 100, at_taller=at_taller))
    assert len(sizes) == len(row_fill(ways, 100, largest=False, flatness=1.0))


@pytest.mark.parametrize(
    ("size", "turnable"), [((0.001, 0.001), False), ((1e10, 2.5e-8), True), ((0.001, 1e-9), False)]
)
def test_a_bound_takes_as_many_steps_as_there_are_pieces(
    monkeypatch: pytest.MonkeyPatch, size: tuple[float, float], turnable: bool
) -> None:
    """However many pieces would lie across the strip of 600 mm, or along it: three for two of either."""
    steps: list[float] = []

    def counted(value: float) -> int:
        steps.append(value)
        return math.floor(value)

    monkeypatch.setattr(rectangles, "floor", counted)
    monkeypatch.setattr(rectangles, "ceil", counted)
    rectangles._least_length([size] * 2, 600.0, turnable=turnable)

    assert len(steps) <= 6
