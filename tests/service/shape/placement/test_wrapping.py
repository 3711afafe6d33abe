from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon

from featherline_service.shape.placement import wrapping

SQUARE = shapely.box(-1, -1, 1, 1)


def test_the_curvature_is_of_both_radii() -> None:
    """Of a cap above zero, of a saddle below, of a cylinder zero."""
    assert (1.0 / 5400.0, -1.0 / 5400.0, 0.0) == (
        wrapping.gaussian_curvature(60.0, 90.0),
        wrapping.gaussian_curvature(-60.0, 90.0),
        wrapping.gaussian_curvature(60.0, math.inf),
    )


@pytest.mark.parametrize("poisson", [0.0, 0.3, 0.45])
def test_the_factors_of_a_disc_are_the_closed_form(poisson: float) -> None:
    """-a^2 / 8 along the edge and (1 - nu) a^2 / 16 in the middle: a clamped plate (Timoshenko 1959, from memory)."""
    factors = wrapping.strain_factors(Point(3, -2).buffer(4.0, 64), poisson)

    assert pytest.approx((-2.0, 1.0 - poisson), rel=2e-3) == (factors.edge, factors.centre)


def test_strain_grows_with_the_curvature_and_the_square_of_the_scale() -> None:
    """Along the edge and in the middle, of opposite signs, which a saddle turns round."""
    footprint = MultiPolygon([Point(0, 0).buffer(1.0, 64)])
    edge, centre = wrapping.footprint_strain(footprint, 10.0, 20.0, 1.0, 0.2)

    assert pytest.approx((-1.0 / 1600.0, 0.05 / 200.0), rel=0.02) == (edge, centre)
    assert pytest.approx((9.0 * edge, 9.0 * centre)) == wrapping.footprint_strain(footprint, 10.0, 20.0, 3.0, 0.2)
    assert pytest.approx((-edge, -centre)) == wrapping.footprint_strain(footprint, -10.0, 20.0, 1.0, 0.2)
    assert (0.0, 0.0) == tuple(map(abs, wrapping.footprint_strain(footprint, 10.0, math.inf, 1.0, 0.2)))


def test_the_convex_hull_of_a_footprint_counts() -> None:
    """Two squares are one bar; corners that stand out by less than a four-hundredth of its height are left out."""
    parts = MultiPolygon([shapely.box(0, 0, 10, 10), shapely.box(20, 0, 30, 10)])
    notched = MultiPolygon([Polygon([(0, 0), (30, 0), (30, 10), (15, 10.024), (0, 10)])])
    pointed = MultiPolygon([Polygon([(0, 0), (30, 0), (30, 10), (15, 10.026), (0, 10)])])

    assert wrapping._hull(parts).equals(shapely.box(0, 0, 30, 10))
    assert [4, 5] == [len(wrapping._hull(shape).exterior.coords) - 1 for shape in (notched, pointed)]


def test_a_polygon_is_put_upright_about_its_centroid() -> None:
    """Its longer side lies along x and is two units long; corners run counter-clockwise."""
    tilted = shapely.affinity.rotate(shapely.box(0, 0, 4, 2), 30.0)

    corners, square = wrapping._upright(tilted)

    assert pytest.approx(4.0) == square
    assert (
        pytest.approx(np.array([[-1.0, -0.5], [1.0, -0.5], [1.0, 0.5], [-1.0, 0.5]]))
        == corners[np.lexsort((np.arctan2(corners[:, 1], corners[:, 0]),))]
    )
    assert shapely.is_ccw(shapely.LinearRing(corners))


def test_the_quadrature_integrates_polynomials_exactly() -> None:
    """Over a square of side 2: area 4, x^2 gives 4/3, x^6 y^4 gives 4/35, and odd powers nothing."""
    points, weights = wrapping._quadrature(shapely.get_coordinates(SQUARE.exterior)[:-1])
    x, y = points.T

    integrals = [float(np.sum(weights * values)) for values in (np.ones(len(x)), x * x, x**6 * y**4, x, y**3)]

    assert pytest.approx([4.0, 4.0 / 3.0, 4.0 / 35.0, 0.0, 0.0], abs=1e-12) == integrals


def test_imposed_strains_have_a_curvature_of_one() -> None:
    """Minus the second derivatives of xx by y and of yy by x is one (compatibility, with no shear)."""
    strains = wrapping._imposed(np.array([[0.0, 0.0], [2.0, 4.0], [-1.0, 3.0]]))

    assert [[0.0, -4.0, -2.25], [0.0, -1.0, -0.25], [0.0, 0.0, 0.0]] == (strains + 0.0).tolist()


def test_points_lie_along_the_edge_with_their_directions() -> None:
    """Eighty in all by the length of the sides, each in the middle of its piece; none of the sides is without one."""
    points, along = wrapping._edge(np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 10.0], [0.0, 10.0]]))

    assert (80, 80) == (len(points), len(along))
    assert [[0.5, 0.0], [29.5, 0.0], [30.0, 0.5]] == points[[0, 29, 30]].tolist()
    assert [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]] == along[[0, 30, 40, 79]].tolist()
    sliver, _ = wrapping._edge(np.array([[0.0, 0.0], [1000.0, 0.0], [1000.0, 0.1]]))
    assert 1 == int(np.sum(sliver[:, 0] == 1000.0))


def test_displacements_are_strained_as_their_derivatives_say() -> None:
    """By central differences of the same Legendre polynomials, for every displacement of both directions."""
    corners = np.array([[-1.0, -0.4], [1.2, -0.4], [1.2, 0.6], [-1.0, 0.6]])
    displacements = wrapping._Displacements(corners)
    point, step = np.array([[0.3, 0.1]]), 1e-6

    def values(at: np.ndarray) -> np.ndarray:
        scaled = (at - (0.1, 0.1)) / (1.1, 0.5)
        by_degree = [np.polynomial.legendre.legvander(column, 7) for column in scaled.T]
        return np.array([float(by_degree[0][0, i] * by_degree[1][0, j]) for i in range(8) for j in range(8 - i)])

    ahead, above = np.array([[step, 0.0]]), np.array([[0.0, step]])
    by_x = (values(point + ahead) - values(point - ahead)) / (2.0 * step)
    by_y = (values(point + above) - values(point - above)) / (2.0 * step)
    xx, yy, xy = displacements.strains(point)[:, 0]

    none = np.zeros(36)
    assert pytest.approx(np.concatenate([by_x, none]), abs=1e-6) == xx
    assert pytest.approx(np.concatenate([none, by_y]), abs=1e-6) == yy
    assert pytest.approx(np.concatenate([by_y, by_x]) / 2.0, abs=1e-6) == xy
