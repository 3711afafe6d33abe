from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon

from featherline_service.shape.placement import pads

LAST = Polygon([(0, 8), (40, 0), (120, 4), (170, 20), (190, 45), (170, 68), (110, 78), (40, 72), (0, 64)])
PARTS = {
    "last": MultiPolygon([LAST]),
    "ring": MultiPolygon([Point(0, 0).buffer(60, 32).difference(Point(0, 0).buffer(20, 32))]),
    "angle": MultiPolygon([Polygon([(0, 0), (90, 0), (90, 30), (30, 30), (30, 80), (0, 80)])]),
    "two": MultiPolygon([shapely.box(0, 0, 40, 30), shapely.box(60, 0, 130, 20)]),
}


@settings(max_examples=drawn(80), deadline=None)
@given(name=st.sampled_from(sorted(PARTS)), width=st.floats(1, 150), height=st.floats(1, 90))
def test_places_of_boxes_agree_with_a_fine_grid(name: str, width: float, height: float) -> None:
    """A box lies on the pad at the place returned; without a place it lies on the pad at none of 2500 points."""
    pad = PARTS[name]
    place = pads.box_centre(pad, width, height)

    def lies(x: float, y: float, grow: float) -> bool:
        half_width, half_height = width / 2.0 + grow, height / 2.0 + grow
        return bool(pad.covers(shapely.box(x - half_width, y - half_height, x + half_width, y + half_height)))

    if place is not None:
        assert lies(*place, -1e-5)
    else:
        left, low, right, high = pad.bounds
        assert not any(lies(x, y, 0.0) for x in np.linspace(left, right, 50) for y in np.linspace(low, high, 50))


@pytest.mark.parametrize(("width", "height", "held"), [(30.0, 80.0, True), (30.01, 80.0, False), (90.0, 30.0, True)])
def test_a_box_as_large_as_its_place_is_held(width: float, height: float, held: bool) -> None:
    """A box as large as the room for it fits; a box a hundredth of a millimetre larger does not."""
    assert held == (pads.box_centre(PARTS["angle"], width, height) is not None)


def test_a_disc_holds_the_boxes_within_its_diameter() -> None:
    """A box lies on a disc of radius r exactly when its diagonal is no more than 2 r (Thales)."""
    disc = MultiPolygon([Point(0, 0).buffer(50.0, 512)])

    for angle in np.linspace(0.1, 1.4, 9):
        width, height = 100.0 * math.cos(angle), 100.0 * math.sin(angle)
        assert pads.box_centre(disc, 0.999 * width, 0.999 * height) is not None
        assert pads.box_centre(disc, 1.001 * width, 1.001 * height) is None


def test_a_rim_is_drawn_in_all_round() -> None:
    """A rectangle of 80 x 40 less a rim of 5 is 70 x 30; less a rim of 20 it is empty."""
    outline = MultiPolygon([shapely.box(0, 0, 80, 40)])

    assert pytest.approx(70.0 * 30.0) == pads.inset(outline, 5.0).area
    assert pads.inset(outline, 20.0).is_empty
    assert pads.box_centre(pads.inset(outline, 20.0), 1.0, 1.0) is None


def test_the_largest_box_fills_its_room() -> None:
    """In an angle of 90 x 30 and 30 x 80 a square grows to 30; on a disc a box's diagonal is the diameter (Thales)."""
    disc = MultiPolygon([Point(0, 0).buffer(50.0, 512)])

    assert pytest.approx(30.0, rel=1e-6) == pads.largest_box(PARTS["angle"], 1.0, 1.0)
    assert pytest.approx(3.0, rel=1e-6) == pads.largest_box(PARTS["angle"], 30.0, 10.0)
    assert pytest.approx(100.0 / math.sqrt(10.0), rel=1e-4) == pads.largest_box(disc, 3.0, 1.0)
    assert 80.0 == pads.largest_box(MultiPolygon([shapely.box(0, 0, 80, 80)]), 1.0, 1.0)
    assert 0.0 == pads.largest_box(MultiPolygon(), 1.0, 1.0)
