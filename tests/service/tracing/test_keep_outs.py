from __future__ import annotations

import math

import pytest
import shapely

from featherline_service.tracing import keep_outs

PANEL = shapely.box(0.0, 0.0, 100.0, 60.0)


def ring(x: float, y: float, radius: float, pen: float = 0.8) -> shapely.Polygon:
    """Return a circle drawn with a pen."""
    return shapely.Point(x, y).buffer(radius, quad_segs=32).exterior.buffer(0.5 * pen)


def test_rings_and_dots_are_eyelets_and_other_ink_is_told() -> None:
    """A ring by its line's middle, a dot by its edge less the blur; a square is told of, a fleck is not."""
    dot = shapely.Point(40.0, 20.0).buffer(2.5, quad_segs=32)
    cross = shapely.union_all([shapely.box(58, 19, 66, 21), shapely.box(61, 16, 63, 24)])
    frame = shapely.box(78.0, 18.0, 84.0, 24.0).exterior.buffer(0.4)
    holed = shapely.Point(20.0, 45.0).buffer(3.0).difference(shapely.box(19.0, 42.9, 21.0, 47.1))
    large = shapely.Point(60.0, 45.0).buffer(9.0)
    fleck = shapely.Point(90.0, 50.0).buffer(0.4)
    ink = [dot, ring(20.0, 20.0, 3.0), cross, frame, holed, large, fleck, ring(120.0, 20.0, 3.0)]

    found = keep_outs.black_within(ink, PANEL, blur_mm=0.5)

    assert [(20.0, 20.0, pytest.approx(3.0, abs=0.01)), (40.0, 20.0, pytest.approx(2.5 - 0.11, abs=0.01))] == [
        (pytest.approx(eye.x), pytest.approx(eye.y), eye.radius) for eye in found.eyelets
    ]
    assert 4 == len(found.unread)


def test_hatching_is_one_area_with_its_gaps() -> None:
    """Strokes three millimetres apart fill their area and half a millimetre more; a fleck fills none."""
    area = shapely.Point(50.0, 30.0).buffer(10.0)
    strokes = [area.intersection(shapely.box(x, 0.0, x + 0.7, 60.0)) for x in range(40, 61, 3)]
    far = shapely.box(90.0, 50.0, 90.5, 50.5)

    (hatched,) = keep_outs.hatched([*strokes, far], PANEL)

    assert hatched.covers(area.buffer(-1.0))
    assert math.pi * 10.0**2 * 1.2 > hatched.area
    assert () == keep_outs.hatched([far], PANEL)
    assert () == keep_outs.hatched([], PANEL)
