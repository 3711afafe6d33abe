"""Ink in the field of a sheet: dark areas with their holes, and red ones, in millimetres."""

from __future__ import annotations

from typing import Final, NamedTuple, cast

import contourpy
import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from featherline_service.tracing.view.camera import Camera
from featherline_service.tracing.view.illumination import PAPER, Bytes, Levelled

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]

DARK: Final = 0.74
"""[-] Of the paper: lighter than halfway to black, so that a thin line is still closed where it is blurred."""
_RED: Final = 0.24 * PAPER
"""How much more red than green or blue there is in a red pen's stroke, blurred as it may be."""
_SIDE: Final = 24
_SMALLEST_PX: Final = 12.0
"""Length of a contour; a shorter one is noise."""


class Field(NamedTuple):
    """The part of a photo that holds the field: its values, those outside of it as paper, and its place [px]."""

    value: Bytes
    redness: Bytes
    left: int
    top: int


def cut(levelled: Levelled, camera: Camera, box: Box) -> Field:
    """Return the part of a photo that holds the field of its sheet, left, top, right and bottom [mm]."""
    left, top, right, bottom = box
    share = np.linspace(0.0, 1.0, _SIDE, endpoint=False)
    edge = np.concatenate(
        [
            np.column_stack((left + share * (right - left), np.full(_SIDE, top))),
            np.column_stack((np.full(_SIDE, right), top + share * (bottom - top))),
            np.column_stack((right - share * (right - left), np.full(_SIDE, bottom))),
            np.column_stack((np.full(_SIDE, left), bottom - share * (bottom - top))),
        ]
    )
    pixels = camera.project(edge)
    rows, columns = levelled.value.shape
    x0, y0 = np.clip(np.floor(pixels.min(axis=0)).astype(int), 0, (columns - 2, rows - 2))
    x1, y1 = np.clip(np.ceil(pixels.max(axis=0)).astype(int) + 1, (x0 + 2, y0 + 2), (columns, rows))
    mask = Image.new("1", (int(x1 - x0), int(y1 - y0)))
    ImageDraw.Draw(mask).polygon([(x - x0, y - y0) for x, y in pixels.tolist()], fill=1)
    inside = np.asarray(mask)
    part = np.s_[y0:y1, x0:x1]
    value = np.where(inside, levelled.value[part], np.uint8(PAPER))
    redness = np.where(inside & (levelled.red[part] > levelled.cool[part]), levelled.red[part] - levelled.cool[part], 0)
    return Field(value, redness.astype(np.uint8), int(x0), int(y0))


def dark(field: Field, camera: Camera, scale: tuple[float, float]) -> list[shapely.Polygon]:
    """Return the dark areas of a field [mm], each with its holes. `scale` is how much larger the print is, each way."""
    return _areas(field.value, (-1.0, DARK * PAPER), field, camera, scale)


def red(field: Field, camera: Camera, scale: tuple[float, float]) -> list[shapely.Polygon]:
    """Return the red areas of a field [mm]."""
    return _areas(field.redness, (_RED, 256.0), field, camera, scale)


def _areas(
    values: Bytes, between: tuple[float, float], field: Field, camera: Camera, scale: tuple[float, float]
) -> list[shapely.Polygon]:
    generator = contourpy.contour_generator(z=values, name="serial", fill_type="OuterOffset")
    every, offsets = cast("tuple[list[Floats], list[NDArray[np.uint32]]]", generator.filled(*between))
    areas = []
    for points, starts in zip(every, offsets, strict=True):
        if np.ptp(points, axis=0).sum() < 0.5 * _SMALLEST_PX:
            continue
        places = camera.locate(points + np.array([field.left, field.top])) * scale
        rings = [places[begin:end] for begin, end in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True)]
        areas.append(shapely.Polygon(rings[0], [ring for ring in rings[1:] if len(ring) > _SMALLEST_PX]))
    return areas
