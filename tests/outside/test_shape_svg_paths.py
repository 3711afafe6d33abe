"""SVG path data against its grammar and implementation notes: SVG 1.1 (Second Edition), W3C 2011, 8.3 and F.6."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths

FINE = 1e-4


def bounds(data: str) -> tuple[float, float, float, float]:
    """Return the box of the region that path data encloses, y upwards."""
    box: tuple[float, float, float, float] = paths.region(data, "nonzero", FINE).bounds
    return box


# The same square, written in the ways that section 8.3 allows.
SQUARE = [
    "M 0 0 L 10 0 L 10 10 L 0 10 Z",  # 8.3.3
    "M0 0 10 0 10 10 0 10z",  # 8.3.2: further pairs after a moveto are implicit linetos
    "m0 0 10 0 0 10 -10 0z",  # relative moveto: its further pairs are relative linetos
    "m0,0h10v10h-10z",  # 8.3.4
    "M0,0H10V10H0Z",
    "M0 0H3 7 10V4 10H0Z",  # several arguments to H and V
    "M0-0L10-0 10+10L0+10Z",  # signs divide numbers
    "M.0.0L10.0.0 10.0 10.L0 10Z",  # a second point divides numbers; "10." is a number of SVG 1.1
    "M0 0L1e1 0 1E+1 100e-1L.0 1.0e1Z",  # exponents
    "\n\tM\r\n0\n0\nL 10 , 0 , 10 , 10 0,10\tz ",  # white space and commas
    "M0 0 L10 0 L10 10 L0 10",  # an open subpath is closed when filled (11.3)
    "M5 5m-5-5l10 0 0 10-10 0z",  # a second moveto starts where the first went
    "M0 0L10 0 10 10 0 10ZM3 3",  # a moveto that draws nothing
    "M0 0L10 0 10 10 0 10ZZ",
    "M0 0L5 0L10 0 10 10 0 10zl10 0 0 10z",  # after closepath the next subpath starts at the same point
]


@pytest.mark.parametrize("data", SQUARE)
def test_square_in_every_spelling(data: str) -> None:
    """A square of 10 has the same box in every notation."""
    assert pytest.approx((0.0, -10.0, 10.0, 0.0), abs=1e-12) == bounds(data)
    assert pytest.approx(100.0) == paths.region(data, "nonzero", FINE).area


def test_missing_separators() -> None:
    """The grammar's greedy numbers: M10-5L.5.5 is a moveto to (10, -5) and a lineto to (.5, .5)."""
    assert pytest.approx((0.0, -0.5, 10.0, 5.0)) == bounds("M10-5L.5.5 0 0z")


HALF = math.pi * 25.0**2 / 2.0


@pytest.mark.parametrize(
    "data",
    [
        "M0 0 A 25 25 0 0 1 50 0 Z",
        "M0 0A25,25,0,0,1,50,0Z",
        "M0 0a25 25 0 0150 0z",  # flags packed against what follows: 0, 1, then 50
        "M0 0a25 25 0 1 150 0z",
        "M0 0a25 25 0 01 25-25 25 25 0 0125 25z",  # two arcs, the separators after flags left out
        "M0 0A10 10 0 0 1 50 0Z",  # F.6.6: radii too small to reach are scaled up
        "M0 0A-25 25 0 0 1 50 0Z",  # F.6.6: signs of radii are dropped
        "M0 0A25 25 720 0 1 50 0Z",
        "M0 0A25 25 33 0 1 50 0Z",  # a circle is the same however it is turned
    ],
)
def test_half_disc_in_every_spelling(data: str) -> None:
    """Half a disc of radius 25 over the line from (0, 0) to (50, 0), above it as SVG draws."""
    region = paths.region(data, "nonzero", FINE)

    assert pytest.approx(HALF, rel=1e-5) == region.area
    assert pytest.approx((0.0, 0.0, 50.0, 25.0), abs=1e-3) == region.bounds


@pytest.mark.parametrize(
    ("flags", "area", "box"),
    [
        # Section 8.3.8: of the two circles of radius 10 through (0, 0) and (10, 10), the four arcs.
        ("0 0", 25.0 * math.pi - 50.0, (0.0, -10.0, 10.0, 0.0)),
        ("0 1", 25.0 * math.pi - 50.0, (0.0, -10.0, 10.0, 0.0)),
        ("1 0", 75.0 * math.pi + 50.0, (-10.0, -20.0, 10.0, 0.0)),
        ("1 1", 75.0 * math.pi + 50.0, (0.0, -10.0, 20.0, 10.0)),
    ],
)
def test_four_arcs_of_the_flags(flags: str, area: float, box: tuple[float, float, float, float]) -> None:
    """The large-arc and sweep flags choose among the four arcs between two points."""
    data = f"M0 0A10 10 0 {flags} 10 10Z"

    assert pytest.approx(area, rel=1e-4) == paths.region(data, "nonzero", FINE).area
    assert pytest.approx(box, abs=1e-3) == bounds(data)


def test_arc_without_a_radius_is_a_line() -> None:
    """F.6.2: an arc with a zero radius is a straight line; one to its own start is left out."""
    assert bounds("M0 0L10 0L10 10Z") == bounds("M0 0A0 5 0 0 1 10 0A3 3 0 1 1 10 0L10 10Z")


def test_tilted_ellipse() -> None:
    """An ellipse of radii 20 and 10 turned by 30 degrees reaches sqrt(a^2 cos^2 + b^2 sin^2) to the side."""
    c, s = math.cos(math.radians(30)), math.sin(math.radians(30))
    data = f"M{-20 * c} {-20 * s}A20 10 30 0 1 {20 * c} {20 * s}A20 10 30 0 1 {-20 * c} {-20 * s}Z"
    across, up = math.hypot(20 * c, 10 * s), math.hypot(20 * s, 10 * c)

    assert pytest.approx((-across, -up, across, up), abs=1e-3) == bounds(data)
    assert pytest.approx(200.0 * math.pi, rel=1e-5) == paths.region(data, "nonzero", FINE).area


def test_cubic_area_is_that_of_its_polynomial() -> None:
    """The area under a cubic from (0, 0) by (0, 10), (10, 10) to (10, 0) is 60: the integral of y dx."""
    assert pytest.approx(60.0, rel=1e-4) == paths.region("M0 0C0 10 10 10 10 0Z", "nonzero", FINE).area


def test_quadratic_area_is_two_thirds_of_its_triangle() -> None:
    """Archimedes: a parabola's segment is two thirds of the control triangle."""
    assert pytest.approx(2.0 / 3.0 * 50.0, rel=1e-4) == paths.region("M0 0Q5 10 10 0Z", "nonzero", FINE).area


def test_smooth_curves_mirror_the_last_control_point() -> None:
    """8.3.6 and 8.3.7: S and T mirror the last control point, and take the current point after other commands."""
    assert bounds("M0 0C0 10 10 10 10 0C10-10 20-10 20 0L20 30L0 30Z") == bounds(
        "M0 0C0 10 10 10 10 0S20-10 20 0L20 30L0 30Z"
    )
    assert bounds("M0 0Q5 10 10 0Q15-10 20 0Q25 10 30 0L30 30L0 30Z") == bounds("M0 0Q5 10 10 0T20 0T30 0L30 30L0 30Z")
    assert bounds("M0 0L5 5C5 5 10 10 20 0Z") == bounds("M0 0L5 5S10 10 20 0Z")
    assert bounds("M0 20L5 5L20 0Z") == bounds("M0 20L5 5T20 0Z")


def test_relative_curves_are_relative_to_the_segment() -> None:
    """Relative control points are from the current point, in every segment of a run."""
    assert bounds("M5 5C5 15 15 15 15 5C15-5 25-5 25 5L25 40Z") == bounds("M5 5c0 10 10 10 10 0 0-10 10-10 10 0l0 35z")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ("L0 0 10 0 10 10", "starts with M"),
        ("10 10", "no path command '1'"),
        ("M", "wants a number"),
        ("M0", "wants a number"),
        ("M0 0L10", "wants a number"),
        ("M0 0,", "no path command ','"),
        ("M0 0,,10 10", "no path command ','"),
        ("M,0 0", "wants a number"),
        ("M0 0L1e 5", "wants a number"),
        ("M0 0L+-5 5", "wants a number"),
        ("M0 0B10 10", "no path command 'B'"),
        ("M0 0A5 5 0 2 1 9 9", "wants a flag"),
        ("M0 0A5 5 0 0", "wants a flag"),
        ("M0 0L10 0x10", "no path command 'x'"),
        ("M0 0L\u0661\u0660 0", "wants a number"),
        ("M0 0Lnan 0", "wants a number"),
        ("M0 0Linfinity 0", "wants a number"),
        ("M0 0L1e300 0", "beyond"),
        ("M0 0L1e999999999 0", "beyond"),
        ("M0 0" + "l999999 0" * 3 + "l0 5z", "leaves the range"),
        ("M0 0L10 0", "no area"),
        ("M0 0L10 0L0 0Z", "no area"),
        ("M3 3", "draws nothing"),
        ("", "draws nothing"),
        ("M5 5L5 5Z", "no area"),
    ],
)  # fmt: skip
def test_what_is_not_path_data_is_refused_with_a_sentence(data: str, says: str) -> None:
    """Text outside the grammar, or without an area, is refused with a sentence that says where."""
    with pytest.raises(DrawingError, match=says):
        paths.region(data, "nonzero", 0.01)


def star(points: int, step: int) -> str:
    """Return a self-crossing star as path data."""
    turns = 2.0 * np.pi * step * np.arange(points) / points
    return "M" + " ".join(f"{x:.2f} {y:.2f}" for x, y in zip(99 * np.cos(turns), 99 * np.sin(turns), strict=True)) + "Z"


@pytest.mark.parametrize(
    "data",
    [
        "M" + "0 " * 49_999,
        "M0 0" + "h1v1" * 24_000,
        star(6000, 2999),
        star(6000, 1201),
        "M0 0" + "a9 9 0 1 1 1 1" * 7000,
        "M0 0" + "C1e6 1e6-1e6 1e6 1 0" * 4900,
        "M0 0" + "z" * 99_000,
        "M0 0h9v9z" * 11_000,
        " " * 99_999,
    ],
    ids=["zeros", "stairs", "star", "wheel", "arcs", "loops", "closes", "copies", "blanks"],
)
def test_hostile_drawings_are_refused_soon(data: str) -> None:
    """Hostile drawings are refused within seconds, even on a busy machine; the bench holds them to 300 ms."""
    begin = time.process_time()

    with pytest.raises(DrawingError):
        paths.region(data, "nonzero", 0.01)

    assert time.process_time() - begin < 2.0


@pytest.mark.parametrize(("rule", "area"), [("nonzero", 1.1226), ("evenodd", 0.7757)])
def test_pentagram_by_both_fill_rules(rule: paths.FillRule, area: float) -> None:
    """A pentagram in the unit circle fills 1.1226 by nonzero, as an outline, and 0.7757 without its middle pentagon.

    The decagram has area 5 r R sin(36 deg) with r = R / phi^2; the pentagon within 5/2 r^2 sin(72 deg).
    """
    phi = (1.0 + math.sqrt(5.0)) / 2.0
    inner = 1.0 / phi**2
    outline = 5.0 * inner * math.sin(math.radians(36.0))
    pentagon = 2.5 * inner**2 * math.sin(math.radians(72.0))
    expected = outline if rule == "nonzero" else outline - pentagon
    points = [(math.cos(4 * math.pi * k / 5), math.sin(4 * math.pi * k / 5)) for k in range(5)]
    data = "M" + " ".join(f"{x:.12f} {y:.12f}" for x, y in points) + "Z"

    assert pytest.approx(area, abs=5e-5) == expected
    assert pytest.approx(expected, rel=1e-9) == paths.region(data, rule, 0.01).area


def test_fill_rules_differ_where_contours_turn_alike() -> None:
    """SVG 1.1 section 11.3: two nested contours of one direction fill whole by nonzero and as a ring by evenodd."""
    alike, against = "M0 0H9V9H0ZM3 3H6V6H3Z", "M0 0H9V9H0ZM3 3V6H6V3Z"

    assert [81.0, 72.0] == [paths.region(alike, rule, 0.01).area for rule in ("nonzero", "evenodd")]
    assert [72.0, 72.0] == [paths.region(against, rule, 0.01).area for rule in ("nonzero", "evenodd")]


def test_contours_that_touch_or_overlap_are_united() -> None:
    """Overlapping squares of one direction unite by nonzero; by evenodd the overlap is empty; touching ones add."""
    overlap, touch = "M0 0H6V6H0ZM3 3H9V9H3Z", "M0 0H5V5H0ZM5 0H9V5H5Z"

    assert pytest.approx([63.0, 54.0]) == [paths.region(overlap, rule, 0.01).area for rule in ("nonzero", "evenodd")]
    assert pytest.approx(45.0) == paths.region(touch, "nonzero", 0.01).area
    assert 1 == len(paths.region(touch, "nonzero", 0.01).geoms)
