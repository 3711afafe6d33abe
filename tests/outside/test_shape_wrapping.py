"""Strain of film on doubly curved panels against closed forms and published tables.

The stress function of a sheet with free edges on a shell of Gaussian curvature K obeys the equation and the edge
conditions of a clamped plate under uniform load (S. Timoshenko and S. Woinowsky-Krieger, *Theory of Plates and Shells*,
2nd ed., McGraw-Hill 1959, from memory): a stress along the edge of -K E times the plate's edge moment coefficient.
"""

from __future__ import annotations

import math

import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.affinity import rotate, scale

from featherline_service.shape.placement import curvature, wrapping

# Table 35 of that book, clamped rectangular plates: moment at the middle of the longer side over q a^2, a the shorter
# one.
CLAMPED = [(1.0, 0.0513), (1.2, 0.0639), (1.5, 0.0757), (2.0, 0.0829), (6.0, 0.0833)]


def area(*polygons: Polygon) -> MultiPolygon:
    """Return polygons as one region."""
    return MultiPolygon(list(polygons))


def disc(radius: float) -> Polygon:
    """Return a disc as a polygon."""
    return Point(3, -2).buffer(radius, 64)


@pytest.mark.parametrize("radii", [(60.0, 60.0), (40.0, 90.0), (60.0, -60.0), (-40.0, 90.0)])
def test_a_disc_has_its_closed_form(radii: tuple[float, float]) -> None:
    """A disc is strained as the closed form says, on a cap and on a saddle, to 2 %."""
    expected = curvature.wrapping_strain(12.0, *radii)

    assert pytest.approx(expected, rel=0.02) == wrapping.footprint_strain(area(disc(12.0)), *radii)


@pytest.mark.parametrize("ratio", [1.5, 3.0, 8.0])
def test_an_ellipse_has_its_closed_form(ratio: float) -> None:
    """The stress function of an ellipse is that of a clamped elliptical plate (the book's section 71), to 2 %.

    It is ``-K E (1 - x^2 / a^2 - y^2 / b^2)^2 / (24 / a^4 + 16 / a^2 b^2 + 24 / b^4)``; its second derivatives are the
    stresses.
    """
    a, b = 10.0 * ratio, 10.0
    factor = 1.0 / (24.0 / a**4 + 16.0 / (a * a * b * b) + 24.0 / b**4)
    edge = -8.0 * factor / (b * b)
    centre = 4.0 * factor * (1.0 / (b * b) - curvature.FILM_POISSON / (a * a))
    ellipse = rotate(scale(Point(0, 0).buffer(10.0, 64), ratio, 1.0), 20.0)

    found = wrapping.footprint_strain(area(ellipse), 100.0, 100.0)

    assert pytest.approx((edge / 1e4, centre / 1e4), rel=0.02) == found


def test_a_long_strip_is_strained_by_its_width() -> None:
    """A strip of width w is compressed by K w^2 / 12 along its edges and stretched by K w^2 / 24 in its middle.

    Lengths at a distance y from a geodesic are shorter by K y^2 / 2 there; the force along the strip is zero.
    """
    for length in (200.0, 400.0, 800.0):
        strip = area(rotate(shapely.box(0, 0, length, 10), 35))
        expected = (-100.0 / 12.0 / 3600.0, 100.0 / 24.0 / 3600.0)
        assert pytest.approx(expected, rel=0.02) == wrapping.footprint_strain(strip, 60.0, 60.0)


@pytest.mark.parametrize(("ratio", "moment"), CLAMPED)
def test_rectangles_agree_with_clamped_plates(ratio: float, moment: float) -> None:
    """The edge strain of rectangles is the published edge moment of clamped plates, to 5 %."""
    rectangle = area(rotate(shapely.box(0, 0, 8.0 * ratio, 8.0), 15.0))

    edge, _ = wrapping.footprint_strain(rectangle, 50.0, 80.0)

    assert pytest.approx(-moment * 64.0 / 4000.0, rel=0.05) == edge


def test_the_smaller_film_is_strained_less() -> None:
    """Strain grows with the square of the scale, and a footprint within another one is strained no more."""
    inner = [
        shapely.box(0, 0, 30, 8),
        rotate(shapely.box(0, 0, 20, 8), 9),
        Point(15, 4).buffer(4),
        shapely.box(2, 0, 12, 7),
    ]
    for polygon in inner:
        small, large = (wrapping.footprint_strain(area(polygon), 60.0, 60.0, size) for size in (1.0, 1.5))
        assert pytest.approx([2.25 * strain for strain in small]) == large
        around = shapely.buffer(polygon, 3.0)
        assert abs(small[0]) < abs(wrapping.footprint_strain(area(around), 60.0, 60.0)[0])


def test_a_text_is_strained_by_its_height() -> None:
    """Letters in a row of 70 x 8 mm on a cap of 60 mm need 0.15 %, of which a disc around them would say 4.3 %."""
    letters = area(*(shapely.box(12.4 * k, 0, 12.4 * k + 8, 8) for k in range(6)))

    edge, _ = wrapping.footprint_strain(letters, 60.0, 60.0)
    around, _ = curvature.wrapping_strain(math.hypot(70.0, 8.0) / 2.0, 60.0, 60.0)

    assert pytest.approx(-(8.0**2) / 12.0 / 3600.0, rel=0.03) == edge
    assert pytest.approx(-0.043, abs=0.001) == around


def test_film_on_a_cylinder_or_a_plane_is_not_strained() -> None:
    """Without Gaussian curvature there is no membrane strain."""
    for radii in ((60.0, math.inf), (math.inf, math.inf), (-60.0, math.inf)):
        assert (0.0, 0.0) == tuple(map(abs, wrapping.footprint_strain(area(disc(5.0)), *radii)))
