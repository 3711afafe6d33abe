"""Curvature of panels: the gap under a flat platen, the least pressure, and the strain in the film.

A panel is shallow, with two principal radii: infinite in a flat direction, positive where it bends away from the
platen, negative where it bends towards it. Both positive is a cap, opposite signs are a saddle, both negative is a
bowl.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.polynomial.legendre import leggauss

# Gauss-Legendre points from 0 to 1, and their weights with a sum of one.
_NODES, _WEIGHTS = ((values + shift) / 2.0 for values, shift in zip(leggauss(12), (1.0, 0.0), strict=True))
_HALVINGS: Final = 60
_NEGLIGIBLE: Final = 1e-14  # a step of the depth, as a share of the pad's thickness
# Beyond its published curve a pad is taken to continue along the last slope, up to this strain.
_SOLID: Final = 0.999

# Poisson's ratio of a soft polymer film: nearly incompressible. From memory.
FILM_POISSON: Final = 0.45


def gap_under_platen(half_length: float, half_width: float, radius_along: float, radius_across: float) -> float:
    """Return the largest gap between a flat platen and the panel under a rectangle around the panel's middle.

    The platen rests on the highest points: the middle of a cap, the ends of a saddle's rising direction. The gap is
    largest at the corners of a cap, and at the ends of a saddle's falling direction.

    Args:
        half_length: Half the rectangle's side along the first radius [mm].
        half_width: Half its side along the second [mm].
        radius_along: First principal radius [mm], infinite when flat, negative where the panel bends to the platen.
        radius_across: Second principal radius [mm], as the first.

    Returns:
        The gap [mm]: the sum of both directions' sagittas, exact on a cylinder; infinite where the panel turns away
        before the rectangle's side.
    """
    return _sagitta(half_length, radius_along) + _sagitta(half_width, radius_across)


def _sagitta(half_chord: float, radius: float) -> float:
    """Return the height of an arc over a chord, whichever way it bends."""
    radius = abs(radius)
    if math.isinf(radius):
        return 0.0
    if half_chord >= radius:
        return math.inf
    # R - sqrt(R^2 - a^2), without cancellation on large radii.
    return half_chord * half_chord / (radius + math.sqrt(radius * radius - half_chord * half_chord))


def radius_of_rise(rise: float, length: float) -> float:
    """Return the radius of a panel that a straight edge stands off from.

    On a panel that bulges the edge touches in its middle, and its ends stand off; on one that is hollow its ends touch,
    and its middle stands off. Either way the edge is as long as the chord of an arc whose height is the rise:
    ``R = (l^2 / 4 + h^2) / (2 h)``.

    Args:
        rise: How far it stands off [mm], negative where the panel is hollow, less than half the length.
        length: The straight edge's [mm], above zero.

    Returns:
        The radius [mm], negative where the panel is hollow; infinite without a rise.

    References:
        Euclid, Elements III.35 (intersecting chords): h (2 R - h) = (l / 2)^2.
    """
    if rise == 0.0:
        return math.inf
    return (0.25 * length * length + rise * rise) / (2.0 * rise)


@lru_cache(maxsize=4096)
def corner_pressure(  # noqa: PLR0917 - a cached function is called by position
    half_length: float,
    half_width: float,
    radius_along: float,
    radius_across: float,
    mean_pressure: float,
    thickness: float,
    compression: tuple[tuple[float, float], ...],
) -> float:
    """Return the least pressure on a rectangle pressed between a flat platen and a pad, on a curved panel.

    It is at the corners of a cap, and at the ends of a saddle's falling direction.

    The pad is a bed of independent columns (Winkler) that follow its compression curve; the panel does not bend.

    Args:
        half_length: Half the rectangle's side along the first radius [mm], less than that radius.
        half_width: Half its side along the second [mm], less than that radius.
        radius_along: First principal radius [mm], infinite when flat, negative where the panel bends to the platen.
        radius_across: Second principal radius [mm], as the first.
        mean_pressure: Mean pressure over the rectangle [kPa].
        thickness: Thickness of the unloaded pad [mm].
        compression: Points of its compression curve, pressure [kPa] and strain, both rising from zero.

    Returns:
        The pressure [kPa]; zero where a part of the rectangle does not touch the platen.

    References:
        K. L. Johnson, *Contact Mechanics*, Cambridge 1985, section 4.3, elastic foundation model (from memory).
    """
    pressures, strains = (np.array(column) for column in zip(*compression, strict=True))
    slope = (pressures[-1] - pressures[-2]) / (strains[-1] - strains[-2])
    pressures = np.append(pressures, pressures[-1] + slope * (_SOLID - strains[-1]))
    strains = np.append(strains, _SOLID)
    # The quarters of the rectangle are alike, so one is integrated.
    gaps = np.add.outer(_gaps(half_length, radius_along), _gaps(half_width, radius_across))
    shares = np.outer(_WEIGHTS, _WEIGHTS)
    corner = gap_under_platen(half_length, half_width, radius_along, radius_across)

    # The mean is piecewise linear and rises: Newton's step is exact once it lies on the right piece.
    slopes = np.concatenate([[0.0], np.diff(pressures) / np.diff(strains), [0.0]])
    begins = np.concatenate([[0], np.arange(len(strains))])
    shallow, deep = 0.0, thickness * _SOLID + corner
    depth = (shallow + deep) / 2.0
    for _ in range(_HALVINGS):
        strain = (depth - gaps) / thickness
        piece = np.searchsorted(strains, strain)
        begin, rise = begins[piece], slopes[piece]
        excess = float(np.sum(shares * (pressures[begin] + rise * (strain - strains[begin])))) - mean_pressure
        shallow, deep = (depth, deep) if excess < 0.0 else (shallow, depth)
        slope = float(np.sum(shares * rise)) / thickness
        step = excess / slope if slope > 0.0 else math.inf
        if abs(step) <= _NEGLIGIBLE * thickness:
            break
        depth = depth - step if shallow < depth - step < deep else (shallow + deep) / 2.0
    return float(np.interp((depth - corner) / thickness, strains, pressures))


def _gaps(half_side: float, radius: float) -> list[float]:
    """Return the gaps under a platen at the nodes from the middle of a side to its end, for one direction."""
    sagittas = [_sagitta(half_side * node, radius) for node in _NODES]
    return sagittas if radius > 0.0 else [_sagitta(half_side, radius) - sagitta for sagitta in sagittas]


def wrapping_strain(
    disc_radius: float, radius_along: float, radius_across: float, poisson: float = FILM_POISSON
) -> tuple[float, float]:
    """Return the membrane strain of a flat disc of film pressed onto a curved panel, at its edge and at its centre.

    Args:
        disc_radius: Radius of the disc [mm].
        radius_along: First principal radius [mm], infinite when flat, negative where the panel bends the other way.
        radius_across: Second principal radius [mm], as the first.
        poisson: Poisson's ratio of the film.

    Returns:
        Hoop strain at the edge, negative on a cap (compression: it puckers), and equal biaxial strain at the centre,
        positive (tension); on a saddle the signs change. Zero on a cylinder, which film wraps without stretching.
        `wrapping.footprint_strain` is for any footprint.

    References:
        Föppl-von Kármán plate on a sphere of radius R: edge ``-a^2 / 8 R^2``, centre ``(1 - nu) a^2 / 16 R^2`` (closed
        form). For two radii the Gaussian curvature ``1 / (R1 R2)`` replaces ``1 / R^2``, exactly for a shallow cap.
    """
    stretch = disc_radius * disc_radius / (radius_along * radius_across)
    return -stretch / 8.0, (1.0 - poisson) * stretch / 16.0


def bending_strain(thickness: float, radius: float) -> float:
    """Return the strain at the face of a film bent to a radius of either sign: ``t / 2R`` (Euler-Bernoulli).

    Args:
        thickness: Thickness of the film, in any length unit.
        radius: Radius of the bend, in the same unit.
    """
    return thickness / (2.0 * abs(radius))
