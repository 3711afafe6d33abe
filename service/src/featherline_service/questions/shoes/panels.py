"""The shape of a panel, its free area and curvature: as the book draws it, or as a ruler measures it."""

from __future__ import annotations

import math
from typing import Final

import shapely
from msgspec import Struct
from shapely import MultiPolygon

from featherline.wire import records
from featherline.wire.shoes import Ellipse, Face, KeepOut, MeasuredPanel, Rectangle, Rise, Traced
from featherline_service.messages.told import measured, told
from featherline_service.messages.values import Quantity
from featherline_service.quantities import millimetres, radians, rise_over
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.shoes import Panel, Shoe
from featherline_service.runtime.cache import cached
from featherline_service.shape import grading
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import OUTLINE_TOLERANCE_MM
from featherline_service.shape.outlines.svg import paths
from featherline_service.shape.panel_drawings.lines import TOUCH_MM
from featherline_service.shape.placement.containment import FreeArea, free_area
from featherline_service.shape.placement.curvature import radius_of_rise

# Radii for "gentle" and "tight"; common practice, no source. An unknown curvature counts as tight.
GENTLE_RADIUS_MM: Final = 150.0
TIGHT_RADIUS_MM: Final = 60.0
SMALLEST_RADIUS_MM: Final = 5.0
PANEL_TOLERANCE_MM: Final = OUTLINE_TOLERANCE_MM / 2.0
_GRADED: Final = {"eyelets": grading.graded_hardware}  # keep-outs that do not simply grow with the panel
_CURVATURES: Final = {"flat": math.inf, "gentle": GENTLE_RADIUS_MM, "tight": TIGHT_RADIUS_MM}
# Beyond any shoe's.
SHORTEST_PANEL_MM: Final = 1.0
LONGEST_PANEL_MM: Final = 1000.0


class PanelShape(Struct, frozen=True, kw_only=True, eq=False):
    """A panel as it is drawn and measured, in millimetres, y upwards, the toe to the right; hashed by identity.

    `radius_along` and `radius_across` are infinite when flat, negative where the panel is hollow. An unknown curvature
    has the radius of a tight one.
    """

    face: Face
    outline: MultiPolygon
    area: FreeArea
    centre: tuple[float, float]
    radius_along: float
    radius_across: float
    curvature_known: bool = True
    up: float
    """The direction in the drawing that is up as the shoe is worn [rad], counter-clockwise from the right."""

    @property
    def upright(self) -> float:
        """The rotation of an artwork that stands upright as the shoe is worn [rad]."""
        return self.up - math.pi / 2.0


def panel_shape(shoe: Shoe, panel: Panel, checks: Checks) -> PanelShape | None:
    """Return the shape of a panel; note what is wrong with a measured one. None where the shoe's size is wrong."""
    if isinstance(panel.drawing, MeasuredPanel):
        return _measured(panel.drawing, f"/shoe/panels/{shoe.panels.index(panel)}", checks)
    return None if shoe.growth is None else _grown(panel.drawing, *shoe.growth)


def growth_of(panel: records.Panel, along: float, around: float) -> tuple[float, float]:
    """Return how a panel's drawing grows in x and y, on a shoe that grows along its length and around.

    A heel is drawn from behind: both its sides go with the girth.
    """
    return (around, around) if panel.face == "heel" else (along, around)


def _grown(panel: records.Panel, along: float, around: float) -> PanelShape:
    along, around = growth_of(panel, along, around)
    outline, area, centre = panel_area(panel, along, around)
    return PanelShape(
        face=panel.face,
        outline=outline,
        area=area,
        centre=centre,
        radius_along=math.inf if panel.radius_along_mm is None else panel.radius_along_mm * along,
        radius_across=math.inf if panel.radius_across_mm is None else panel.radius_across_mm * around,
        up=math.radians(panel.up_deg),
    )


@cached
def panel_area(panel: records.Panel, along: float, around: float) -> tuple[MultiPolygon, FreeArea, tuple[float, float]]:
    """Return outline, free area and centre of a panel of the book, enlarged along its length and around.

    Hardware keeps its size. The start has refused what cannot be drawn.
    """

    def drawn(data: str) -> MultiPolygon:
        return paths.region(data, "nonzero", PANEL_TOLERANCE_MM, tangled=True)

    outline = grading.graded(drawn(panel.outline), along, around)
    keep_outs = tuple(
        (keep_out.what, _GRADED.get(keep_out.what, grading.graded)(drawn(keep_out.d), along, around))
        for keep_out in panel.keep_outs
    )
    area = free_area(outline, keep_outs)
    if panel.centre_mm is None:
        return outline, area, _middle(area)
    return outline, area, (panel.centre_mm[0] * along, -panel.centre_mm[1] * around)


def _middle(area: FreeArea) -> tuple[float, float]:
    middle = shapely.centroid(area.region)
    return (0.0, 0.0) if shapely.is_empty(middle) else (float(middle.x), float(middle.y))


def _measured(panel: MeasuredPanel, pointer: str, checks: Checks) -> PanelShape | None:
    across, name = panel.curvature_across, "curvature_across"
    radius = _radius(panel.curvature, f"{pointer}/curvature", checks)
    radius_across = radius if across is None else _radius(across, f"{pointer}/{name}", checks)
    drawn = _measured_outline(panel.shape, f"{pointer}/shape", checks)
    up = _up(panel) if panel.up is None else checks.value(radians, panel.up, f"{pointer}/up")
    if drawn is None or radius is None or radius_across is None or up is None:
        return None
    outline, area = drawn
    return PanelShape(
        face=panel.face,
        outline=outline,
        area=area,
        centre=_middle(area),
        radius_along=radius,
        radius_across=radius_across,
        curvature_known=panel.curvature is not None,
        up=up,
    )


def _up(panel: MeasuredPanel) -> float:
    """Return which way is up on a measured panel that does not say [rad]; common practice, no source.

    A tongue or toe is read by whoever stands before the wearer, and is traced with its toe to the right.
    """
    return math.pi if isinstance(panel.shape, Traced) and panel.face in {"tongue", "toe"} else math.pi / 2.0


def _radius(curvature: str | Rise | None, pointer: str, checks: Checks) -> float | None:
    """Return the radius that a caller gives of a panel, negative where it is hollow; None with a fault."""
    if curvature is None:
        return TIGHT_RADIUS_MM
    if isinstance(curvature, Rise):
        pointer = f"{pointer}/rise"
        rise_and_length = checks.value(rise_over, curvature.rise, pointer)
        if rise_and_length is None:
            return None
        rise, length = rise_and_length
        if abs(rise) >= 0.5 * length:
            checks.note(
                pointer,
                told(
                    "panel.rise-too-large",
                    "It stands off by half its length or more: hold a shorter straight edge against it",
                ),
            )
            return None
        radius: float | None = radius_of_rise(rise, length)
    elif curvature in _CURVATURES:
        return _CURVATURES[curvature]
    else:
        radius = checks.value(millimetres, curvature, pointer)
    if radius is not None and abs(radius) < SMALLEST_RADIUS_MM:
        checks.note(
            pointer,
            told(
                "panel.curved-too-tightly",
                "No panel curves so tightly: give at least {smallest_radius}",
                smallest_radius=measured(SMALLEST_RADIUS_MM, "mm"),
            ),
        )
        return None
    return radius


def _measured_outline(
    shape: Rectangle | Ellipse | Traced, pointer: str, checks: Checks
) -> tuple[MultiPolygon, FreeArea] | None:
    if isinstance(shape, Traced):
        return _traced(shape, pointer, checks)
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


def _traced(shape: Traced, pointer: str, checks: Checks) -> tuple[MultiPolygon, FreeArea] | None:
    names = (f"{pointer}/d", *(f"{pointer}/keep_outs/{number}/d" for number in range(len(shape.keep_outs))))
    sound = True
    for name, data in zip(names, (shape.d, *(keep_out.d for keep_out in shape.keep_outs)), strict=True):
        try:
            large = max(paths.extent(data)) > LONGEST_PANEL_MM
            if not large:
                _region(data)
        except DrawingError as error:
            checks.note(name, error.told)
            sound = False
        else:
            if large:
                checks.note(
                    name,
                    told(
                        "panel.too-large",
                        "The panel is larger than {longest_panel}: trace it in millimetres",
                        longest_panel=measured(LONGEST_PANEL_MM, "mm"),
                    ),
                )
                sound = False
    return _area_of(shape.d, shape.keep_outs) if sound else None


def _side(text: str, pointer: str, checks: Checks) -> float | None:
    side = checks.value(millimetres, text, pointer)
    if side is not None and not SHORTEST_PANEL_MM <= side <= LONGEST_PANEL_MM:
        checks.note(
            pointer,
            told(
                "panel.size-unusable",
                "No panel is {text}: give {shortest_panel} to {longest_panel}",
                text=text,
                shortest_panel=measured(SHORTEST_PANEL_MM, "mm"),
                longest_panel=measured(LONGEST_PANEL_MM, "mm"),
            ),
        )
        return None
    return side


@cached
def _area_of(data: str, keep_outs: tuple[KeepOut, ...] = ()) -> tuple[MultiPolygon, FreeArea]:
    outline = _region(data)
    return outline, free_area(outline, tuple((keep_out.what, _region(keep_out.d)) for keep_out in keep_outs))


@cached
def _region(data: str) -> MultiPolygon:
    return closed_region(data)


def closed_region(data: str) -> MultiPolygon:
    """Return the region of a panel's outline or keep-out.

    Raises:
        DrawingError: It cannot be drawn, or ends away from where it begins: an edge may be missing.
    """
    region = paths.region(data, "nonzero", PANEL_TOLERANCE_MM)
    gap = paths.widest_gap(data)
    if gap > TOUCH_MM:
        raise DrawingError(
            "panel.line-open",
            "The line is not closed: it ends {gap} from where it begins. Draw what is missing, "
            "or end it with Z, which draws a straight line back",
            gap=Quantity(round(gap, 1), "mm", 1),
        )
    return region
