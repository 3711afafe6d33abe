"""From the closed shapes of a drawing to a panel: which is its outline, which are eyelets, what is kept free."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
from shapely import affinity

from featherline_service.messages.told import measured
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.panel_drawings import dxf_lines, lines, svg_lines
from featherline_service.shape.panel_drawings.lines import SAY_UNIT, Drawing, Points, Ring, Unit

DrawingType = Literal["image/svg+xml", "image/vnd.dxf"]

MOST_KEPT_FREE: Final = 64
OFF_MM: Final = 0.03
"""How far an outline is off at most: by chords (0.01), points left out (0.01) and rounding to hundredths (0.007)."""
_SIMPLE_MM: Final = 0.01
_SMALLEST_EYELET_MM, _LARGEST_EYELET_MM = 1.5, 16.0
"""Diameters, as in a tape tracing."""
_ROUND: Final = 0.97
"""[-] 4 pi times the area over the square of the length around, from which on a shape is round; of a hexagon 0.91."""
_SMALLEST_MM, _LARGEST_MM = 5.0, 600.0
"""Sides of a panel, beyond which a drawing is not in the unit that it seems to be in; common practice, no source."""
_LONGEST_PATH: Final = 100_000
_OUTLINE: Final = "outline"
_NUMBERED: Final = re.compile(r"[ _.-]*[0-9]*$")


class Round(NamedTuple):
    """A round eyelet [mm]."""

    x: float
    y: float
    radius: float


class Area(NamedTuple):
    """An area to be kept free [mm], and what it is; None: what is drawn in red."""

    kind: str | None
    polygon: shapely.Polygon


class DrawnPanel(NamedTuple):
    """A panel as it is drawn [mm], y downwards, from the top left of its outline's box."""

    outline: shapely.Polygon
    eyelets: tuple[Round, ...]
    areas: tuple[Area, ...]
    cautions: tuple[str, ...]


def read(content: bytes, media_type: DrawingType, unit: Unit | None, kinds: Collection[str]) -> DrawnPanel:
    """Return the panel that a drawing shows.

    Args:
        content: The file.
        media_type: What it is.
        unit: Of its coordinates; None: the drawing says it.
        kinds: What an area that is kept free may be, as names of layers, groups and shapes.

    Raises:
        DrawingError: It cannot be read as one panel; the message says what to change.
    """
    if media_type == "image/vnd.dxf":
        return panel(dxf_lines.read(content, unit), kinds)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DrawingError(
            "panel-drawing.not-svg", "The drawing is not SVG in UTF-8: save it as plain SVG, not compressed"
        ) from error
    return panel(svg_lines.read(text, unit), kinds)


def panel(drawing: Drawing, kinds: Collection[str]) -> DrawnPanel:
    """Return the panel of a drawing: its largest shape, or that of the name `outline`, and what lies within.

    What lies within is what it is named; or to be kept free where it is red; or an eyelet where it is round.

    Raises:
        DrawingError: There is no outline, or something that is none of these.
    """
    shapes = lines.rings(drawing.lines)
    corner = np.min([ring.polygon.bounds[:2] for ring in shapes], axis=0)
    names = [_name(ring.names, kinds) for ring in shapes]
    edge = _edge(shapes, names)
    outline = edge.polygon.simplify(_SIMPLE_MM)
    left, top, right, bottom = outline.bounds
    if not _SMALLEST_MM <= min(right - left, bottom - top) <= max(right - left, bottom - top) <= _LARGEST_MM:
        raise DrawingError(
            "panel-drawing.size-unusable",
            "The outline is {right} wide and {bottom} high, and panels are {smallest} to "
            "{largest}: draw it in true size, " + SAY_UNIT,
            right=measured(right - left, "mm"),
            bottom=measured(bottom - top, "mm"),
            smallest=measured(_SMALLEST_MM, "mm"),
            largest=measured(_LARGEST_MM, "mm"),
        )
    _refuse_long(outline)
    eyelets: list[Round] = []
    areas: list[Area] = []
    for ring, name in zip(shapes, names, strict=True):
        if ring is edge:
            continue
        where = lines.place(np.array(ring.polygon.centroid.coords[0]), corner)
        inside = _within(ring.polygon, outline, where)
        if name not in {None, "eyelets"}:
            areas.append(Area(name, inside))
        elif name is None and ring.red:
            areas.append(Area(None, inside))
        elif (eyelet := _round(ring.polygon)) is not None and inside.equals(ring.polygon):
            eyelets.append(eyelet._replace(x=eyelet.x - left, y=eyelet.y - top))
        elif name is not None:
            areas.append(Area(name, inside))
        else:
            raise DrawingError(
                "panel-drawing.shape-unnamed",
                "The shape {where} is not the outline, and neither red, nor round and "
                "{smallest_eyelet} to {largest_eyelet} wide as an eyelet is: name it, or its group "
                "or layer, by what it is ({kinds}), or take it out",
                where=where,
                smallest_eyelet=measured(_SMALLEST_EYELET_MM, "mm"),
                largest_eyelet=measured(_LARGEST_EYELET_MM, "mm"),
                kinds=tuple(kinds),
            )
    if len(eyelets) + len(areas) > MOST_KEPT_FREE:
        raise DrawingError(
            "panel-drawing.too-many-shapes",
            "The drawing has more than {most_kept_free} shapes within its outline: unite some of them",
            most_kept_free=MOST_KEPT_FREE,
        )
    moved = tuple(Area(area.kind, affinity.translate(area.polygon, -left, -top)) for area in areas)
    return DrawnPanel(affinity.translate(outline, -left, -top), tuple(sorted(eyelets)), moved, drawing.cautions)


def _edge(shapes: Sequence[Ring], names: Sequence[str | None]) -> Ring:
    """Return the outline."""
    named = [ring for ring, name in zip(shapes, names, strict=True) if name == _OUTLINE]
    if len(named) > 1:
        raise DrawingError(
            "panel-drawing.two-outlines",
            "The drawing has {named} shapes of the name {outline}: keep one, each panel is a file",
            named=len(named),
            outline=_OUTLINE,
        )
    plain = [ring for ring, name in zip(shapes, names, strict=True) if name is None and not ring.red]
    if not named and not plain:
        raise DrawingError(
            "panel-drawing.no-outline",
            "The drawing has no outline: draw one that is not red, or name a shape {outline}",
            outline=_OUTLINE,
        )
    return named[0] if named else max(plain, key=lambda ring: ring.polygon.area)


def _name(names: Sequence[str], kinds: Collection[str]) -> str | None:
    """Return what a shape is by its own name, or that of the nearest group or layer that says it."""
    plain = (_NUMBERED.sub("", name.strip().lower()) for name in reversed(names))
    return next((name for name in plain if name == _OUTLINE or name in kinds), None)


def _within(polygon: shapely.Polygon, outline: shapely.Polygon, where: str) -> shapely.Polygon:
    """Return the largest part of a shape that lies within the outline."""
    if outline.covers(polygon):
        return polygon
    parts = [
        part
        for part in shapely.get_parts(polygon.intersection(outline))
        if isinstance(part, shapely.Polygon) and part.area > 0.0
    ]
    if not parts:
        raise DrawingError(
            "panel-drawing.shape-outside",
            "The shape {where} lies outside of the outline: keep one panel, and what is on it",
            where=where,
        )
    if len(parts) > 1:
        raise DrawingError(
            "panel-drawing.shape-crosses",
            "The shape {where} leaves the outline and comes back: draw it as {parts} shapes",
            where=where,
            parts=len(parts),
        )
    return parts[0]


def _round(polygon: shapely.Polygon) -> Round | None:
    """Return a shape as an eyelet; None where it is not round, too small or too large."""
    radius = math.sqrt(polygon.area / math.pi)
    if not _SMALLEST_EYELET_MM <= 2.0 * radius <= _LARGEST_EYELET_MM:
        return None
    if 4.0 * math.pi * polygon.area < _ROUND * polygon.length**2:
        return None
    return Round(polygon.centroid.x, polygon.centroid.y, radius)


def _refuse_long(outline: shapely.Polygon) -> None:
    points: Points = shapely.get_coordinates(outline)
    if 15 * len(points) > _LONGEST_PATH:  # "L123.45 678.90" and what parts it
        raise DrawingError(
            "drawing.too-many-corners", "The outline has {points} corners: simplify it", points=len(points)
        )
