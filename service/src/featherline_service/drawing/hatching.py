"""Hatching of regions by lines and dots, which tells them apart without colour."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from featherline_service.drawing.scene import Points, circle, strokes

_DOT_MM: Final = 0.28
_DOT_CORNERS: Final = 8


class Hatch(NamedTuple):
    """A pattern: lines at angles [deg, counter-clockwise] at a distance [mm], or dots where there are no angles."""

    angles: tuple[float, ...]
    apart: float


def hatched(region: BaseGeometry, hatch: Hatch) -> tuple[Points, ...]:
    """Return the lines that hatch a region [mm], ending on its outline, or the outlines of its dots.

    All regions share one grid, so that the lines of neighbours of one kind meet.
    """
    if region.is_empty:
        return ()
    if not hatch.angles:
        return _dots(region, hatch.apart)
    lines = [_grid(region, angle, hatch.apart) for angle in hatch.angles]
    return strokes(shapely.intersection(shapely.multilinestrings(np.concatenate(lines)), region))


def _grid(region: BaseGeometry, angle: float, apart: float) -> Points:
    """Return parallel lines ``(lines, 2, 2)`` [mm] that cover a region's box."""
    left, low, right, high = region.bounds
    along = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    across = np.array([-along[1], along[0]])
    corners = np.array([(left, low), (right, low), (right, high), (left, high)])
    first, last = np.floor((corners @ across).min() / apart), np.ceil((corners @ across).max() / apart)
    places = np.arange(first, last + 1.0)[:, None] * apart * across
    begin, end = (corners @ along).min(), (corners @ along).max()
    return np.stack((places + begin * along, places + end * along), axis=1)


def _dots(region: BaseGeometry, apart: float) -> tuple[Points, ...]:
    left, low, right, high = region.bounds
    rows = np.arange(math.floor(low / apart), math.ceil(high / apart) + 1)
    columns = np.arange(math.floor(left / apart), math.ceil(right / apart) + 1)
    x, y = np.meshgrid(columns * apart, rows * apart)
    x = x + np.where(rows % 2 == 1, 0.5 * apart, 0.0)[:, None]
    middles = np.column_stack((x.ravel(), y.ravel()))
    inside = middles[shapely.contains_properly(shapely.buffer(region, -_DOT_MM), shapely.points(middles))]
    dot = circle(_DOT_MM, _DOT_CORNERS)
    return tuple(middle + dot for middle in inside)
