"""Tracings: a photo of a tape tracing, or a drawing, as the panel of a measured shoe and of the book; and the sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple, cast, get_args

import numpy as np
import shapely
from msgspec import Struct
from numpy.typing import NDArray

from featherline.wire.problems import Fault
from featherline.wire.shoes import KeepOut, KeepOutKind, MeasuredPanel, Traced
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
from featherline_service.messages.told import told
from featherline_service.quantities import millimetres
from featherline_service.questions.checks import RefusedError, told_fault
from featherline_service.runtime.engine import ENGINE
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.panel_drawings import panels as drawn_panels
from featherline_service.shape.panel_drawings.panels import DrawingType, Round
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
_BESIDE_MM: Final = 10.0
DRAWING_TYPES: Final[tuple[DrawingType, ...]] = get_args(DrawingType)
_NAMES: Final[dict[Paper, str]] = {"a4": "A4", "letter": "Letter"}


class TracingAsked(Struct, frozen=True, kw_only=True):
    """A photo or a drawing, its media type, and what is asked of it."""

    content: bytes
    media_type: MediaType | DrawingType
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


class _Panel(NamedTuple):
    """A panel that a photo or a drawing shows [mm], how far it may be off, and what is to be said of it."""

    what: str
    outline: shapely.Polygon
    eyelets: Sequence[Eyelet | Round]
    areas: Sequence[tuple[KeepOutKind, shapely.Polygon]]
    unread: Sequence[tuple[float, float]]
    off_mm: float
    off_by_raised: float
    quality: TracingQuality | None
    cautions: tuple[str, ...]
    pixels: NDArray[np.uint8] | None
    box: tuple[float, float, float, float]


def trace(asked: TracingAsked) -> TracingAnswer:
    """Return the panel that a photo or a drawing shows.

    Raises:
        RefusedError: It cannot be read as a panel; the fault says what to do.
    """
    panel, query = _panel(asked), asked.query
    outline = _path(panel.outline)
    keep_outs = (
        *(KeepOut(what="eyelets", d=_circle(eyelet)) for eyelet in panel.eyelets),
        *(KeepOut(what=kind, d=_path(area)) for kind, area in panel.areas),
    )
    _, _, width, height = panel.outline.bounds
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
        area_mm2=round(panel.outline.area, 1),
        off_mm=round(panel.off_mm, 2),
        off_by_raised=round(panel.off_by_raised, 2),
        eyelets=tuple(
            TracedEyelet(x_mm=round(eye.x, 2), y_mm=round(eye.y, 2), radius_mm=round(eye.radius, 2))
            for eye in panel.eyelets
        ),
        quality=panel.quality,
        cautions=panel.cautions,
        engine=ENGINE,
    )


def draw(asked: TracingAsked) -> bytes:
    """Return the panel as SVG: that of a photo over a small copy of it seen from above.

    Raises:
        RefusedError: It cannot be read as a panel; the fault says what to do.
    """
    panel = _panel(asked)
    around = circle(1.0, _CIRCLE_CORNERS)
    picture = overlays.Overlay(
        title=f"{panel.what} of {asked.query.panel}",
        sentences=panel.cautions,
        pixels=panel.pixels,
        box=panel.box,
        outline=_ring(panel.outline),
        eyelets=[np.array([eye.x, eye.y]) + eye.radius * around for eye in panel.eyelets],
        kept=[_ring(area) for _, area in panel.areas],
        unread=panel.unread,
    )
    return overlays.write(picture).encode()


def _panel(asked: TracingAsked) -> _Panel:
    faults = tuple(_parameter_faults(asked.query, is_drawing=asked.media_type in DRAWING_TYPES))
    if faults:
        raise RefusedError(faults)
    try:
        return _drawn(asked) if asked.media_type in DRAWING_TYPES else _traced(asked)
    except (RefusalError, DrawingError) as error:
        raise RefusedError((told_fault("", error.told),)) from None


def _parameter_faults(query: TracingQuery, *, is_drawing: bool) -> Iterator[Fault]:
    """Yield the parameters that a photo needs and lacks, and those that are of the other kind of file."""
    for name, bar in (("along", query.along), ("across", query.across)):
        if is_drawing and bar is not None:
            yield told_fault(
                "",
                told(
                    "tracing.bar-of-drawing",
                    "A drawing has no sheet with bars: leave the parameter {name!r} out",
                    name=name,
                ),
            )
        elif not is_drawing and bar is None:
            yield told_fault(
                "",
                told(
                    "tracing.bar-missing",
                    "A photo needs the parameter {name!r}: measure the bar {name} the printed sheet",
                    name=name,
                ),
            )
    if query.unit is not None and not is_drawing:
        yield told_fault(
            "", told("tracing.unit-of-photo", "A photo has the bars of its sheet: leave the parameter 'unit' out")
        )


def _traced(asked: TracingAsked) -> _Panel:
    bars = tuple(millimetres(bar) for bar in (asked.query.along, asked.query.across) if bar is not None)
    traced = panels.trace(asked.content, cast("MediaType", asked.media_type), cast("tuple[float, float]", bars))
    return _Panel(
        what="Tracing",
        outline=traced.outline,
        eyelets=traced.eyelets,
        areas=[(asked.query.keep_out, area) for area in traced.hatched],
        unread=traced.unread,
        off_mm=traced.off_mm,
        off_by_raised=traced.off_by_raised,
        quality=_quality(traced),
        cautions=tuple(_cautions(traced)),
        pixels=traced.picture.pixels,
        box=traced.picture.box,
    )


def _drawn(asked: TracingAsked) -> _Panel:
    drawn = drawn_panels.read(
        asked.content, cast("DrawingType", asked.media_type), asked.query.unit, get_args(KeepOutKind)
    )
    left, top, right, bottom = drawn.outline.bounds
    eyelets, areas = len(drawn.eyelets), len(drawn.areas)
    caution = (
        f"Read: the outline, {right:.1f} x {bottom:.1f} mm, {eyelets} {_of(eyelets, 'eyelet')} and {areas} "
        f"{_of(areas, 'area')} kept free; the toe is taken to be on the right. Hold it against the shoe, printed in "
        "true size, before anything is marked by it."
    )
    return _Panel(
        what="Drawing",
        outline=drawn.outline,
        eyelets=drawn.eyelets,
        areas=[(cast("KeepOutKind", area.kind or asked.query.keep_out), area.polygon) for area in drawn.areas],
        unread=(),
        off_mm=drawn_panels.OFF_MM,
        off_by_raised=0.0,
        quality=None,
        cautions=(caution, *drawn.cautions),
        pixels=None,
        box=(left - _BESIDE_MM, top - _BESIDE_MM, right + _BESIDE_MM, bottom + _BESIDE_MM),
    )


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


def _circle(eye: Eyelet | Round) -> str:
    arc = f"A{eye.radius:.2f} {eye.radius:.2f} 0 0 1"
    return (
        f"M{eye.x - eye.radius:.2f} {eye.y:.2f}{arc} {eye.x + eye.radius:.2f} {eye.y:.2f}"
        f"{arc} {eye.x - eye.radius:.2f} {eye.y:.2f}Z"
    )
