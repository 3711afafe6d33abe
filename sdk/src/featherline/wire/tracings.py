"""The question "which panel does this photo of a tape tracing, or this drawing, show?", and its answer.

The file is the body of the request, as the camera or the drawing program saved it; what else is asked is in the query.
"""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.quantities import Length
from featherline.wire.shoes import Face, KeepOut, KeepOutKind, MeasuredPanel
from featherline.wire.texts import Engine, Identifier, PathData, Sentence

Paper = Annotated[Literal["a4", "letter"], Meta(description="The paper of a tracing sheet.")]


Unit = Annotated[Literal["mm", "cm", "in"], Meta(description="The unit of a drawing.")]


class TracingQuery(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is asked of a photo or a drawing: its measure, and how to name the panel.

    A photo needs `along` and `across`, the lengths of the sheet's bars as measured on the print. A drawing has none; it
    says its unit itself, or `unit` says it. `face` is the face of the shoe that the panel is on, and `keep_out` what is
    hatched or drawn in red.
    """

    along: Annotated[
        Length | None, Meta(description="Of a photo: the length of the bar along the sheet, measured on the print.")
    ] = None
    across: Annotated[
        Length | None, Meta(description="Of a photo: the length of the bar across the sheet, measured on the print.")
    ] = None
    unit: Annotated[
        Unit | None, Meta(description="Of a drawing: the unit of its coordinates. Null: as the drawing says.")
    ] = None
    panel: Annotated[Identifier, Meta(description="The panel's id in the answer.")] = "panel"
    face: Face = "outer"
    keep_out: Annotated[KeepOutKind, Meta(description="What is hatched or drawn in red.")] = "seam"


class PanelDrawing(Struct, frozen=True, kw_only=True):
    """A panel as a shoe of the book has it, without its name, upper and colour, which no photo or drawing tells."""

    id: Identifier
    face: Face
    outline: PathData
    keep_outs: tuple[KeepOut, ...]
    up_deg: float


class TracedEyelet(Struct, frozen=True, kw_only=True):
    """An eyelet, by its middle in the drawing and its radius."""

    x_mm: float
    y_mm: float
    radius_mm: float


class TracingQuality(Struct, frozen=True, kw_only=True):
    """How well the photo shows its sheet.

    How many of its marks and crosses were seen, and how far they are from where a flat sheet has them; the pixels of a
    millimetre, the width of an edge, how much darker ink is than paper, of 255; how far from above the photo was taken,
    and how wide the pen's line is.
    """

    paper: Paper
    marks: int
    crosses: int
    flat_within_mm: float
    pixels_per_mm: float
    edge_mm: float
    contrast: float
    tilt_deg: float
    line_mm: float


class TracingAnswer(Struct, frozen=True, kw_only=True):
    """The panel in millimetres, y downwards, its toe to the right, from the top left of the box around it.

    `panel` goes into a measured shoe as it is, `drawing` into a shoe of the book. The outline is off by no more than
    `off_mm` in 95 of 100 photos, if the tape lies in the plane of the paper; for each millimetre that it is raised, by
    up to `off_by_raised` millimetres more. Of a drawing, `off_mm` is how far it is off what is drawn, and `quality` is
    null. Look at the picture (`image/svg+xml`) before anything is marked by it.
    """

    panel: MeasuredPanel
    drawing: PanelDrawing
    width_mm: float
    height_mm: float
    area_mm2: float
    off_mm: float
    off_by_raised: float
    eyelets: tuple[TracedEyelet, ...]
    quality: TracingQuality | None
    cautions: tuple[Sentence, ...]
    engine: Engine
