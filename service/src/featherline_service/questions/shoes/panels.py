"""The panel that a request names: its free area, curvature and colour, from the book or from a ruler."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon

from featherline.wire.fits import FootLength
from featherline.wire.records import Panel, ShoeModel
from featherline.wire.shoes import (
    BookShoe,
    Ellipse,
    Face,
    MeasuredPanel,
    MeasuredShoe,
    Rectangle,
    Shoe,
    Size,
    Traced,
)
from featherline_service.book.shop_book import Book
from featherline_service.quantities import millimetres
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.walk_ins import uppers_of
from featherline_service.runtime.cache import kept
from featherline_service.shape import shoe_sizes
from featherline_service.shape.outlines import svg_paths
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import OUTLINE_TOLERANCE_MM
from featherline_service.shape.placement.containment import FreeArea, free_area

# What a ruler's words stand for; common practice, no source. An unknown curvature counts as tight.
GENTLE_RADIUS_MM: Final = 150.0
TIGHT_RADIUS_MM: Final = 60.0
SMALLEST_RADIUS_MM: Final = 5.0
_CURVATURES: Final = {"flat": math.inf, "gentle": GENTLE_RADIUS_MM, "tight": TIGHT_RADIUS_MM}
_LYING: Final = ("outer", "inner")
"""Faces of a shoe that lies on its side."""
# Beyond any shoe's.
SHORTEST_PANEL_MM: Final = 1.0
LONGEST_PANEL_MM: Final = 1000.0


@dataclass(frozen=True, eq=False)
class FoundPanel:
    """A panel as a request means it, in millimetres, y upwards, the toe to the right.

    `radius_along` and `radius_across` are infinite when flat. None: not known.
    """

    id: str
    face: Face
    outline: MultiPolygon
    area: FreeArea
    centre: tuple[float, float]
    radius_along: float
    radius_across: float
    curvature_known: bool
    colour: str | None
    inside_length: float | None
    stands: float | None
    """How high the shoe is as it lies with the panel's face up."""
    heel_collapses: bool | None
    size: FootLength | None


def find_panel(book: Book, shoe: Shoe, panel: str, checks: Checks) -> FoundPanel | None:
    """Return a panel of a shoe; note what is wrong, and return None, when there is none."""
    if isinstance(shoe, BookShoe):
        return _of_book(book, shoe, panel, checks)
    return _of_ruler(book, shoe, panel, checks)


def _of_book(book: Book, shoe: BookShoe, wanted: str, checks: Checks) -> FoundPanel | None:
    model = checks.record(book.shoes, "shoe", shoe.shoe, "/shoe/shoe")
    if model is None:
        return None
    foot = _foot(model, shoe.size, checks)
    panel = next((panel for panel in model.panels if panel.id == wanted), None)
    if panel is None:
        has = ", ".join(panel.id for panel in model.panels)
        checks.note("/panel", f"{model.name} has no panel {wanted!r}; it has: {has}")
    if panel is None or foot is None:
        return None
    along, around = shoe_sizes.growth(foot, model.reference_foot_mm, model.reference_girth_mm)
    if panel.face == "heel":
        # A heel is drawn from behind: both its sides go with the girth.
        along = around
    outline, area, centre = panel_area(panel, along, around)
    return FoundPanel(
        id=panel.id,
        face=panel.face,
        outline=outline,
        area=area,
        centre=centre,
        radius_along=math.inf if panel.radius_along_mm is None else panel.radius_along_mm * along,
        radius_across=math.inf if panel.radius_across_mm is None else panel.radius_across_mm * around,
        curvature_known=True,
        colour=panel.colour,
        inside_length=foot + model.inside_allowance_mm,
        stands=around * (model.width_mm if panel.face in _LYING else model.height_mm),
        heel_collapses=model.heel_collapses,
        size=FootLength(foot_mm=round(foot, 4), convention=shoe_sizes.SCALES[shoe.size.system].convention),
    )


def _foot(model: ShoeModel, size: Size, checks: Checks) -> float | None:
    """Return the foot length of a size that the model is made in."""
    value = float(size.value)
    try:
        foot = shoe_sizes.foot_length(size.system, value)
    except shoe_sizes.SizeError as error:
        checks.note("/shoe/size", str(error))
        return None
    made = model.sizes
    there = shoe_sizes.size_on(made.system, foot)
    # A size marked in another system falls between the model's own; half a size beyond the last is still that last.
    slack = 1e-9 if size.system == made.system else 0.5
    if not made.smallest - slack <= there <= made.largest + slack:
        same = "" if size.system == made.system else f" ({size.system} {size.value} is {made.system} {there:.1f})"
        checks.note(
            "/shoe/size",
            f"{model.name} is made in {made.system} {made.smallest:g} to {made.largest:g}, "
            f"not in {size.system} {size.value}{same}",
        )
        return None
    return foot


@kept
def panel_area(panel: Panel, along: float, around: float) -> tuple[MultiPolygon, FreeArea, tuple[float, float]]:
    """Return outline, free area and centre of a panel of the book that has grown along its length and around."""
    grow = np.array([along, around])

    def grown(data: str) -> MultiPolygon:
        drawn = svg_paths.region(data, "nonzero", OUTLINE_TOLERANCE_MM / 2.0)
        return shapely.transform(drawn, lambda points: points * grow)

    outline = grown(panel.outline)
    area = free_area(outline, tuple((keep_out.what, grown(keep_out.d)) for keep_out in panel.keep_outs))
    if panel.centre_mm is None:
        return outline, area, _middle(area)
    return outline, area, (panel.centre_mm[0] * along, -panel.centre_mm[1] * around)


def _middle(area: FreeArea) -> tuple[float, float]:
    middle = shapely.centroid(area.region)
    return (0.0, 0.0) if shapely.is_empty(middle) else (float(middle.x), float(middle.y))


def _of_ruler(book: Book, shoe: MeasuredShoe, wanted: str, checks: Checks) -> FoundPanel | None:
    found = next(((i, panel) for i, panel in enumerate(shoe.panels) if panel.panel == wanted), None)
    if found is None:
        has = ", ".join(panel.panel for panel in shoe.panels)
        checks.note("/panel", f"The shoe was measured without a panel {wanted!r}; it has: {has}")
        return None
    index, panel = found
    pointer = f"/shoe/panels/{index}"
    radius = _radius(panel, pointer, checks)
    inside = shoe.inside_length and checks.value(millimetres, shoe.inside_length, "/shoe/inside_length")
    across = "width" if panel.face in _LYING else "height"
    standing = shoe.width if panel.face in _LYING else shoe.height
    stands = standing and checks.value(millimetres, standing, f"/shoe/{across}")
    uppers_of(book, shoe, checks, "/shoe")  # for what contradicts itself: a fit asks nothing of the upper
    shape = _measured_outline(panel.shape, f"{pointer}/shape", checks)
    if shape is None or radius is None:
        return None
    outline, area = shape
    return FoundPanel(
        id=panel.panel,
        face=panel.face,
        outline=outline,
        area=area,
        centre=_middle(area),
        radius_along=radius,
        radius_across=radius,
        curvature_known=panel.curvature is not None,
        colour=panel.colour,
        inside_length=inside or None,
        stands=stands or None,
        heel_collapses=shoe.heel_collapses,
        size=None,
    )


def _radius(panel: MeasuredPanel, pointer: str, checks: Checks) -> float | None:
    if panel.curvature is None:
        return TIGHT_RADIUS_MM
    if panel.curvature in _CURVATURES:
        return _CURVATURES[panel.curvature]
    radius = checks.value(millimetres, panel.curvature, f"{pointer}/curvature")
    if radius is not None and radius < SMALLEST_RADIUS_MM:
        checks.note(f"{pointer}/curvature", f"No panel curves so tightly: give at least {SMALLEST_RADIUS_MM:.0f} mm")
        return None
    return radius


def _measured_outline(
    shape: Rectangle | Ellipse | Traced, pointer: str, checks: Checks
) -> tuple[MultiPolygon, FreeArea] | None:
    if isinstance(shape, Traced):
        return _traced(shape.d, f"{pointer}/d", checks)
    sides = [
        _side(text, f"{pointer}/{name}", checks) for name, text in (("width", shape.width), ("height", shape.height))
    ]
    if sides[0] is None or sides[1] is None:
        return None
    a, b = sides[0] / 2.0, sides[1] / 2.0
    if isinstance(shape, Rectangle):
        return _area_of(f"M{-a:.9f} {-b:.9f}H{a:.9f}V{b:.9f}H{-a:.9f}Z")
    arc = f"A{a:.9f} {b:.9f} 0 0 1"
    return _area_of(f"M{-a:.9f} 0{arc} {a:.9f} 0{arc} {-a:.9f} 0Z")


def _traced(data: str, pointer: str, checks: Checks) -> tuple[MultiPolygon, FreeArea] | None:
    try:
        if max(svg_paths.extent(data)) <= LONGEST_PANEL_MM:
            return _area_of(data)
        checks.note(pointer, f"The panel is larger than {LONGEST_PANEL_MM:.0f} mm: trace it in millimetres")
    except DrawingError as error:
        checks.note(pointer, str(error))
    return None


def _side(text: str, pointer: str, checks: Checks) -> float | None:
    side = checks.value(millimetres, text, pointer)
    if side is not None and not SHORTEST_PANEL_MM <= side <= LONGEST_PANEL_MM:
        checks.note(pointer, f"No panel is {text}: give {SHORTEST_PANEL_MM:.0f} to {LONGEST_PANEL_MM:.0f} mm")
        return None
    return side


@kept
def _area_of(data: str) -> tuple[MultiPolygon, FreeArea]:
    outline = svg_paths.region(data, "nonzero", OUTLINE_TOLERANCE_MM / 2.0)
    return outline, free_area(outline)
