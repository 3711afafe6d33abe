"""SVG drawings of what is cut from film: filled shapes in one colour (`elements` says which there are).

Strokes are refused, and so is a drawing that reaches outside its viewBox, where a picture of it is cut off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import shapely
from shapely import MultiPolygon

from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import curves
from featherline_service.shape.outlines.curves import Contour, DrawingError, box_size, refuse_points
from featherline_service.shape.outlines.regions import FillRule, fill, polygons, refuse_tangles
from featherline_service.shape.outlines.svg import elements, paths
from featherline_service.shape.outlines.svg.elements import Page, Shape

# Share of a drawing's area outside its viewBox that counts as the rounding of the program that wrote it.
_OUTSIDE_SHARE: Final = 1e-3


@dataclass(frozen=True)
class FilledShape:
    """The contours of a shape, y upwards, and their fill rule."""

    contours: tuple[Contour, ...]
    rule: FillRule


@dataclass(frozen=True)
class _Document:
    """The filled shapes of a drawing, and left, low, right and high of its page, y upwards."""

    shapes: tuple[FilledShape, ...]
    page: Page


def shapes(drawing: str) -> tuple[FilledShape, ...]:
    """Return the filled shapes of an SVG drawing, in user units.

    Args:
        drawing: The text of an SVG document of at most 200,000 characters.

    Raises:
        DrawingError: As in `elements.read`; a shape has a stroke, there are several fills, or nothing is filled.
    """
    return _document(drawing).shapes


@cached
def _document(drawing: str) -> _Document:
    filled: list[FilledShape] = []
    paints: set[str] = set()

    def take(shape: Shape) -> None:
        stroke, paint = shape.context.stroked, shape.context.filled
        if stroke is not None:
            raise DrawingError(
                "svg.stroke",
                "{element} has stroke={stroke!r}, which is not drawn here: convert strokes to outlines",
                element=shape.element,
                stroke=stroke[:40],
            )
        if paint is not None and (contours := shape.contours()):
            filled.append(FilledShape(contours, shape.context.rule))
            paints.add(paint)

    root = elements.read(drawing, take)
    if len(paints) > 1:
        raise DrawingError(
            "svg.several-fills",
            "The drawing has {paints} fills, and a film has one colour: subtract what is to be "
            "cut out, and send each colour as a drawing of its own",
            paints=len(paints),
        )
    if not filled:
        raise DrawingError("svg.no-shape", "The drawing has no filled shape: draw at least one")
    return _Document(tuple(filled), root.page)


@cached
def region(drawing: str, tolerance: float) -> MultiPolygon:
    """Return the union of a drawing's filled shapes, y upwards, flattened to `tolerance`.

    Raises:
        DrawingError: As in `shapes`; the shapes enclose no area, have too many points, cross too often or reach outside
            the viewBox.
    """
    flat = [
        ([curves.flatten(contour, tolerance) for contour in shape.contours], shape.rule) for shape in shapes(drawing)
    ]
    points = [points for contours, _ in flat for points in contours if len(points) > 1]
    refuse_points(sum(map(len, points)))
    if points:
        refuse_tangles(points)
    united = polygons(shapely.union_all([fill(contours, rule) for contours, rule in flat]))
    if united.area <= paths.SMALLEST_SHARE * max(extent(drawing)) ** 2:
        raise DrawingError("drawing.no-area", "The drawing encloses no area: draw closed shapes, not lines")
    _refuse_outside(united, _document(drawing).page)
    return united


def _refuse_outside(region: MultiPolygon, page: Page) -> None:
    """Raise `DrawingError` when a drawing reaches outside its page."""
    left, low, right, high = region.bounds
    if left >= page[0] and low >= page[1] and right <= page[2] and high <= page[3]:
        return
    inside = shapely.intersection(region, shapely.box(*page)).area
    if region.area - inside > _OUTSIDE_SHARE * region.area:
        raise DrawingError(
            "svg.outside-viewbox",
            "The drawing reaches outside its viewBox, or without one outside its width and "
            "height, where a picture of it is cut off: move it inside, or set the viewBox around "
            "it",
        )


def extent(drawing: str) -> tuple[float, float]:
    """Return width and height of the box around all control points of a drawing, in its unit.

    Raises:
        DrawingError: As in `shapes`.
    """
    return box_size([contour for shape in shapes(drawing) for contour in shape.contours])
