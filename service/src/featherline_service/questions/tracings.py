"""Tracings: a photo of a tape tracing as the panel of a measured shoe and of the book; and the sheet for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
import shapely
from msgspec import Struct

from featherline.wire.problems import Fault
from featherline.wire.shoes import KeepOut, MeasuredPanel, Traced
from featherline.wire.tracings import (
    PanelDrawing,
    Paper,
    TracedEyelet,
    TracingAnswer,
    TracingQuality,
    TracingQuery,
)
from featherline_service.drawing.scene import Points, Scene, circle
from featherline_service.drawing.tracing import overlays, sheets
from featherline_service.quantities import millimetres
from featherline_service.questions.checks import RefusedError
from featherline_service.runtime.engine import ENGINE
from featherline_service.tracing import codes, panels
from featherline_service.tracing.keep_outs import Eyelet
from featherline_service.tracing.panels import Tracing
from featherline_service.tracing.photo import MediaType
from featherline_service.tracing.refusal import RefusalError
from featherline_service.tracing.sheet import (
    BAR_WIDE_MM,
    CELL_MM,
    CROSS_ARM_MM,
    CROSS_WIDE_MM,
    MARK_MM,
    SHEETS,
    Sheet,
)

_UPSIDE_DOWN: Final = 180.0
_UPRIGHT: Final = 90.0
_FACES_READ_FROM_AHEAD: Final = frozenset({"tongue", "toe"})
_CIRCLE_CORNERS: Final = 48
_NAMES: Final[dict[Paper, str]] = {"a4": "A4", "letter": "Letter"}


class PhotoAsked(Struct, frozen=True, kw_only=True):
    """A photo, its media type, and what is asked of it."""

    photo: bytes
    media_type: MediaType
    query: TracingQuery


def sheet(paper: Paper) -> Scene:
    """Return the sheet for a paper, to be printed at 100 %."""
    drawn = next(one for one in SHEETS if one.paper == paper)
    return sheets.scene(
        sheets.Layout(
            paper=_NAMES[paper],
            width=drawn.width,
            height=drawn.height,
            mark=MARK_MM,
            cell=CELL_MM,
            marks=[
                sheets.Mark((float(x), float(y)), codes.cells(drawn.first + number))
                for number, (x, y) in enumerate(drawn.marks)
            ],
            bars=_bars(drawn),
            crosses=drawn.crosses,
            arm=CROSS_ARM_MM,
            line=CROSS_WIDE_MM,
        )
    )


def _bars(drawn: Sheet) -> tuple[sheets.Bar, sheets.Bar]:
    half = 0.5 * BAR_WIDE_MM
    left, right, y = drawn.along
    top, bottom, x = drawn.across
    return sheets.Bar("along", (left, y - half, right, y + half)), sheets.Bar(
        "across", (x - half, top, x + half, bottom)
    )


def trace(asked: PhotoAsked) -> TracingAnswer:
    """Return the panel that a photo shows.

    Raises:
        RefusedError: It cannot be traced; the fault says what to do.
    """
    traced, query = _traced(asked), asked.query
    outline = _path(traced.outline)
    keep_outs = (
        *(KeepOut(what="eyelets", d=_circle(eyelet)) for eyelet in traced.eyelets),
        *(KeepOut(what=query.keep_out, d=_path(area)) for area in traced.hatched),
    )
    _, _, width, height = traced.outline.bounds
    return TracingAnswer(
        panel=MeasuredPanel(panel=query.panel, face=query.face, shape=Traced(d=outline, keep_outs=keep_outs)),
        drawing=PanelDrawing(
            id=query.panel,
            face=query.face,
            outline=outline,
            keep_outs=keep_outs,
            up_deg=_UPSIDE_DOWN if query.face in _FACES_READ_FROM_AHEAD else _UPRIGHT,
        ),
        width_mm=round(width, 2),
        height_mm=round(height, 2),
        area_mm2=round(traced.outline.area, 1),
        off_mm=round(traced.off_mm, 2),
        off_by_raised=round(traced.off_by_raised, 2),
        eyelets=tuple(
            TracedEyelet(x_mm=round(eye.x, 2), y_mm=round(eye.y, 2), radius_mm=round(eye.radius, 2))
            for eye in traced.eyelets
        ),
        quality=_quality(traced),
        cautions=tuple(_cautions(traced)),
        engine=ENGINE,
    )


def draw(asked: PhotoAsked) -> bytes:
    """Return what a photo shows, over a small copy of it seen from above, as SVG.

    Raises:
        RefusedError: It cannot be traced; the fault says what to do.
    """
    traced = _traced(asked)
    around = circle(1.0, _CIRCLE_CORNERS)
    picture = overlays.Overlay(
        title=f"Tracing of {asked.query.panel}",
        sentences=tuple(_cautions(traced)),
        pixels=traced.picture.pixels,
        box=traced.picture.box,
        outline=_ring(traced.outline),
        eyelets=[np.array([eye.x, eye.y]) + eye.radius * around for eye in traced.eyelets],
        kept=[_ring(area) for area in traced.hatched],
        unread=traced.unread,
    )
    return overlays.write(picture).encode()


def _traced(asked: PhotoAsked) -> Tracing:
    bars = millimetres(asked.query.along), millimetres(asked.query.across)
    try:
        return panels.trace(asked.photo, asked.media_type, bars)
    except RefusalError as error:
        raise RefusedError((Fault(pointer="", detail=str(error)),)) from None


def _quality(traced: Tracing) -> TracingQuality:
    seen = traced.seen
    return TracingQuality(
        paper=traced.paper,
        marks=seen.marks,
        crosses=seen.crosses,
        flat_within_mm=round(seen.flat_within_mm, 2),
        pixels_per_mm=round(seen.pixels_per_mm, 2),
        edge_mm=round(seen.blur_mm, 2),
        contrast=round(seen.contrast, 1),
        tilt_deg=round(seen.tilt_deg, 1),
        line_mm=round(traced.line_mm, 2),
    )


def _cautions(traced: Tracing) -> Iterator[str]:
    """Yield what to look at before the tracing is used."""
    eyelets, areas = len(traced.eyelets), len(traced.hatched)
    yield (
        f"Traced: the outline, {eyelets} {_of(eyelets, 'eyelet')} and {areas} {_of(areas, 'hatched area')}. Compare "
        "them with the picture before anything is marked by them."
    )
    yield (
        f"The outline may be off by {traced.off_mm:.1f} mm, and by up to {traced.off_by_raised:.1f} mm more for each "
        "millimetre that the tape was raised from the table: a bulge under the middle of the tape does not show."
    )
    for x, y in traced.unread:
        yield (
            f"The ink {x:.0f} mm from the left and {y:.0f} mm from the top is neither the outline nor round, and was "
            "left out: draw eyelets as whole rings or dots, and hatch in red what must stay free."
        )


def _of(count: int, what: str) -> str:
    return what if count == 1 else f"{what}s"


def _ring(shape: shapely.Polygon) -> Points:
    return np.asarray(shapely.get_coordinates(shape.exterior)[:-1], dtype=np.float64)


def _path(shape: shapely.Polygon) -> str:
    points: Sequence[tuple[float, float]] = _ring(shape).tolist()
    return f"M{'L'.join(f'{x:.2f} {y:.2f}' for x, y in points)}Z"


def _circle(eye: Eyelet) -> str:
    arc = f"A{eye.radius:.2f} {eye.radius:.2f} 0 0 1"
    return (
        f"M{eye.x - eye.radius:.2f} {eye.y:.2f}{arc} {eye.x + eye.radius:.2f} {eye.y:.2f}"
        f"{arc} {eye.x - eye.radius:.2f} {eye.y:.2f}Z"
    )
