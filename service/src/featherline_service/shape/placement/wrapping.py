"""Wrapping: the membrane strain of a footprint of film on a doubly curved panel.

Film on a panel of Gaussian curvature K is strained by K times a shape factor of its footprint, an area. A disc of
radius a has -a^2 / 8 at its edge, a long strip of width w has -w^2 / 12: a long text is strained by its height, not its
length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.polynomial.legendre import legder, leggauss, legvander
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from featherline_service.runtime.cache import cached
from featherline_service.shape.placement.curvature import FILM_POISSON

Floats = NDArray[np.float64]

# Degree of the displacements, and Gauss-Legendre points along a side of a triangle, which integrate their energy
# exactly. The edge strain of a square is then within 2 % of the published one, that of a 2:1 rectangle within 5 %; a
# disc, an ellipse and a long strip have displacements of degree 3.
_DEGREE: Final = 7
_POINTS: Final = 7
# The hull's outline is simplified by this share of its box's shorter side: strains change by 1 % or less.
_SIMPLIFIED: Final = 0.0025
_SAMPLES: Final = 80  # points along the edge
_RIGID: Final = 1e-12  # relative energy below which a displacement is a motion of the whole


@dataclass(frozen=True)
class StrainFactors:
    """Strain of a sheet of film per Gaussian curvature, an area: along its edge and at its centre."""

    edge: float
    centre: float


def gaussian_curvature(radius_along: float, radius_across: float) -> float:
    """Return the Gaussian curvature of a panel [1/mm^2].

    Args:
        radius_along: First principal radius [mm], infinite when flat, negative where the panel bends the other way.
        radius_across: Second principal radius [mm], as the first. Opposite signs are a saddle, with a negative
        curvature.
    """
    return 1.0 / (radius_along * radius_across)


def footprint_strain(
    footprint: MultiPolygon,
    radius_along: float,
    radius_across: float,
    scale: float = 1.0,
    poisson: float = FILM_POISSON,
) -> tuple[float, float]:
    """Return the membrane strain of film pressed onto a curved panel, along its edge and at its centre.

    Args:
        footprint: The artwork, placed anywhere and in any rotation [mm or its own units]. Its convex hull counts, since
            the carrier holds its parts together while they are pressed.
        radius_along: First principal radius [mm], infinite when flat, negative where the panel bends the other way.
        radius_across: Second principal radius [mm], as the first.
        scale: Millimetres per unit of the footprint. Strain grows with its square, and the footprint is computed once.
        poisson: Poisson's ratio of the film.

    Returns:
        The largest strain along the edge, negative on a cap (compression: it puckers) and positive on a saddle, and the
        larger principal strain at the centroid, of the opposite sign. Zero on a cylinder.

    References:
        As in `strain_factors`. For a disc, the closed form of `curvature.wrapping_strain`.
    """
    factors = strain_factors(_hull(footprint), poisson)
    curvature = scale * scale * gaussian_curvature(radius_along, radius_across)
    return curvature * factors.edge, curvature * factors.centre


def _hull(footprint: MultiPolygon) -> Polygon:
    """Return a footprint's convex hull with few corners."""
    hull = shapely.convex_hull(footprint)
    left, low, right, high = hull.bounds
    simple: Polygon = shapely.simplify(hull, _SIMPLIFIED * min(right - left, high - low))
    return simple


@cached
def strain_factors(hull: Polygon, poisson: float = FILM_POISSON) -> StrainFactors:
    """Return the strain of a convex sheet of film per Gaussian curvature, in the square of its unit of length.

    The displacements in the sheet that take the least membrane energy, by Ritz's method with polynomials; the energy
    leaves the edges free.

    Args:
        hull: The sheet, convex, with an area above zero.
        poisson: Poisson's ratio of the film.

    References:
        Membrane strain of a shallow shell, compatibility with the Gaussian curvature: Föppl-von Kármán, as in S.
        Timoshenko and S. Woinowsky-Krieger, *Theory of Plates and Shells*, 2nd ed., McGraw-Hill 1959, section 100 (from
        memory). The stress function of a sheet with free edges is the deflection of a clamped plate of the same outline
        under uniform load, so that the closed forms and tables of those hold for it.
    """
    corners, square = _upright(hull)
    displacements = _Displacements(corners)
    points, weights = _quadrature(corners)
    strains, imposed = displacements.strains(points), _imposed(points)
    elastic = np.array([[1.0, poisson, 0.0], [poisson, 1.0, 0.0], [0.0, 0.0, 2.0 * (1.0 - poisson)]])
    root = np.linalg.cholesky(elastic).T
    # Least squares in energy: the strains of the displacements and the imposed ones, weighted alike.
    rows = np.tensordot(root, strains * np.sqrt(weights)[:, None], axes=1).reshape(-1, strains.shape[2])
    target = -np.tensordot(root, imposed * np.sqrt(weights), axes=1).reshape(-1)
    solution = np.linalg.lstsq(rows.T @ rows, rows.T @ target, rcond=_RIGID)[0]
    edge, tangent = _edge(corners)
    xx, yy, xy = displacements.strains(edge) @ solution + _imposed(edge)
    along = xx * tangent[:, 0] ** 2 + yy * tangent[:, 1] ** 2 + 2.0 * xy * tangent[:, 0] * tangent[:, 1]
    middle = np.zeros((1, 2))
    xx, yy, xy = (displacements.strains(middle) @ solution + _imposed(middle))[:, 0]
    principal = (xx + yy) / 2.0 + math.hypot((xx - yy) / 2.0, xy)
    return StrainFactors(edge=float(along.min()) * square, centre=float(principal) * square)


def _upright(hull: Polygon) -> tuple[Floats, float]:
    """Return the corners of a polygon about its centroid, along its smallest rectangle, and the square of their unit.

    The unit is half the rectangle's longer side. The corners run counter-clockwise.
    """
    rectangle = shapely.get_coordinates(shapely.minimum_rotated_rectangle(hull))
    sides = np.diff(rectangle, axis=0)[:2]
    longer = sides[int(np.argmax(np.hypot(*sides.T)))]
    unit = math.hypot(*longer) / 2.0
    cosine, sine = longer / (2.0 * unit)
    centre = shapely.get_coordinates(shapely.centroid(hull))[0]
    corners = shapely.get_coordinates(shapely.orient_polygons(hull))[:-1] - centre
    return corners @ np.array([[cosine, -sine], [sine, cosine]]) / unit, unit * unit


def _quadrature(corners: Floats) -> tuple[Floats, Floats]:
    """Return points and weights of an integral over a convex polygon around the origin: a fan of triangles."""
    nodes, weights = leggauss(_POINTS)
    out, over = (grid.ravel() for grid in np.meshgrid((nodes + 1.0) / 2.0, (nodes + 1.0) / 2.0, indexing="ij"))
    share = np.outer(weights, weights).ravel() / 4.0 * out
    start, end = corners, np.roll(corners, -1, axis=0)
    doubled = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    points = out[:, None] * ((1.0 - over)[:, None] * start[:, None, :] + over[:, None] * end[:, None, :])
    return points.reshape(-1, 2), (doubled[:, None] * share).ravel()


def _imposed(points: Floats) -> Floats:
    """Return strains xx, yy and xy that a flat sheet needs for a Gaussian curvature of one, shape (3, points)."""
    x, y = points.T
    return np.stack([-y * y / 4.0, -x * x / 4.0, np.zeros(len(points))])


class _Displacements:
    """Displacements in both directions as products of Legendre polynomials over the box of a polygon."""

    def __init__(self, corners: Floats) -> None:
        low, high = corners.min(axis=0), corners.max(axis=0)
        self._middle, self._half = (low + high) / 2.0, (high - low) / 2.0
        self._x, self._y = np.array([(i, j) for i in range(_DEGREE + 1) for j in range(_DEGREE + 1 - i)]).T
        slopes = [legder(row) for row in np.eye(_DEGREE + 1)]
        self._slopes = np.array([np.pad(slope, (0, _DEGREE + 1 - len(slope))) for slope in slopes]).T

    def strains(self, points: Floats) -> Floats:
        """Return the strains xx, yy and xy of all displacements, shape (3, points, displacements)."""
        scaled = (points - self._middle) / self._half
        values = [legvander(column, _DEGREE) for column in scaled.T]
        slopes = [value @ self._slopes / half for value, half in zip(values, self._half, strict=True)]
        by_x = slopes[0][:, self._x] * values[1][:, self._y]
        by_y = values[0][:, self._x] * slopes[1][:, self._y]
        none = np.zeros_like(by_x)
        return np.stack([np.hstack([by_x, none]), np.hstack([none, by_y]), np.hstack([by_y, by_x]) / 2.0])


def _edge(corners: Floats) -> tuple[Floats, Floats]:
    """Return points along a polygon's edge and unit vectors along it."""
    side = np.roll(corners, -1, axis=0) - corners
    length = np.hypot(*side.T)
    count = np.maximum(1, np.ceil(_SAMPLES * length / length.sum())).astype(np.intp)
    which = np.repeat(np.arange(len(side)), count)
    share = (np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + 0.5) / count[which]
    return corners[which] + share[:, None] * side[which], (side / length[:, None])[which]
