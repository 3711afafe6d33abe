"""Geometry against closed forms: elementary geometry, checked by hand; no other source is needed."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon
from shapely.affinity import rotate, translate

from featherline_service.shape.outlines import widths
from featherline_service.shape.outlines.svg import paths
from featherline_service.shape.placement import containment, curvature
from featherline_service.shape.placement.containment import Pose

TOLERANCE = 1e-3


def circle(radius: float, segments: int = 256) -> Polygon:
    """Return a circle as a polygon midway between the inscribed and the circumscribed one."""
    return Point(0, 0).buffer(radius / math.sqrt(math.cos(math.pi / 2 / segments)), segments)


def area(*polygons: Polygon) -> MultiPolygon:
    """Return polygons as one region."""
    return MultiPolygon(list(polygons))


@pytest.mark.parametrize("angle", [0.0, 17.0, 45.0, 90.0, 133.3])
def test_bar_of_an_h_is_its_narrowest_stroke(angle: float) -> None:
    """The narrowest stroke of an H is its bar at every rotation."""
    h = shapely.union_all([shapely.box(0, 0, 2, 10), shapely.box(6, 0, 8, 10), shapely.box(0, 4.5, 8, 5.5)])

    detail = widths.measure(area(rotate(h, angle)), TOLERANCE)

    assert pytest.approx(1.0, abs=1e-9) == detail.stroke
    assert pytest.approx(4.0, abs=1e-9) == detail.gap
    assert (1, 0, 12) == (detail.pieces, detail.counters, detail.corners)


@pytest.mark.parametrize("angle", [0.0, 30.0, 77.7])
def test_shorter_side_of_a_rectangle_is_its_stroke(angle: float) -> None:
    """The stroke of a rectangle is its shorter side, and a rectangle has no gap."""
    detail = widths.measure(area(rotate(shapely.box(0, 0, 30, 7), angle)), TOLERANCE)

    assert pytest.approx(7.0, abs=1e-9) == detail.stroke
    assert detail.gap is None


@pytest.mark.parametrize(("outer", "inner"), [(10.0, 6.0), (10.0, 9.5), (10.0, 1.0), (3.0, 2.0)])
def test_annulus_has_its_width_and_its_counter(outer: float, inner: float) -> None:
    """The stroke of a ring is the difference of its radii, and its counter is the inner diameter."""
    detail = widths.measure(area(circle(outer).difference(circle(inner))), 1e-4)

    assert pytest.approx(outer - inner, rel=1e-4) == detail.stroke
    assert pytest.approx(2.0 * inner, rel=1e-4) == detail.gap
    assert 1 == detail.counters


def test_inscribed_circle_bounds_the_stroke_of_a_triangle() -> None:
    """The stroke of the 3-4-5 triangle is the diameter of its inscribed circle of radius 1."""
    detail = widths.measure(area(Polygon([(0, 0), (4, 0), (0, 3)])), TOLERANCE)

    assert pytest.approx(2.0, rel=1e-3) == detail.stroke
    assert pytest.approx(math.atan(3 / 4)) == detail.sharpest


def test_points_that_face_one_another_leave_the_gap_between_them() -> None:
    """The gap between two triangles tip to tip is the distance of the tips."""
    tips = area(Polygon([(0, 0), (-5, 5), (-5, -5)]), Polygon([(0.7, 0), (6, 5), (6, -5)]))

    assert pytest.approx(0.7) == widths.measure(tips, TOLERANCE).gap


def test_neck_of_an_hourglass_is_its_stroke() -> None:
    """The stroke of two cones that meet in a neck is the neck's width."""
    hourglass = Polygon([(-5, -8), (5, -8), (0.4, 0), (5, 8), (-5, 8), (-0.4, 0)])

    assert pytest.approx(0.8) == widths.measure(area(hourglass), TOLERANCE).stroke


def test_nested_squares_fill_every_other_ring() -> None:
    """Nested squares of 100, 80, 60 and 40 have the area 100^2 - 80^2 + 60^2 - 40^2 by the even-odd rule."""
    data = "M0 0H100V100H0ZM10 10H90V90H10ZM20 20H80V80H20ZM30 30H70V70H30Z"

    assert pytest.approx(5600.0, abs=1e-9) == paths.region(data, "evenodd", 0.01).area
    assert pytest.approx(10000.0, abs=1e-9) == paths.region(data, "nonzero", 0.01).area


def test_square_in_a_square_scales_to_the_clearance() -> None:
    """A unit square centred in a square of 40 with a clearance of 3 grows to 34."""
    free = containment.free_area(area(shapely.box(-20, -20, 20, 20)))

    scale = containment.largest_scale(free, area(shapely.box(0, 0, 1, 1)), Pose(0, 0), 3.0)

    assert pytest.approx(34.0, rel=1e-9) == scale


def test_turned_square_in_a_square_scales_by_its_diagonal() -> None:
    """A unit square turned by 45 degrees and centred in a square of 40 grows to 40 / sqrt 2."""
    free = containment.free_area(area(shapely.box(-20, -20, 20, 20)))

    scale = containment.largest_scale(free, area(shapely.box(0, 0, 1, 1)), Pose(0, 0, math.pi / 4), 0.0)

    assert pytest.approx(40.0 / math.sqrt(2.0), rel=1e-5) == scale


def test_disc_in_a_triangle_scales_to_the_inscribed_circle() -> None:
    """A unit disc about the incentre of the 3-4-5 triangle grows to its inscribed circle of radius 1."""
    free = containment.free_area(area(Polygon([(0, 0), (4, 0), (0, 3)])))

    scale = containment.largest_scale(free, area(circle(1.0)), Pose(1, 1), 0.0)

    assert pytest.approx(1.0, rel=2e-4) == scale


def test_disc_beside_an_eyelet_scales_until_it_touches() -> None:
    """A disc between a corner and a centred eyelet touches both: radius (20 sqrt 2 - 2.5) / (1 + sqrt 2)."""
    panel = area(shapely.box(-20, -20, 20, 20))
    free = containment.free_area(panel, (("eyelets", area(circle(2.5))),))
    radius = (20.0 * math.sqrt(2.0) - 2.5) / (1.0 + math.sqrt(2.0))
    centre = 20.0 - radius

    scale = containment.largest_scale(free, area(circle(8.0)), Pose(centre, centre), 0.0)

    assert pytest.approx(radius / 8.0, rel=2e-4) == scale


def test_room_is_the_distance_to_the_nearest_barrier() -> None:
    """A square of 10 in a square of 40 has room of 15; beside a keep-out 4 from it, 4."""
    panel, square = area(shapely.box(-20, -20, 20, 20)), area(shapely.box(-5, -5, 5, 5))

    alone = containment.room(containment.free_area(panel), square)
    beside = containment.room(containment.free_area(panel, (("seam", area(shapely.box(9, -20, 10, 20))),)), square)

    assert containment.Room(15.0, "edge") == alone
    assert containment.Room(4.0, "seam") == beside


@pytest.mark.parametrize("over", [0.5, 3.0, 11.0])
def test_room_is_negative_by_the_overreach(over: float) -> None:
    """A square pushed over the edge has a clearance of minus that distance."""
    free = containment.free_area(area(shapely.box(-20, -20, 20, 20)))
    pushed = area(translate(shapely.box(-5, -5, 5, 5), 15.0 + over))

    assert pytest.approx(-over) == containment.room(free, pushed).clearance


def test_room_over_an_eyelet_is_the_eyelets_radius() -> None:
    """Artwork that covers an eyelet overlaps it by the eyelet's radius, at its centre."""
    free = containment.free_area(area(shapely.box(-20, -20, 20, 20)), (("eyelets", area(circle(2.5))),))

    room = containment.room(free, area(shapely.box(-9, -9, 9, 9)))

    assert pytest.approx(-2.5, rel=1e-3) == room.clearance
    assert "eyelets" == room.bound_by


def test_art_around_an_eyelet_is_refused_though_its_outline_is_clear() -> None:
    """Solid artwork around an eyelet covers the eyelet and is refused; a ring around it fits."""
    free = containment.free_area(area(shapely.box(-20, -20, 20, 20)), (("eyelets", area(circle(2.5))),))
    solid, ring = shapely.box(-9, -9, 9, 9), shapely.box(-9, -9, 9, 9).difference(shapely.box(-7, -7, 7, 7))

    assert not containment.fits(free, area(solid), 1.0)
    assert containment.fits(free, area(ring), 1.0)


def pressed_disc(radius: float, sphere: float, poisson: float) -> tuple[float, float]:
    """Return hoop strain at the edge and at the centre of a disc pressed on a sphere, by least membrane energy.

    Föppl-von Kármán: radial displacement u, deflection r^2 / 2R; strains u' + (r / R)^2 / 2 and u / r. Ritz's method
    with odd powers of r.
    """
    nodes, weights = np.polynomial.legendre.leggauss(24)
    r, weight = radius * (nodes + 1.0) / 2.0, weights * radius / 2.0
    powers = (1, 3, 5)
    radial = np.array([k * r ** (k - 1) for k in powers])
    hoop = np.array([r ** (k - 1) for k in powers])
    given = (r / sphere) ** 2 / 2.0
    ring = weight * r
    stiffness = (radial * ring) @ radial.T + (hoop * ring) @ hoop.T
    stiffness += poisson * ((radial * ring) @ hoop.T + (hoop * ring) @ radial.T)
    load = -(radial * ring) @ given - poisson * (hoop * ring) @ given
    u = np.linalg.solve(stiffness, load)
    return float(sum(c * radius ** (k - 1) for c, k in zip(u, powers, strict=True))), float(u[0])


@pytest.mark.parametrize("poisson", [0.0, 0.3, 0.45])
def test_disc_on_a_sphere_is_strained_by_the_least_energy(poisson: float) -> None:
    """Film on a sphere puckers by a^2 / 8 R^2 at its edge and stretches by (1 - nu) a^2 / 16 R^2 at its centre."""
    edge, centre = curvature.wrapping_strain(10.0, 50.0, 50.0, poisson)

    assert pytest.approx((-0.005, (1.0 - poisson) * 0.0025)) == (edge, centre)
    assert pytest.approx(pressed_disc(10.0, 50.0, poisson), rel=1e-9) == (edge, centre)


def test_cylinder_bends_film_and_does_not_stretch_it() -> None:
    """Film on a cylinder has no membrane strain, and a bending strain of t / 2R at its face."""
    edge, centre = curvature.wrapping_strain(30.0, 60.0, math.inf)

    assert (0.0, 0.0) == (abs(edge), centre)
    assert pytest.approx(0.09 / 120.0) == curvature.bending_strain(0.09, 60.0)


def test_gap_under_a_flat_platen_is_the_sagitta() -> None:
    """The gap over a cylinder of radius 50 is R - sqrt(R^2 - a^2) at a distance a."""
    gap = curvature.gap_under_platen(30.0, 10.0, 50.0, math.inf)

    assert pytest.approx(50.0 - math.sqrt(50.0**2 - 30.0**2)) == gap
    assert math.inf == curvature.gap_under_platen(60.0, 10.0, 50.0, math.inf)


def test_pressure_at_the_corners_follows_a_linear_pad() -> None:
    """On a linear pad the corners lose the stiffness times the difference of the gap there and the mean gap."""
    stiffness, thickness, mean = 1000.0, 8.0, 200.0  # kPa per unit strain, mm, kPa
    half_length, half_width, along, across = 20.0, 10.0, 900.0, 700.0
    # For shallow sagittas x^2 / 2R the mean over the rectangle is a third of that at its side.
    gap = half_length**2 / (2.0 * along) + half_width**2 / (2.0 * across)

    corner = curvature.corner_pressure(
        half_length, half_width, along, across, mean, thickness, ((0.0, 0.0), (0.9 * stiffness, 0.9))
    )

    assert pytest.approx(mean - stiffness * (2.0 / 3.0) * gap / thickness, rel=2e-4) == corner
