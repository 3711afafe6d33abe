"""From a photo of a sheet and its measured bars to a panel in millimetres, and how far it may be off."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity

from featherline_service.tracing import ink, keep_outs, line, photo
from featherline_service.tracing.keep_outs import Eyelet
from featherline_service.tracing.photo import MediaType, Pixels
from featherline_service.tracing.sheet import Paper
from featherline_service.tracing.view import illumination
from featherline_service.tracing.view.camera import Camera
from featherline_service.tracing.view.illumination import Bytes
from featherline_service.tracing.view.sampling import sample
from featherline_service.tracing.view.views import Seen, view_of

Floats = NDArray[np.float64]

RULER_MM: Final = 0.25
"""How far a length read off a ruler may be off; common practice, no source."""
SHORT_BAR_MM: Final = 156.0
_PEN_MM: Final = 0.25
_BESIDE_MM: Final = 10.0
_PICTURE_MM: Final = 0.4


class Tracing(NamedTuple):
    """A panel as it is traced [mm], y downwards, the toe to the right, from the top left of its outline's box.

    `off_mm` is how far the outline may be off in 95 of 100 photos, `off_by_raised` how much more for each millimetre
    that the tape lies above the plane of the marks. `unread` are the middles of black ink that is neither line nor
    eyelet.
    """

    paper: Paper
    outline: shapely.Polygon
    eyelets: tuple[Eyelet, ...]
    hatched: tuple[shapely.Polygon, ...]
    unread: tuple[tuple[float, float], ...]
    line_mm: float
    off_mm: float
    off_by_raised: float
    seen: Seen
    picture: Picture


class Picture(NamedTuple):
    """The panel as seen from above, red, green and blue, and the box that it fills: left, top, right, bottom [mm]."""

    pixels: Bytes
    box: tuple[float, float, float, float]


def trace(content: bytes, media_type: MediaType, bars_mm: tuple[float, float]) -> Tracing:
    """Return the panel that a photo shows.

    Args:
        content: The photo, JPEG or PNG.
        media_type: Which of the two it is.
        bars_mm: The lengths of the bar along the sheet and of that across it, as measured on the print.

    Raises:
        RefusalError: It cannot be traced so that the outline is right; the message says why, and what to do.
    """
    pixels = photo.read(content, media_type)
    levelled = illumination.level(pixels)
    sheet, camera, scale, seen = view_of(pixels, levelled, bars_mm)
    field = ink.cut(levelled, camera, sheet.field)
    dark = ink.dark(field, camera, scale)
    left, top, right, bottom = sheet.field
    edge = line.closed_line(dark, (left * scale[0], top * scale[1], right * scale[0], bottom * scale[1]))
    within = keep_outs.black_within([area for area in dark if area is not edge.area], edge.outline, seen.blur_mm)
    hatched = keep_outs.hatched(ink.red(field, camera, scale), edge.outline)
    x, y = edge.outline.bounds[:2]

    def moved(shape: shapely.Polygon) -> shapely.Polygon:
        return affinity.translate(shape, -x, -y)

    around = shapely.get_coordinates(edge.outline.exterior)
    return Tracing(
        paper=sheet.paper,
        outline=moved(edge.outline),
        eyelets=tuple(Eyelet(eye.x - x, eye.y - y, eye.radius) for eye in within.eyelets),
        hatched=tuple(map(moved, hatched)),
        unread=tuple((at[0] - x, at[1] - y) for at in within.unread),
        line_mm=edge.width,
        off_mm=_off(edge, seen),
        off_by_raised=float(camera.slant(around / scale).max()),
        seen=seen,
        picture=_picture(pixels, camera, edge.outline, scale),
    )


def _off(edge: line.Line, seen: Seen) -> float:
    """Return how far an outline may be off [mm], in 95 of 100 photos."""
    left, top, right, bottom = edge.outline.bounds
    by_ruler = RULER_MM / SHORT_BAR_MM * 0.5 * math.hypot(right - left, bottom - top)
    return math.hypot(_PEN_MM, by_ruler, 1.0 * seen.flat_within_mm, 0.15 * seen.blur_mm, 0.4 / seen.pixels_per_mm)


def _picture(pixels: Pixels, camera: Camera, outline: shapely.Polygon, scale: tuple[float, float]) -> Picture:
    left, top, right, bottom = (
        value + side * _BESIDE_MM for value, side in zip(outline.bounds, (-1, -1, 1, 1), strict=True)
    )
    xs, ys = np.arange(left, right, _PICTURE_MM), np.arange(top, bottom, _PICTURE_MM)
    grid = np.stack(np.meshgrid(xs, ys), axis=-1) / scale
    seen = sample(pixels, camera.project(grid))
    x, y = outline.bounds[:2]
    half = 0.5 * _PICTURE_MM
    box = (left - half - x, top - half - y, float(xs[-1]) + half - x, float(ys[-1]) + half - y)
    return Picture(np.rint(seen).astype(np.uint8), box)
