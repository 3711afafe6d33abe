"""The view that a photo gives of a sheet, or why it is not good enough to trace by."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from featherline_service.messages.told import measured
from featherline_service.messages.values import Quantity
from featherline_service.tracing.refusal import RefusalError
from featherline_service.tracing.sheet import MARKS, SHEETS, Sheet
from featherline_service.tracing.view import flatness, marks, paper_edges, sharpness
from featherline_service.tracing.view.camera import Camera, fit
from featherline_service.tracing.view.illumination import Bytes, Levelled
from featherline_service.tracing.view.marks import Marks
from featherline_service.tracing.view.sharpness import Sharpness

Floats = NDArray[np.float64]

LEAST_SHARE: Final = 0.97
"""Of the sheet's area within its marks, that those which can be read span."""
LEAST_SCALE: Final = 2.2
"""[px/mm]"""
MOST_BLUR_MM: Final = 1.2
LEAST_CONTRAST: Final = 70.0
MOST_OFF_MM: Final = 0.2
"""How far marks may be from where a flat sheet has them."""
MOST_CROSS_OFF_MM: Final = 0.35
"""The same of crosses, which are less sharp."""
MOST_TILT_DEG: Final = 22.0
LEAST_PRINT: Final = 0.9
MOST_PRINT: Final = 1.06
MOST_UNEVEN: Final = 0.015
"""By how much the print may be larger one way than the other."""
MOST_PAPER_OFF: Final = 0.013
"""By how much the paper's edges may contradict the bars: paper is cut, and seen, to within a millimetre or two."""
# The limits above held the error in synthetic photos (tests/outside/tracing_photos.py).
_FEWEST_MARKS: Final = 6
_ASTRAY_MM: Final = 3.0
"""A corner so far off belongs to something else that reads as a mark."""
_FEWEST_CROSSES: Final = 6
_OF_ANOTHER_SHEET: Final = 3
"""Marks from which on there is a second sheet, and no misreading."""


class Seen(NamedTuple):
    """How well a photo shows its sheet.

    The marks and crosses that were found, how far they are off [mm], pixels for a millimetre, the width of an edge
    [mm], how much darker ink is than paper, of 255, and how far from above the photo was taken [deg].
    """

    marks: int
    crosses: int
    flat_within_mm: float
    pixels_per_mm: float
    blur_mm: float
    contrast: float
    tilt_deg: float


class View(NamedTuple):
    """A sheet, the camera that shows it, how much larger the print is than the drawing, and how well it is seen."""

    sheet: Sheet
    camera: Camera
    scale: tuple[float, float]
    seen: Seen


def view_of(pixels: Bytes, levelled: Levelled, bars_mm: tuple[float, float]) -> View:
    """Return the view that a photo gives of its sheet.

    Args:
        pixels: The photo, shape (height, width, 3).
        levelled: The same without its light.
        bars_mm: The lengths of the bar along the sheet and of that across it, as measured on the print.

    Raises:
        RefusalError: It is not good enough; the message says why, and what to do.
    """
    found = marks.find(levelled.value)
    sheet = _sheet(found)
    camera, used, off = _camera(sheet, found, levelled.value)
    _refuse_share(sheet, used)
    pixels_per_mm, tilt = _refuse_place(sheet, camera)
    sharp = sharpness.measure(levelled, camera, sheet.marks[used.numbers - sheet.first])
    _refuse_soft(sharp)
    scale = bars_mm[0] / (sheet.along[1] - sheet.along[0]), bars_mm[1] / (sheet.across[1] - sheet.across[0])
    _refuse_scale(sheet, scale)
    _refuse_bars(pixels, camera, sheet, scale)
    crosses = flatness.offsets(levelled.red, camera, sheet.crosses)
    within = _refuse_bent(off, crosses)
    seen = Seen(len(used.numbers), len(crosses), within, pixels_per_mm, sharp.blur_mm, sharp.contrast, tilt)
    return View(sheet, camera, scale, seen)


def _sheet(seen: Marks) -> Sheet:
    """Return the sheet that the marks are of."""
    if seen.mirrored > len(seen.numbers):
        raise RefusalError(
            "photo.mirrored", "The photo is mirrored: take it with the camera at the back, and send it as it was saved."
        )
    counts = [np.count_nonzero(seen.numbers // MARKS == index) for index in range(len(SHEETS))]
    if sorted(counts)[-2] >= _OF_ANOTHER_SHEET or len(np.unique(seen.numbers)) + 2 < len(seen.numbers):
        raise RefusalError("photo.two-sheets", "There are two sheets in the photo: leave one in view.")
    if max(counts) < _FEWEST_MARKS:
        raise RefusalError(
            "photo.marks-unread",
            "Of the {marks} coded marks around the sheet {counts} can be read. Have the whole "
            "sheet in view, in even light, with nothing on the marks, and take the photo from "
            "nearly above.",
            marks=MARKS,
            counts=int(max(counts)),
        )
    return SHEETS[int(np.argmax(counts))]


def _camera(sheet: Sheet, seen: Marks, value: Bytes) -> tuple[Camera, Marks, Floats]:
    """Return the camera, the marks that it was fitted to, and how far each is off [mm]."""
    ours = (seen.numbers >= sheet.first) & (seen.numbers < sheet.first + MARKS)
    numbers, corners = seen.numbers[ours], seen.corners[ours]
    size = (value.shape[1], value.shape[0])
    while True:
        drawn = sheet.corners[numbers - sheet.first]
        camera = fit(drawn.reshape(-1, 2), corners.reshape(-1, 2), size)
        apart = camera.locate(corners) - drawn
        off = np.hypot(*np.moveaxis(apart, -1, 0)).max(axis=1)
        worst = int(np.argmax(off))
        if off[worst] <= _ASTRAY_MM or len(numbers) <= _FEWEST_MARKS:
            return camera, Marks(numbers, corners, 0), np.hypot(*apart.mean(axis=1).T)
        numbers, corners = np.delete(numbers, worst), np.delete(corners, worst, axis=0)


def _refuse_share(sheet: Sheet, seen: Marks) -> None:
    def share(corners: Floats) -> float:
        return float(shapely.MultiPoint(corners.reshape(-1, 2)).convex_hull.area)

    covered = share(sheet.corners[seen.numbers - sheet.first]) / share(sheet.corners)
    if covered < LEAST_SHARE:
        raise RefusalError(
            "photo.marks-one-sided",
            "The marks that can be read span {covered} of the sheet, of at least {least_share}. "
            "Have all four corners in view, and nothing on the marks.",
            covered=Quantity(round(100.0 * covered, 0), "percent", 0),
            least_share=Quantity(round(100.0 * LEAST_SHARE, 0), "percent", 0),
        )


def _refuse_place(sheet: Sheet, camera: Camera) -> tuple[float, float]:
    left, top, right, bottom = sheet.field
    corners = np.array(
        [(left, top), (right, top), (right, bottom), (left, bottom), (0.5 * (left + right), 0.5 * (top + bottom))]
    )
    scale = float(camera.scale(corners).min())
    if scale < LEAST_SCALE:
        raise RefusalError(
            "photo.too-coarse",
            "The photo has {scale} pixels for a millimetre of the sheet, of at least "
            "{least_scale}. Go nearer, so that the sheet fills the picture, and send the photo "
            "in its full size.",
            scale=Quantity(round(scale, 1), None, 1),
            least_scale=LEAST_SCALE,
        )
    tilt = math.degrees(math.atan(camera.slant(corners[-1:])[0]))
    if tilt > MOST_TILT_DEG:
        raise RefusalError(
            "photo.tilted",
            "The camera looked at the sheet {tilt} off from above, of at most {most_tilt}: hold "
            "it level above the middle.",
            tilt=Quantity(round(tilt, 0), "deg", 0),
            most_tilt=measured(MOST_TILT_DEG, "deg"),
        )
    return scale, tilt


def _refuse_soft(sharp: Sharpness) -> None:
    if sharp.blur_mm > MOST_BLUR_MM:
        raise RefusalError(
            "photo.blurred",
            "The photo is blurred: edges are {blur} wide, of at most {most_blur}. Tap on the "
            "sheet to focus, hold still with both hands, and have more light.",
            blur=Quantity(round(sharp.blur_mm, 1), "mm", 1),
            most_blur=measured(MOST_BLUR_MM, "mm"),
        )
    if sharp.contrast < LEAST_CONTRAST:
        raise RefusalError(
            "photo.faint",
            "Black is only {contrast} of 255 steps darker than paper, of at least "
            "{least_contrast}. Have more and more even light, without shadows or glare, and "
            "print with a full cartridge.",
            contrast=Quantity(round(sharp.contrast, 0), None, 0),
            least_contrast=Quantity(round(LEAST_CONTRAST, 0), None, 0),
        )


def _refuse_scale(sheet: Sheet, scale: tuple[float, float]) -> None:
    uneven = abs(scale[0] / scale[1] - 1.0)
    if min(scale) < LEAST_PRINT or max(scale) > MOST_PRINT or uneven > MOST_UNEVEN:
        raise RefusalError(
            "tracing.bars-impossible",
            "On this sheet the bar `along` is drawn {along} long and the bar `across` {across}: "
            "what was given is {scale} and {scale_2} of that, which no printer does. Measure "
            "both again, from end to end, and do not take one for the other.",
            along=Quantity(round(sheet.along[1] - sheet.along[0], 1), "mm", 1),
            across=Quantity(round(sheet.across[1] - sheet.across[0], 1), None, 1),
            scale=Quantity(round(scale[0], 3), None, 3),
            scale_2=Quantity(round(scale[1], 3), None, 3),
        )


def _refuse_bars(pixels: Bytes, camera: Camera, sheet: Sheet, scale: tuple[float, float]) -> None:
    for name, seen, size, factor in zip(
        ("along", "across"), paper_edges.lengths(pixels, camera, sheet), (sheet.width, sheet.height), scale, strict=True
    ):
        if seen is not None and abs(seen * factor / size - 1.0) > MOST_PAPER_OFF:
            raise RefusalError(
                "tracing.bar-wrong",
                "By the bar `{name}` the paper would be {seen} that way, and it is {size}: measure "
                "the bar again, from end to end, on this very print.",
                name=name,
                seen=Quantity(round(seen * factor, 0), "mm", 0),
                size=Quantity(round(size, 0), None, 0),
            )


def _refuse_bent(off: Floats, crosses: Floats) -> float:
    marks_off = float(np.percentile(off, 90.0))
    away = np.hypot(*crosses.T)
    crosses_off = float(np.percentile(away, 95.0)) if len(away) >= _FEWEST_CROSSES else 0.0
    if marks_off > MOST_OFF_MM or crosses_off > MOST_CROSS_OFF_MM:
        raise RefusalError(
            "photo.sheet-not-flat",
            "The sheet does not lie flat: its marks are up to {marks_off} off, its crosses "
            "{crosses_off}. Smooth it out, tape its corners to the table, and hold the camera "
            "level above the middle.",
            marks_off=Quantity(round(marks_off, 1), "mm", 1),
            crosses_off=Quantity(round(crosses_off, 1), None, 1),
        )
    return max(marks_off, crosses_off)
