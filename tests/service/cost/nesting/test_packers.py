from __future__ import annotations

import functools
import math

import pytest

from featherline_service.cost.nesting import packers
from featherline_service.cost.nesting.equal_rectangles import Position, Size
from featherline_service.cost.nesting.packers import best_fit, row_fill, shelves


def laid(positions: list[Position]) -> list[tuple[int, float, float, float, float]]:
    """Return index, place and size of every rectangle, in the order in which they were laid."""
    return [(one.index, one.x_mm, one.y_mm, one.width_mm, one.height_mm) for one in positions]


def ways(*sizes: Size) -> list[list[Size]]:
    """Return rectangles that are not turned."""
    return [[size] for size in sizes]


def test_shelves_take_the_tallest_first_and_the_fullest_shelf() -> None:
    """A rectangle goes on the fullest shelf with room for it, however low it is; of equals the wider comes first."""
    sizes = [(40.0, 10.0), (60.0, 30.0), (50.0, 20.0), (30.0, 20.0), (50.0, 10.0)]

    assert [
        (1, 0.0, 0.0, 60.0, 30.0),
        (2, 0.0, 30.0, 50.0, 20.0),
        (3, 60.0, 0.0, 30.0, 20.0),
        (4, 50.0, 30.0, 50.0, 10.0),
        (0, 0.0, 50.0, 40.0, 10.0),
    ] == laid(shelves(sizes, 100.0))


def test_shelves_stop_at_the_end_of_a_strip_and_leave_out_what_is_too_wide() -> None:
    """A shelf that ends with the strip is still laid, rounding errors apart."""
    sizes = [(100.0, 30.0), (100.0, 20.0), (100.1, 5.0), (100.0, 1.0)]

    assert [0, 1] == [one.index for one in shelves(sizes, 100.0, 50.0 - 1e-10)]
    assert [0, 3] == [one.index for one in shelves(sizes, 100.0, 49.9)]
    assert [0, 1, 3] == [one.index for one in shelves(sizes, 100.0 - 1e-10)]


def test_best_fit_lays_the_widest_that_fits_on_the_lowest_segment() -> None:
    """It is laid against the taller neighbour, or against the lower."""
    sizes = ways((60.0, 30.0), (40.0, 10.0), (25.0, 5.0))

    assert [(0, 0.0, 0.0, 60.0, 30.0), (1, 60.0, 0.0, 40.0, 10.0), (2, 75.0, 10.0, 25.0, 5.0)] == laid(
        best_fit(sizes, 100.0, at_taller=True)
    )
    assert [(0, 40.0, 0.0, 60.0, 30.0), (1, 0.0, 0.0, 40.0, 10.0), (2, 15.0, 10.0, 25.0, 5.0)] == laid(
        best_fit(sizes, 100.0, at_taller=False)
    )


def test_best_fit_turns_a_rectangle_once() -> None:
    """In the orientation that is wider and fits; it is laid only once."""
    assert [(0, 0.0, 0.0, 90.0, 20.0)] == laid(best_fit([[(20.0, 90.0), (90.0, 20.0)]], 100.0, at_taller=True))
    assert [(0, 0.0, 0.0, 20.0, 90.0)] == laid(best_fit([[(20.0, 90.0), (90.0, 20.0)]], 80.0, at_taller=True))


@pytest.mark.parametrize(("longest_mm", "count"), [(30.0 - 1e-10, 3), (29.9, 2), (20.0, 2), (9.9, 0)])
def test_best_fit_keeps_to_the_length_of_a_strip(longest_mm: float, count: int) -> None:
    """What finds no room is left out."""
    sizes = ways(*[(100.0, 10.0)] * 3)

    assert count == len(best_fit(sizes, 100.0, longest_mm, at_taller=True))


def test_packing_stops_when_too_much_is_lost() -> None:
    """Two blocks of 60 mm leave 40 mm beside the first, which is lost when the second is laid on top."""
    sizes = ways((60.0, 10.0), (60.0, 10.0), (60.0, 10.0))

    assert 3 == len(best_fit(sizes, 100.0, at_taller=True))
    for most, count in ((400.0, 1), (400.1, 2), (800.0, 2), (800.1, 3)):
        assert count == len(best_fit(sizes, 100.0, most_lost_mm2=most, at_taller=True))
        rows = row_fill(sizes, 100.0, most_lost_mm2=most, largest=True, flatness=0.0)
        assert count == len(rows)


def test_a_row_is_the_subset_that_fills_the_strip_best() -> None:
    """Of widths 60, 50, 30 and 20 mm two subsets fill 100 mm or 90 mm: 50, 30 and 20 are all of it."""
    sizes = ways((60.0, 10.0), (50.0, 10.0), (30.0, 10.0), (20.0, 10.0))
    rows = row_fill(sizes, 100.0, largest=True, flatness=0.0)
    first = [one for one in rows if one.y_mm == 0.0]

    assert {1, 2, 3} == {one.index for one in first}
    assert [0.0, 100.0] == [min(one.x_mm for one in first), max(one.x_mm + one.width_mm for one in first)]
    assert [(0, 0.0, 10.0)] == [(one.index, one.x_mm, one.y_mm) for one in rows if one.y_mm > 0.0]


def test_rectangles_of_about_one_height_share_a_row() -> None:
    """Those of 97 % of the tallest or more do; lower ones make rows of their own."""
    near = row_fill(ways((50.0, 100.0), (50.0, 97.0)), 100.0, largest=True, flatness=0.0)
    far = row_fill(ways((50.0, 100.0), (30.0, 96.9), (20.0, 96.9)), 100.0, largest=False, flatness=0.0)

    assert [0.0, 0.0] == [one.y_mm for one in near]
    assert {0.0} == {one.y_mm for one in far}
    assert [0, 1, 2] == sorted(one.index for one in far)


def test_rows_compete_by_area_or_by_what_they_leave_unfilled() -> None:
    """A tall row that fills half the strip has the larger area; a low one that fills all of it leaves nothing."""
    sizes = ways((50.0, 40.0), (100.0, 10.0))

    assert 0 == row_fill(sizes, 100.0, largest=True, flatness=0.0)[0].index
    assert 1 == row_fill(sizes, 100.0, largest=False, flatness=0.0)[0].index


def test_flatness_prefers_the_row_that_stands_out_less() -> None:
    """With a penalty of 1 for each millimetre the low row comes before the tall one of larger area."""
    sizes = ways((90.0, 40.0), (100.0, 10.0))

    assert 0 == row_fill(sizes, 100.0, largest=True, flatness=0.0)[0].index
    assert 1 == row_fill(sizes, 100.0, largest=True, flatness=1.0)[0].index


def test_the_same_rectangle_is_not_twice_in_a_row() -> None:
    """In both orientations it is one; a square that is turned stays what it is."""
    rows = row_fill([[(40.0, 39.5), (39.5, 40.0)], [(20.0, 40.0)]], 100.0, largest=True, flatness=0.0)

    assert [0, 1] == sorted(one.index for one in rows)
    assert 2 == len(rows)


@pytest.mark.parametrize(("longest_mm", "count"), [(20.0 - 1e-10, 4), (19.9, 2), (9.9, 0), (math.inf, 4)])
def test_rows_keep_to_the_length_of_a_strip(longest_mm: float, count: int) -> None:
    """What finds no room is left out."""
    assert count == len(row_fill(ways(*[(50.0, 10.0)] * 4), 100.0, longest_mm, largest=True, flatness=0.0))


def test_a_row_never_exceeds_the_strip() -> None:
    """Widths are rounded on the grid: two of 50.01 mm look as wide as 100 mm, and are wider."""
    rows = row_fill(ways((50.01, 10.0), (50.01, 10.0)), 100.0, largest=True, flatness=0.0)

    assert [0.0, 10.0] == sorted(one.y_mm for one in rows)


def test_the_end_is_laid_flat_where_that_is_asked() -> None:
    """From seven tenths of the rectangles on, by area and with a little flatness."""
    sizes = ways(*[(100.0, 10.0)] * 8, (50.0, 40.0), (100.0, 10.0))
    plain = row_fill(sizes, 100.0, largest=False, flatness=0.0)
    flat = row_fill(sizes, 100.0, largest=False, flatness=0.0, flat_end=True)

    assert 9 == [one.index for one in plain].index(8)
    assert 8 == [one.index for one in flat].index(8)


@pytest.mark.parametrize("longest_mm", [math.inf, 130.0])
@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("size", [(61.0, 23.0), (40.0, 39.0), (30.0, 30.0), (7.3, 5.1), (250.0, 90.0)])
def test_equal_rectangles_lie_as_any_others(
    monkeypatch: pytest.MonkeyPatch, size: Size, turned: bool, longest_mm: float
) -> None:
    """Counted by the room for them, they lie where rows chosen among all candidates put them."""
    for count in (0, 1, 7, 24, 60):
        rectangles = [[size, size[::-1]] if turned else [size]] * count
        for largest, flatness, flat_end in ((True, 0.1, False), (False, 0.5, True), (False, 0.0, False)):
            fill = functools.partial(
                row_fill, rectangles, 203.0, longest_mm, largest=largest, flatness=flatness, flat_end=flat_end
            )
            equal = laid(fill())
            with monkeypatch.context() as patched:
                patched.setattr(packers, "are_equal", lambda _ways: False)
                assert laid(fill()) == equal
