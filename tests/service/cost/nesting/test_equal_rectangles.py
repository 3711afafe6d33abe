"""Equal rectangles are laid as the packers for any rectangles lay them."""

from __future__ import annotations

import math

import pytest

from featherline_service.cost.nesting import packers
from featherline_service.cost.nesting.equal_rectangles import Position, Size, in_rows, on_shelves
from featherline_service.cost.nesting.packers import row_fill, shelves
from featherline_service.cost.nesting.rectangles import NestingError, nest, nest_extent_mm


@pytest.mark.parametrize("longest_mm", [math.inf, 130.0, 20.0])
@pytest.mark.parametrize("size", [(61.0, 23.0), (7.3, 5.1), (203.0, 90.0), (250.0, 90.0)])
def test_shelves_of_equal_rectangles_are_those_of_any(
    monkeypatch: pytest.MonkeyPatch, size: Size, longest_mm: float
) -> None:
    """As many on each as on the first, up to the end of the strip; none where one is too wide."""
    for count in (1, 7, 60):
        equal = shelves([size] * count, 203.0, longest_mm)
        with monkeypatch.context() as patch:
            patch.setattr(packers, "is_one_size", lambda _sizes: False)
            assert shelves([size] * count, 203.0, longest_mm) == equal


@pytest.mark.parametrize("most_lost_mm2", [0.0, 500.0, math.inf])
def test_rows_stop_when_too_much_is_lost(monkeypatch: pytest.MonkeyPatch, most_lost_mm2: float) -> None:
    """Where the packing of any rectangles stops."""
    ways = [[(61.0, 23.0), (23.0, 61.0)]] * 30
    equal = row_fill(ways, 203.0, most_lost_mm2=most_lost_mm2, largest=False, flatness=0.5)
    monkeypatch.setattr(packers, "are_equal", lambda _ways: False)

    assert row_fill(ways, 203.0, most_lost_mm2=most_lost_mm2, largest=False, flatness=0.5) == equal


def test_a_packing_has_its_count_its_length_and_its_positions() -> None:
    """Three of 40 x 20 mm on 100 mm: two beside one another and one above; without a gap of 2 mm, 38 x 18."""
    packing = on_shelves((40.0, 20.0), 3, 100.0)

    assert (3, 40.0) == (packing.count, packing.length_mm)
    assert (38.0, 78.0, 3 * 38.0 * 18.0) == packing.extent(2.0)
    assert (0.0, 0.0, 0.0) == on_shelves((140.0, 20.0), 3, 100.0).extent(2.0)
    assert [
        Position(0, 0.0, 0.0, 40.0, 20.0),
        Position(1, 40.0, 0.0, 40.0, 20.0),
        Position(2, 0.0, 20.0, 40.0, 20.0),
    ] == packing.positions()


def test_a_row_is_no_longer_than_there_are_rectangles() -> None:
    """However many would go beside one another: the widths of three are added, not of 20,000."""
    packing = in_rows([(0.01, 5.0)], 3, 203.0, largest=True, flatness=0.1)

    assert [3] == [len(row.indices) for row in packing.rows]


@pytest.mark.parametrize("count", [0, 1, 24, 90])
@pytest.mark.parametrize("others", [[], [(50.0, 20.0)]])
def test_the_extent_is_that_of_the_nest(count: int, others: list[Size]) -> None:
    """Of few rectangles, which are narrowed, and of many, which are not; of equal ones and of any."""
    sizes = [(61.0, 23.0)] * count + others
    found = nest(sizes, strip_mm=300.0, gap_mm=2.0, turnable=True)

    assert (found.length_mm, found.width_mm) == nest_extent_mm(sizes, strip_mm=300.0, gap_mm=2.0, turnable=True)


def test_an_extent_needs_rectangles_that_go_on_the_strip() -> None:
    """The first one that does not is named."""
    with pytest.raises(NestingError) as caught:
        nest_extent_mm([(10.0, 5.0), (120.0, 20.0), (120.0, 20.0)], strip_mm=100.0, gap_mm=0.0, turnable=False)
    assert caught.value.index == 1
