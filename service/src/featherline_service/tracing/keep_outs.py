"""What is drawn within a panel: eyelets as black rings or dots, and areas hatched in red."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
import shapely

_UNROUND: Final = 0.08
"""[-] Deviation of the distances to its middle, as a share of them, up to which a shape is round; of a square 0.11."""
_SMALLEST_MM: Final = 1.5
_LARGEST_MM: Final = 16.0
"""[mm] Diameters of eyelets."""
_OPEN: Final = 0.12
"""Share of a ring's area that is its hole, from which on it is a ring and no dot with a fleck."""
_HATCH_MM: Final = 4.5
"""Strokes no further apart than this are one hatching: what the sheet asks for, and half as much again."""
_SPECK_MM: Final = 0.25
_BESIDE_MM: Final = 0.5
"""By so much what is kept free is larger than its strokes, whose ends make no straight edge."""
_SMALLEST_AREA_MM2: Final = 12.0
_UNREAD_MM2: Final = 2.0
_EDGE_SHIFT: Final = 0.22
"""[-] Of an edge's width, by which ink seems to reach further where it is told from paper at 0.74 of its value.

For a Gaussian blur of deviation s and ink of 0.1: 0.55 s, and an edge is 2.5 s wide.
"""
_SMOOTH_MM: Final = 0.1


class Eyelet(NamedTuple):
    """A round eyelet [mm]."""

    x: float
    y: float
    radius: float


class Within(NamedTuple):
    """What is drawn within a panel: its eyelets, and black ink that is none, by its middle [mm]."""

    eyelets: tuple[Eyelet, ...]
    unread: tuple[tuple[float, float], ...]


def black_within(areas: Sequence[shapely.Polygon], outline: shapely.Polygon, blur_mm: float) -> Within:
    """Return what the dark areas within an outline are.

    A ring is an eyelet whose edge is the middle of the pen's line; a dot is one whose edge is its own.

    Args:
        areas: The dark areas [mm].
        outline: The panel's [mm].
        blur_mm: How wide an edge is.
    """
    eyelets: list[Eyelet] = []
    unread = []
    for area in areas:
        whole = shapely.Polygon(area.exterior)
        middle = whole.centroid
        if not outline.contains(middle):
            continue
        radius = _radius(area, whole, blur_mm)
        if radius is not None:
            eyelets.append(Eyelet(middle.x, middle.y, radius))
        elif area.area > _UNREAD_MM2:
            unread.append((middle.x, middle.y))
    return Within(tuple(sorted(eyelets)), tuple(sorted(unread)))


def _radius(area: shapely.Polygon, whole: shapely.Polygon, blur_mm: float) -> float | None:
    """Return the radius of an eyelet; None if the shape is none."""
    outer = math.sqrt(whole.area / math.pi)
    if not _is_round(whole) or not _SMALLEST_MM <= 2.0 * outer <= _LARGEST_MM:
        return None
    holes = sorted((shapely.Polygon(ring) for ring in area.interiors), key=lambda hole: hole.area)
    if not holes or holes[-1].area < _OPEN * whole.area:
        return outer - _EDGE_SHIFT * blur_mm
    if not _is_round(holes[-1]):
        return None
    return 0.5 * (outer + math.sqrt(holes[-1].area / math.pi))


def _is_round(shape: shapely.Polygon) -> bool:
    middle = shapely.get_coordinates(shape.centroid)
    away = np.hypot(*(shapely.get_coordinates(shape.exterior.segmentize(_SMOOTH_MM)) - middle).T)
    return float(away.std()) < _UNROUND * float(away.mean())


def hatched(areas: Sequence[shapely.Polygon], outline: shapely.Polygon) -> tuple[shapely.Polygon, ...]:
    """Return what red strokes hatch within an outline: the strokes and the gaps between them."""
    strokes = shapely.union_all([shapely.make_valid(area) for area in areas if area.area > _SPECK_MM**2])
    closed = strokes.buffer(0.5 * _HATCH_MM).buffer(-0.5 * _HATCH_MM)
    solid = closed.buffer(-_SPECK_MM).buffer(_SPECK_MM + _BESIDE_MM).intersection(outline)
    return tuple(
        shapely.Polygon(part.exterior).simplify(_SMOOTH_MM)
        for part in shapely.get_parts(solid)
        if isinstance(part, shapely.Polygon) and part.area > _SMALLEST_AREA_MM2
    )
