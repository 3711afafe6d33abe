from __future__ import annotations

import math

import numpy as np
import pytest
from dxf_files import Group, circle, file, layer, line, polyline

from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.panel_drawings import dxf_lines
from featherline_service.shape.panel_drawings.lines import Unit

BULGE = math.tan(math.pi / 8)
"""Of a quarter of a circle."""


def test_polylines_with_arcs_run_through_their_corners() -> None:
    """Corners rounded outwards and inwards, whichever way around: the area is that of its circles' parts."""
    points = [(0.0, 0.0), (80.0, 0.0, BULGE), (90.0, 10.0), (90.0, 30.0, -BULGE), (80.0, 40.0), (0.0, 40.0)]
    (one,) = dxf_lines.read(file(polyline(*points)), None).lines
    area = 3_600.0 - (100.0 - 25.0 * math.pi) - 25.0 * math.pi

    assert one.closed
    assert pytest.approx(area, abs=0.2) == shoelace(one.points)
    assert pytest.approx([0.0, -40.0]) == one.points.min(axis=0)


def shoelace(points: np.ndarray) -> float:
    """Return the area that a polygon encloses."""
    x, y = points.T
    return abs(float(x @ np.roll(y, 1) - y @ np.roll(x, 1))) / 2.0


def test_old_polylines_are_read_as_well() -> None:
    """Those whose corners are entities of their own; a closed one ends where it begins."""
    corners: list[Group] = []
    for x, y in ((0, 0), (90, 0), (90, 40)):
        corners += [(0, "VERTEX"), (8, "0"), (10, x), (20, y)]
    entity = ((0, "POLYLINE"), (8, "0"), (66, 1), (70, 1), *corners, (0, "SEQEND"))
    (one,) = dxf_lines.read(file(entity), None).lines

    assert (True, 1_800.0) == (one.closed, shoelace(one.points))


def test_curves_stay_within_a_hundredth_of_a_millimetre() -> None:
    """Arcs, circles, ellipses and splines, in the unit of the file; an arc is open, a circle is closed."""
    common: tuple[Group, ...] = ((100, "AcDbEntity"), (8, "0"))
    arc = ((0, "ARC"), (8, "0"), (10, 5), (20, 0), (40, 2), (50, 0), (51, 180))
    ellipse = ((0, "ELLIPSE"), *common, (100, "AcDbEllipse"), (10, 0), (20, 0), (30, 0), (11, 3), (21, 0), (31, 0),
               (40, 0.5), (41, 0), (42, 2 * math.pi))  # fmt: skip
    knots = [(40, value) for value in (0, 0, 0, 1, 1, 1)]
    control = [group for x, y in ((0, 0), (1, 2), (2, 0)) for group in ((10, x), (20, y), (30, 0))]
    spline = (
        (0, "SPLINE"),
        *common,
        (100, "AcDbSpline"),
        (70, 8),
        (71, 2),
        (72, 6),
        (73, 3),
        (74, 0),
        *knots,
        *control,
    )
    lines = dxf_lines.read(file(arc, circle(5, 0, 2), ellipse, spline, units=5), None).lines
    (x, y), (u, v) = lines[2].points.T / 10.0, lines[3].points.T / 10.0

    assert [False, True, False, False] == [one.closed for one in lines]
    for one in lines[:2]:
        assert np.abs(np.hypot(*(one.points - (50.0, 0.0)).T) - 20.0).max() < 1e-9
        assert 20.0 * (1.0 - math.cos(math.pi / len(lines[1].points))) < 0.01
    assert np.abs((x / 3.0) ** 2 + (y / 1.5) ** 2 - 1.0).max() < 1e-9
    assert np.abs(-v - u * (2.0 - u)).max() < 1e-9  # a quadratic Bezier curve through these points


@pytest.mark.parametrize(
    ("units", "unit", "width", "cautions"),
    [
        (4, None, 90.0, ()),
        (1, None, 90.0 * 25.4, ()),
        (None, "cm", 900.0, ()),
        (0, "in", 90.0 * 25.4, ()),
        (4, "mm", 90.0, ()),
        (1, "mm", 90.0, ("The drawing says that it is in inches; it was read in millimetres, as you say.",)),
    ],
)
def test_the_header_or_the_caller_says_the_unit(
    units: int | None, unit: Unit | None, width: float, cautions: tuple[str, ...]
) -> None:
    """Where they contradict one another, the caller is right, and the answer says so."""
    drawing = dxf_lines.read(file(polyline((0, 0), (90, 0), (90, 40)), units=units), unit)

    assert pytest.approx(width) == drawing.lines[0].points[:, 0].max()
    assert cautions == drawing.cautions


def test_layers_name_colour_and_hide_lines() -> None:
    """A line's own colour goes before its layer's; layers that are off or frozen, and notes, are left out."""
    layers = (layer("Seam", 1), layer("off", -3), layer("frozen", 3, 1), layer("0", 7))
    drawing = dxf_lines.read(
        file(
            circle(0, 0, 1, (8, "Seam")), circle(0, 0, 1, (8, "Seam"), (62, 5)), circle(0, 0, 1, (62, 1)),
            circle(0, 0, 1, (420, 0xC02020)), circle(0, 0, 1, (62, 0)), circle(0, 0, 1, (8, "none")),
            circle(0, 0, 1, (8, "off")), circle(0, 0, 1, (8, "frozen")), circle(0, 0, 1, (60, 1)), circle(0, 0, 0),
            ((0, "TEXT"), (8, "0"), (10, 0), (20, 0), (40, 2), (1, "outer")),
            ((0, "POINT"), (8, "0"), (10, 0), (20, 0)),
            layers=layers,
        ),
        None,
    )  # fmt: skip

    assert [
        (("Seam",), True), (("Seam",), False), (("0",), True), (("0",), True), (("0",), False), (("none",), False),
    ] == [(one.names, one.red) for one in drawing.lines]  # fmt: skip
    assert ("Left out of the drawing: 1 POINT, 1 TEXT.",) == drawing.cautions


SPLINE: tuple[Group, ...] = ((0, "SPLINE"), (100, "AcDbEntity"), (8, "0"), (100, "AcDbSpline"))
ENDLESS: tuple[Group, ...] = (
    *((40, knot) for knot in (0, 0, 0, 1, 1, "inf")),
    *(group for x, y in ((0, 0), (1, 2), (2, 0)) for group in ((10, x), (20, y), (30, 0))),
)
"""A spline whose last knot is infinity."""
KNOTS = tuple((40, min(max(number - 3, 0), 97)) for number in range(104))
FAR = tuple(
    group for number in range(100) for group in ((10, number % 2 * 9_000), (20, number // 2 % 2 * 9_000), (30, 0))
)
"""A spline to and fro over nine metres: a million points, if it were drawn out."""
MESH: tuple[Group, ...] = ((0, "POLYLINE"), (8, "0"), (66, 1), (70, 16), (71, 2), (72, 2), (0, "SEQEND"))


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"0\n" * 250_001, "more than 500,000 bytes"),
        (b"binary\r\n\x1a\0", "not DXF as text"),
        (b"", "no DXF file, or damaged"),
        (b"hello", "no DXF file, or damaged"),
        (b"0\nSECTION\n" * 40_000, "no DXF file, or damaged"),
        (file(circle(0, 0, 1))[:150], "no DXF file, or damaged"),
        (file(polyline((0, 0), (1, 1)), units=None), r"does not say that it is in millimetres: .* \(`unit`\)"),
        (file(polyline((0, 0), (1, 1)), units=6), "does not say that it is in millimetres"),
        (file(((0, "INSERT"), (8, "0"), (2, "bomb"), (10, 0), (20, 0))), "'INSERT', .* explode its blocks"),
        (file(((0, "RAY"), (8, "0"))), "'RAY', .* draw with polylines"),
        (file(MESH), "a mesh"),
        (file(line((0, 0, 0), (1, 0, 9))), "not flat"),
        (file(line((0, 0), (1e300, 0))), "further than 10 m"),
        (file(line((0, 0), ("nan", 0))), "further than 10 m"),  # type: ignore[arg-type] # as a file has it
        (file(circle(0, 0, 1e300)), "further than 10 m"),
        (file(polyline((0, 0, 1e300), (9, 0, -1e-300), (9, 9, 1e200))), "further than 10 m|damaged"),
        (file(polyline(*[(x % 97, x % 7) for x in range(30_001)])), "more than 30000 points"),
        (file(polyline(*[(x, x % 7, 1) for x in range(2_001)])), "arcs of more than 2000 points"),
        (file(*[line((0, 0), (1, 0))] * 2_001), "more than 2000 lines"),
        (file((*SPLINE, (70, 8), (71, 2), (72, 6), (73, 3), (74, 0), *ENDLESS)), "no DXF file, or damaged"),
        (file((*SPLINE, (70, 8), (71, 3), (72, 104), (73, 100), (74, 0), *KNOTS, *FAR)), "more than 30000 points"),
        (file((*SPLINE, (70, 8), (71, 9), (72, 0), (73, 0), (74, 0))), "a degree above 5"),
        (file((*SPLINE, (70, 8), (71, 3), (73, 1), (10, 1e9), (20, 0), (30, 0))), "further than 10 m"),
    ],
)  # fmt: skip
def test_what_is_hostile_or_not_read_is_refused(content: bytes, told: str) -> None:
    """Before it takes long; the message says what to do."""
    with pytest.raises(DrawingError, match=told):
        dxf_lines.read(content, None)
