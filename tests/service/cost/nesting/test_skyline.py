from __future__ import annotations

import math

import pytest

from featherline_service.cost.nesting.skyline import Skyline


def segments(line: Skyline) -> list[tuple[float, float, float]]:
    """Return left end, height and width of each segment."""
    return list(zip(line.x_mm, line.y_mm, line.width_mm, strict=True))


def test_an_empty_strip_is_one_segment_between_its_sides() -> None:
    """They are infinitely high."""
    line = Skyline(100.0)

    assert [(0.0, 0.0, 100.0)] == segments(line)
    assert (0, (math.inf, math.inf), 0.0) == (line.lowest(), line.walls(0), line.lost_mm2)


@pytest.mark.parametrize(
    ("at_left", "left_mm", "expected"),
    [(True, 0.0, [(0.0, 20.0, 30.0), (30.0, 0.0, 70.0)]), (False, 70.0, [(0.0, 0.0, 70.0), (70.0, 20.0, 30.0)])],
)
def test_a_block_lies_at_an_end_of_its_segment(
    at_left: bool, left_mm: float, expected: list[tuple[float, float, float]]
) -> None:
    """The rest of the segment stays as low as it was."""
    line = Skyline(100.0)

    assert left_mm == line.lay(0, 30.0, 20.0, at_left=at_left)
    assert expected == segments(line)


def test_a_block_as_wide_as_its_segment_leaves_no_rest() -> None:
    """Rounding errors apart."""
    line = Skyline(100.0)

    assert 0.0 == line.lay(0, 100.0 - 1e-10, 20.0, at_left=True)
    assert [(0.0, 20.0, 100.0)] == segments(line)


def test_neighbours_of_one_height_are_joined() -> None:
    """To the left, to the right, and both ways at once."""
    line = Skyline(90.0)
    line.lay(0, 30.0, 20.0, at_left=True)
    line.lay(1, 30.0, 20.0, at_left=False)
    assert [(0.0, 20.0, 30.0), (30.0, 0.0, 30.0), (60.0, 20.0, 30.0)] == segments(line)
    line.lay(1, 30.0, 20.0, at_left=True)
    assert [(0.0, 20.0, 90.0)] == segments(line)
    line.lay(0, 30.0, 5.0, at_left=True)
    line.lay(1, 20.0, 5.0, at_left=True)
    assert [(0.0, 25.0, 50.0), (50.0, 20.0, 40.0)] == segments(line)


def test_the_lowest_segment_is_the_leftmost_of_equals() -> None:
    """Its walls are the heights of its neighbours."""
    line = Skyline(100.0)
    for width, height in ((20.0, 9.0), (20.0, 4.0), (20.0, 7.0), (20.0, 4.0)):
        line.lay(len(line.x_mm) - 1, width, height, at_left=True)
    line.lay(4, 20.0, 8.0, at_left=True)

    assert [9.0, 4.0, 7.0, 4.0, 8.0] == line.y_mm
    assert 1 == line.lowest()
    assert [(math.inf, 4.0), (9.0, 7.0), (4.0, 4.0), (7.0, 8.0), (4.0, math.inf)] == [line.walls(at) for at in range(5)]


def test_filling_up_loses_what_lies_below_the_lower_neighbour() -> None:
    """A valley of 20 by 3 mm to the neighbour at 7 mm; a whole strip has no neighbour to be filled up to."""
    line = Skyline(60.0)
    for width, height in ((20.0, 9.0), (20.0, 4.0), (20.0, 7.0)):
        line.lay(len(line.x_mm) - 1, width, height, at_left=True)

    assert line.fill_up(1)
    assert (60.0, [(0.0, 9.0, 20.0), (20.0, 7.0, 40.0)]) == (line.lost_mm2, segments(line))
    assert line.fill_up(1)
    assert (60.0 + 80.0, [(0.0, 9.0, 60.0)]) == (line.lost_mm2, segments(line))
    assert not line.fill_up(0)
    assert 140.0 == line.lost_mm2


def test_a_valley_at_a_side_is_filled_up_to_its_only_neighbour() -> None:
    """The strip's side is no neighbour."""
    line = Skyline(50.0)
    line.lay(0, 20.0, 9.0, at_left=False)

    assert line.fill_up(0)
    assert (270.0, [(0.0, 9.0, 50.0)]) == (line.lost_mm2, segments(line))


def test_a_block_in_a_valley_leaves_its_rest_beside_it() -> None:
    """Before the neighbour that follows; half a millimetre of height is a difference."""
    line = Skyline(60.0)
    for width, height in ((20.0, 9.0), (20.0, 4.0), (20.0, 7.0)):
        line.lay(len(line.x_mm) - 1, width, height, at_left=True)

    assert 20.0 == line.lay(1, 5.0, 4.5, at_left=True)
    assert [(0.0, 9.0, 20.0), (20.0, 8.5, 5.0), (25.0, 4.0, 15.0), (40.0, 7.0, 20.0)] == segments(line)
    assert 35.0 == line.lay(2, 5.0, 4.0, at_left=False)
    assert (35.0, 8.0, 5.0) == segments(line)[3]
