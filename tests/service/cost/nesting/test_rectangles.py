from __future__ import annotations

from itertools import combinations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.cost.nesting.packers import best_fit, rows, shelves
from featherline_service.cost.nesting.rectangles import Nest, NestingError, fill, nest

SIDES = st.one_of(st.floats(0.5, 99), st.integers(1, 99).map(float), st.sampled_from([10.0, 20.0, 22.0, 60.0]))
SIZES = st.lists(st.tuples(SIDES, SIDES), min_size=1, max_size=40)
GAPS = st.sampled_from([0.0, 0.1, 2.0, 5.0])


def check(found: Nest, sizes: list[tuple[float, float]], gap: float, *, turnable: bool) -> None:
    """Check a nest by distances between polygons, which know nothing of how it was made."""
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


@settings(max_examples=200)
@given(SIZES, GAPS, st.booleans())
def test_a_nest_holds_every_rectangle_once_apart_and_on_the_strip(
    sizes: list[tuple[float, float]], gap: float, turnable: bool
) -> None:
    """All rectangles lie on the strip, in an orientation they may have, and a gap from one another."""
    found = nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)

    assert list(range(len(sizes))) == [one.index for one in found.positions]
    check(found, sizes, gap, turnable=turnable)
    assert max(one.x_mm + one.width_mm for one in found.positions) == pytest.approx(found.width_mm)
    assert max(one.y_mm + one.height_mm for one in found.positions) == pytest.approx(found.length_mm)
    assert found.width_mm <= 100 + 1e-6
    assert found.area_mm2 >= sum(width * height for width, height in sizes) * (1 - 1e-9)


@given(SIZES, GAPS)
def test_a_nest_is_never_longer_than_shelves(sizes: list[tuple[float, float]], gap: float) -> None:
    """The best of several packers is at least as good as the simplest of them."""
    grown = [(max(size) + gap, min(size) + gap) for size in sizes]
    simple = shelves(grown, 100 + gap)
    longest = max(one.y_mm + one.height_mm for one in simple) - gap

    assert nest(sizes, strip_mm=100, gap_mm=gap, turnable=True).length_mm <= longest + 1e-6


@given(SIZES, GAPS, st.booleans())
def test_nesting_is_deterministic(sizes: list[tuple[float, float]], gap: float, turnable: bool) -> None:
    """The same rectangles in the same order lie the same."""
    first = nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)

    assert first == nest(sizes, strip_mm=100, gap_mm=gap, turnable=turnable)


@settings(max_examples=100)
@given(SIZES, GAPS, st.booleans(), st.floats(10, 150), st.floats(10, 150))
def test_an_offcut_holds_what_is_laid_on_it(
    sizes: list[tuple[float, float]], gap: float, turnable: bool, width: float, height: float
) -> None:
    """No rectangle twice, all apart and on the offcut."""
    found = fill(sizes, width_mm=width, height_mm=height, gap_mm=gap, turnable=turnable)

    indices = [one.index for one in found.positions]
    assert len(indices) == len(set(indices))
    check(found, sizes, gap, turnable=turnable)
    assert found.width_mm <= width + 1e-6
    assert found.length_mm <= height + 1e-6


@given(st.tuples(SIDES, SIDES), st.floats(10, 150), st.floats(10, 150))
def test_an_offcut_takes_a_rectangle_that_fits_it(size: tuple[float, float], width: float, height: float) -> None:
    """A single rectangle is laid wherever it fits, turned if need be, and nowhere else."""
    fits = (size[0] <= width and size[1] <= height) or (size[1] <= width and size[0] <= height)
    found = fill([size], width_mm=width, height_mm=height, gap_mm=3, turnable=True)

    assert (1 if fits else 0) == len(found.positions)


def test_a_short_run_takes_no_more_of_the_width_than_it_needs() -> None:
    """Ten pieces in two rows of five, not seven and three: the same length, less of the width."""
    found = nest([(64, 28)] * 10, strip_mm=500, gap_mm=2, turnable=True)

    assert (58, 5 * 64 + 4 * 2) == (found.length_mm, found.width_mm)


def test_a_rectangle_too_wide_is_turned_where_it_may_be() -> None:
    """A piece longer than the strip is wide lies along it; where it may not be turned, it is refused by its place."""
    assert nest([(10, 5), (120, 20)], strip_mm=100, gap_mm=0, turnable=True).length_mm == 120
    with pytest.raises(NestingError, match="smaller or narrower") as caught:
        nest([(10, 5), (120, 20)], strip_mm=100, gap_mm=0, turnable=False)
    assert caught.value.index == 1


def test_nothing_takes_no_film() -> None:
    """No rectangles, no length."""
    assert Nest(positions=(), length_mm=0, width_mm=0) == nest([], strip_mm=100, gap_mm=2, turnable=True)


def test_rows_are_filled_to_the_last_grid_step() -> None:
    """Widths that only together make up the strip are found: 53 + 29 + 18 in one row of 100, and not 53 + 41."""
    ways = [[(float(width), 10.0)] for width in (53, 41, 29, 18, 11, 48)]
    found = rows(ways, 100, largest=True, flatness=0.3)

    assert max(one.y_mm + one.height_mm for one in found) == 20
    assert sum(one.width_mm for one in found if one.y_mm == 0) == 100


@given(SIZES, st.booleans())
def test_every_packer_lays_everything_on_an_endless_strip(sizes: list[tuple[float, float]], at_taller: bool) -> None:
    """No packer forgets a rectangle."""
    ways = [[size, size[::-1]] for size in sizes]

    assert len(sizes) == len(shelves(sizes, 100))
    assert len(sizes) == len(best_fit(ways, 100, at_taller=at_taller))
    assert len(sizes) == len(rows(ways, 100, largest=False, flatness=1.0))
