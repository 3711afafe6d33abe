from __future__ import annotations

import math

import numpy as np
import pytest

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths


def corners(data: str) -> list[list[tuple[float, float]]]:
    """Return the starts of the segments of each contour, y upwards."""
    return [[(x, y) for x, y in contour[:, 0].tolist()] for contour in paths.contours(data)]


def segment(data: str, place: int) -> list[list[float]]:
    """Return the control points of a segment of the first contour, y upwards."""
    points: list[list[float]] = paths.contours(data)[0][place].tolist()
    return points


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        ("M1 2L3 4H7V9Z", [(1, -2), (3, -4), (7, -4), (7, -9)]),
        ("M1 2l3 4h7v9z", [(1, -2), (4, -6), (11, -6), (11, -15)]),
        ("M1 2 3 4 5 0", [(1, -2), (3, -4), (5, 0)]),
        ("m1 2 3 4 5 0", [(1, -2), (4, -6), (9, -6)]),
        ("M1 2H3 4V5 6", [(1, -2), (3, -2), (4, -2), (4, -5), (4, -6)]),
        (" M1,2L3,4 5-6", [(1, -2), (3, -4), (5, 6)]),
        ("M1 2L.5.5 1e1 2E+1", [(1, -2), (0.5, -0.5), (10, -20)]),
    ],
)
def test_straight_lines_go_where_their_command_says(data: str, expected: list[tuple[float, float]]) -> None:
    """Capitals are absolute, small letters relative; an open subpath is closed by a line (SVG 1.1, 8.3.2 to 8.3.4)."""
    (contour,) = paths.contours(data)

    assert [expected] == corners(data)
    assert expected[0] == tuple(contour[-1, 3].tolist())


def test_a_subpath_begins_where_the_last_one_was_closed() -> None:
    """After Z the current point is the start of the subpath; a moveto that draws nothing makes no contour."""
    assert [[(1, -1), (4, -1), (4, -5)], [(1, -1), (3, -1), (3, -2)]] == corners("M1 1H4V5Zh2v1Z")
    assert [[(3, -3), (4, -3), (4, -4)]] == corners("M1 1m2 2h1v1zM9 9")
    assert [] == corners("")


def test_a_straight_line_is_a_cubic_with_controls_at_its_thirds() -> None:
    """So that all segments are of one kind."""
    assert [[0, 0], [3, -1], [6, -2], [9, -3]] == segment("M0 0L9 3", 0)


def test_cubics_keep_their_controls() -> None:
    """Absolute, relative, and smooth ones whose first control is the last one mirrored (SVG 1.1, 8.3.6)."""
    assert [[1, -1], [2, -3], [4, -3], [5, -1]] == segment("M1 1C2 3 4 3 5 1", 0)
    assert [[1, -1], [3, -4], [5, -4], [6, -2]] == segment("M1 1c2 3 4 3 5 1", 0)
    assert [[5, -1], [6, 1], [8, 1], [9, -1]] == segment("M1 1C2 3 4 3 5 1S8-1 9 1", 1)
    assert [[5, -1], [6, 1], [8, 0], [9, -1]] == segment("M1 1C2 3 4 3 5 1s3-1 4 0", 1)
    assert [[9, -1], [10, -3], [11, -2], [12, -1]] == segment("M1 1C2 3 4 3 5 1S8-1 9 1S11 2 12 1", 2)


def test_a_smooth_curve_after_another_command_begins_straight() -> None:
    """After a line, or a curve of the other family, its first control is the current point (SVG 1.1, 8.3.6)."""
    assert [[1, -1], [1, -1], [3, -4], [5, -1]] == segment("M1 1S3 4 5 1", 0)
    assert [[3, 0], [3, 0], [4, -4], [5, -1]] == segment("M0 0Q1 2 3 0S4 4 5 1", 1)
    straight = segment("M0 0C1 2 2 2 3 0T6 0", 1)
    assert [[3, 0], [3, 0], [4, 0], [6, 0]] == straight


def test_quadratics_are_raised_to_cubics() -> None:
    """Their controls lie two thirds of the way to the quadratic one, which smooth ones mirror (SVG 1.1, 8.3.7)."""
    assert [[0, 0], [2, -4], [4, -4], [6, 0]] == segment("M0 0Q3 6 6 0", 0)
    assert [[1, -1], [3, -5], [5, -5], [7, -1]] == segment("M1 1q3 6 6 0", 0)
    assert [[6, 0], [8, 4], [10, 4], [12, 0]] == segment("M0 0Q3 6 6 0T12 0", 1)
    assert [[12, 0], [14, -4], [16, -4], [18, 0]] == segment("M0 0Q3 6 6 0T12 0t6 0", 2)


@pytest.mark.parametrize(
    ("flags", "centre", "turns"),
    [("01", (0, -10), -0.25), ("00", (10, 0), 0.25), ("11", (10, 0), -0.75), ("10", (0, -10), 0.75)],
)
def test_arcs_take_packed_flags(flags: str, centre: tuple[float, float], turns: float) -> None:
    """A quarter or three quarters of a circle of radius 10 about one of two centres (SVG 1.1, 8.3.8).

    Turns are counter-clockwise, with y upwards.
    """
    (contour,) = paths.contours(f"M0 0A10 10 0 {flags}10 10")
    spokes = contour[:, 0] - centre

    assert pytest.approx(np.full(len(contour), 10.0)) == np.hypot(*spokes.T)
    angles = np.unwrap(np.arctan2(spokes[:, 1], spokes[:, 0]))
    assert pytest.approx(turns) == (angles[-1] - angles[0]) / (2.0 * math.pi)


def test_an_arc_of_an_ellipse_is_tilted_by_degrees() -> None:
    """Half an ellipse of axes 10 and 5, tilted by a right angle and by a turn more; its points are on the ellipse."""
    for tilt in ("90", "450"):
        (contour,) = paths.contours(f"M0 0a10 5 {tilt} 0 1 0 20")
        x, y = contour[:, 0].T
        assert pytest.approx(np.ones(len(x))) == (x / 5.0) ** 2 + ((y + 10.0) / 10.0) ** 2
        assert x.max() > 4.9


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ("L1 2", "character 1: path data starts with M or m"),
        ("M1 2X3 4", "character 5: there is no path command 'X'"),
        ("M1 2\u00cd3 4", "character 5: there is no path command '\u00cd'"),
        ("M1", "at its end: M wants a number here (it takes 2 at a time)"),
        ("M1 2L3", "at its end: L wants a number here (it takes 2 at a time)"),
        ("M1 2A3 3 0 2 0 1 1", "character 12: A wants a flag, 0 or 1 here (it takes 7 at a time)"),
        ("M1 2L3 4,Z", "character 9: there is no path command ','"),
        ("M1 2,", "character 5: there is no path command ','"),
        ("M1 1000001", "character 4: 1000001 is beyond 1000000"),
        ("M1 2L1e999 0", "character 6: 1e999 is beyond 1000000"),
        ("M1000000 0l1 0", "The path leaves the range of 1000000 units: draw it smaller"),
        ("M0 0v-1000000v-1", "The path leaves the range of 1000000 units: draw it smaller"),
    ],
)
def test_a_refusal_says_where_and_why(data: str, message: str) -> None:
    """A message names the character, counted from one, and what was to stand there."""
    with pytest.raises(DrawingError) as refused:
        paths.contours(data)

    assert str(refused.value).endswith(message)


def test_a_path_is_bounded() -> None:
    """100,000 characters and 10,000 segments are taken, one more is not; a number at the limit is in range."""
    assert [[(0, 0), (1e6, -1e6)]] == corners("M0 0L1000000 1000000")
    assert 10_001 == len(paths.contours("M0 0" + "h1" * 9_999 + "v1")[0])
    with pytest.raises(DrawingError, match="more than 10000 segments"):
        paths.contours("M0 0" + "h1" * 9_999 + "v1v1")
    assert () == paths.contours(" " * 100_000)
    with pytest.raises(DrawingError, match="longer than 100000 characters"):
        paths.contours(" " * 100_001)


def test_a_region_is_filled_by_its_rule() -> None:
    """A square within a square in the same direction is a hole by the even-odd rule alone; y runs upwards."""
    data = "M0 0H10V10H0ZM2 2H8V8H2Z"

    assert (100.0, 64.0) == tuple(paths.region(data, rule, 0.1).area for rule in ("nonzero", "evenodd"))
    assert (0.0, -10.0, 10.0, 0.0) == paths.region(data, "nonzero", 0.1).bounds


def test_curves_of_a_region_are_flattened_to_the_tolerance() -> None:
    """A circle of radius 10 lacks less area than its circumference times the tolerance, and more points need less."""
    circle = "M10 0A10 10 0 0 1-10 0A10 10 0 0 1 10 0"
    coarse, fine = (paths.region(circle, "nonzero", tolerance) for tolerance in (0.1, 0.001))

    assert 0.0 < 100.0 * math.pi - fine.area < 20.0 * math.pi * 0.001
    assert 0.001 < 100.0 * math.pi - coarse.area < 20.0 * math.pi * 0.1


def test_what_encloses_no_area_is_refused() -> None:
    """A doubled line, by its share of the square around the drawing: a billionth is nothing, two are something."""
    with pytest.raises(DrawingError, match="The path encloses no area: draw closed shapes, not lines"):
        paths.region("M0 0H10", "nonzero", 0.1)
    with pytest.raises(DrawingError, match="encloses no area"):
        paths.region("M0 0H1000V.0000009H0Z", "nonzero", 1e-9)
    assert pytest.approx(0.002) == paths.region("M0 0H1000V.000002H0Z", "nonzero", 1e-9).area


def test_the_extent_is_of_all_control_points() -> None:
    """Width and height of the box around ends and controls of every contour; what draws nothing has none."""
    assert (11.0, 7.0) == paths.extent("M1 1C2 8 4 8 5 1ZM11 2H12V3Z")
    with pytest.raises(DrawingError, match="The path draws nothing: give at least one closed shape"):
        paths.extent("M5 5")


def test_open_contours_are_told_from_closed_ones() -> None:
    """By Z, or as the last point is the first; of either the contour is closed."""
    data = "M0 0H9V9Z M0 0H9V9 M0 0H9V9L0 0 M5 5"

    assert (True, False, True) == paths.are_closed(data)
    assert [3, 3, 3] == [len(contour) for contour in paths.contours(data)]
    assert pytest.approx(9 * 2**0.5) == paths.widest_gap(data)
    assert 0.0 == paths.widest_gap("M0 0H9V9Z")
