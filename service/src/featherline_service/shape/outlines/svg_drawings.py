"""SVG drawings: a small, safe subset of filled shapes, groups and transforms in one colour.

Document types, entities, references, scripts, style sheets and text are refused by name.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Final, Literal, get_args
from xml.parsers import expat

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from featherline_service.runtime.cache import kept
from featherline_service.shape.outlines import curves, svg_paths
from featherline_service.shape.outlines.curves import MOST_POINTS, Contour, DrawingError
from featherline_service.shape.outlines.regions import FillRule, fill, polygons, refuse_tangles

LONGEST_DRAWING: Final = 200_000
MOST_ELEMENTS: Final = 2_000
DEEPEST: Final = 32
_SVG: Final = "http://www.w3.org/2000/svg"
# Elements that draw nothing; skipped with their content.
_SILENT: Final = {"title", "desc", "metadata", "defs"}
_GROUPS: Final = {"svg", "g"}
Shape = Literal["path", "rect", "circle", "ellipse", "polygon", "polyline"]
_SHAPES: Final = get_args(Shape)
# Properties that would change the shape, with the values that leave it as it is.
_HARMLESS: Final = {
    "stroke": {"none", "transparent"}, "clip-path": {"none"}, "mask": {"none"}, "filter": {"none"},
    "marker": {"none"}, "marker-start": {"none"}, "marker-mid": {"none"}, "marker-end": {"none"},
}  # fmt: skip
_BLACK: Final = {"black", "#000", "#000000", "currentcolor"}
_NUMBER: Final = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_LENGTH: Final = re.compile(rf"\s*({_NUMBER})(?:px)?\s*")
_TRANSFORM: Final = re.compile(r"[\s,]*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^()]*)\)[\s,]*")
_NUMBERS: Final = re.compile(rf"\s*{_NUMBER}(?:(?:\s+,?\s*|,\s*|(?=[+-])|(?=\.)){_NUMBER})*\s*")
_ARGUMENTS: Final = {
    "matrix": {6}, "translate": {1, 2}, "scale": {1, 2}, "rotate": {1, 3}, "skewX": {1}, "skewY": {1},
}  # fmt: skip

Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class Filled:
    """The contours of a shape, y upwards, and their fill rule."""

    contours: tuple[Contour, ...]
    rule: FillRule


@dataclass(frozen=True)
class _Context:
    """Inherited state of a group: transform, fill, fill rule and visibility."""

    matrix: Matrix
    paint: str = "black"
    rule: FillRule = "nonzero"
    drawn: bool = True


@dataclass
class _Reader:
    """A reader that follows the elements of a document and collects its shapes."""

    shapes: list[Filled] = field(default_factory=list)
    paints: set[str] = field(default_factory=set)
    around: list[_Context] = field(default_factory=lambda: [_Context(np.eye(3))])
    silent: int = 0
    elements: int = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Enter an element."""
        self.elements += 1
        if self.elements > MOST_ELEMENTS:
            raise DrawingError(f"The drawing has more than {MOST_ELEMENTS} elements: unite its shapes")
        if len(self.around) + self.silent > DEEPEST:
            raise DrawingError(f"The drawing's elements are nested more than {DEEPEST} deep: ungroup them")
        space, _, local = name.rpartition(" ")
        if self.silent or space not in {"", _SVG} or local in _SILENT:
            self.silent += 1
            return
        if local == "svg" and len(self.around) > 1:
            raise DrawingError("The drawing holds another drawing (svg): ungroup it")
        if self.elements == 1 and local != "svg":
            raise DrawingError(f"The drawing begins with {local!r}: it must begin with svg")
        if local not in _GROUPS and local not in _SHAPES:
            raise DrawingError(f"The drawing holds {local!r}, which is not drawn here: {_advice(local)}")
        context = _inherit(self.around[-1], _properties(attributes, local), attributes)
        self.around.append(context)
        if local in _SHAPES and context.drawn and context.paint != "none":
            contours = tuple(_transformed(contour, context.matrix) for contour in _contours(local, attributes))
            if contours:
                self.shapes.append(Filled(contours, context.rule))
                self.paints.add(context.paint)

    def end(self, _: str) -> None:
        """Leave an element."""
        if self.silent:
            self.silent -= 1
        else:
            self.around.pop()


def _advice(local: str) -> str:
    return {
        "text": "turn its letters into paths, or send the text as text",
        "image": "trace it to paths",
        "use": "replace references by what they show",
        "style": "give the shapes their fill themselves",
        "line": "a line has no area; draw it as a shape",
    }.get(local, f"draw with {', '.join(_SHAPES)} in groups")


@kept
def shapes(drawing: str) -> tuple[Filled, ...]:
    """Return the filled shapes of an SVG drawing, in user units.

    Args:
        drawing: The text of an SVG document of at most 200,000 characters.

    Raises:
        DrawingError: The document is not well formed, exceeds a limit, or has an element or property outside the
            subset; the message names it.

    References:
        SVG 1.1 (Second Edition), W3C 2011, chapters 7 to 9 and 11.
    """
    if len(drawing) > LONGEST_DRAWING:
        raise DrawingError(f"The drawing is longer than {LONGEST_DRAWING} characters: simplify it")
    reader = _Reader()
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.StartDoctypeDeclHandler = _refuse("a document type (DOCTYPE)")
    parser.EntityDeclHandler = _refuse("an entity")
    parser.ProcessingInstructionHandler = _refuse("a processing instruction")
    try:
        parser.Parse(drawing.encode(), True)
    except expat.ExpatError as error:
        raise DrawingError(f"The drawing is not well-formed XML, line {error.lineno}: {error}") from error
    except UnicodeEncodeError as error:
        raise DrawingError("The drawing holds half of a surrogate pair: leave it out") from error
    if len(reader.paints) > 1:
        raise DrawingError(
            f"The drawing has {len(reader.paints)} fills, and a film has one colour: subtract what is to be cut out, "
            "and send each colour as a drawing of its own"
        )
    if not reader.shapes:
        raise DrawingError("The drawing has no filled shape: draw at least one")
    return tuple(reader.shapes)


class _Refusal:
    """A handler of a kind of markup that is refused."""

    def __init__(self, what: str) -> None:
        self._what = what

    def __call__(self, *_: object) -> None:
        raise DrawingError(f"The drawing holds {self._what}: leave it out")


def _refuse(what: str) -> _Refusal:
    return _Refusal(what)


@kept
def region(drawing: str, tolerance: float) -> MultiPolygon:
    """Return the union of a drawing's filled shapes, y upwards, flattened to `tolerance`.

    Raises:
        DrawingError: As in `shapes`; the shapes enclose no area, have too many points or cross too often.
    """
    flat = [
        ([curves.flatten(contour, tolerance) for contour in shape.contours], shape.rule) for shape in shapes(drawing)
    ]
    points = [points for contours, _ in flat for points in contours if len(points) > 1]
    if sum(map(len, points)) > MOST_POINTS:
        raise DrawingError(f"The drawing has more than {MOST_POINTS} points once its curves are drawn out: simplify it")
    if points:
        refuse_tangles(points)
    united = polygons(shapely.union_all([fill(contours, rule) for contours, rule in flat]))
    if united.area <= svg_paths.SMALLEST_SHARE * max(extent(drawing)) ** 2:
        raise DrawingError("The drawing encloses no area: draw closed shapes, not lines")
    return united


def extent(drawing: str) -> tuple[float, float]:
    """Return width and height of the box around all control points of a drawing, in its unit.

    Raises:
        DrawingError: As in `shapes`.
    """
    points = np.concatenate([contour.reshape(-1, 2) for shape in shapes(drawing) for contour in shape.contours])
    size = points.max(axis=0) - points.min(axis=0)
    return float(size[0]), float(size[1])


def _properties(attributes: dict[str, str], local: str) -> dict[str, str]:
    """Return presentation attributes, overridden by `style`; refuse properties that would change the shape."""
    properties = {name: value.strip() for name, value in attributes.items() if " " not in name}
    for declaration in properties.pop("style", "").split(";"):
        name, colon, value = declaration.partition(":")
        if colon:
            properties[name.strip().lower()] = value.replace("!important", "").strip()
    for name, value in properties.items():
        if name in _HARMLESS and value.lower() not in _HARMLESS[name]:
            raise DrawingError(
                f"{local} has {name}={value[:40]!r}, which is not drawn here: turn it into a filled shape"
            )
        if "url(" in value.lower():
            raise DrawingError(f"{local} refers to {value[:40]!r} by its {name}: give it itself")
        if name.lower().startswith("on") or name in {"href", "src"}:
            raise DrawingError(f"{local} has the attribute {name!r}: leave it out")
    return properties


def _inherit(around: _Context, properties: dict[str, str], attributes: dict[str, str]) -> _Context:
    paint = properties.get("fill", "inherit").lower()
    rule = properties.get("fill-rule", "inherit")
    if rule not in {"nonzero", "evenodd", "inherit"}:
        raise DrawingError(f"There is no fill-rule {rule[:40]!r}: write nonzero or evenodd")
    if properties.get("preserveAspectRatio", "").startswith("none"):
        raise DrawingError("preserveAspectRatio='none' would distort the drawing: leave it out")
    paint = around.paint if paint == "inherit" else "black" if paint in _BLACK else paint
    hidden = properties.get("display") == "none" or properties.get("visibility") in {"hidden", "collapse"}
    return _Context(
        matrix=around.matrix @ _transform(attributes.get("transform", "")),
        paint="none" if paint == "transparent" else paint,
        rule=around.rule if rule == "inherit" else "evenodd" if rule == "evenodd" else "nonzero",
        drawn=around.drawn and not hidden,
    )


def _transform(text: str) -> Matrix:
    """Return the matrix of a list of transforms.

    References:
        SVG 1.1 (Second Edition), W3C 2011, section 7.6.
    """
    matrix: Matrix = np.eye(3)
    at = 0
    while at < len(text):
        match = _TRANSFORM.match(text, at)
        if match is None or _NUMBERS.fullmatch(match[2]) is None:
            raise DrawingError(f"transform={text[:60]!r} is not a list of transforms: write such as 'translate(3 4)'")
        values = [float(number) for number in re.findall(_NUMBER, match[2])]
        if len(values) not in _ARGUMENTS[match[1]]:
            raise DrawingError(f"{match[0].strip()[:60]!r} has {len(values)} numbers, which is not what it takes")
        if not all(abs(value) <= svg_paths.LARGEST_COORDINATE for value in values):
            raise DrawingError(f"{match[0].strip()[:60]!r} is beyond {svg_paths.LARGEST_COORDINATE:.0f}")
        matrix = matrix @ _one_transform(match[1], values)
        at = match.end()
    return matrix


def _one_transform(name: str, values: list[float]) -> Matrix:
    a, b, c, d, e, f = 1.0, 0.0, 0.0, 1.0, 0.0, 0.0
    match name:
        case "matrix":
            a, b, c, d, e, f = values
        case "translate":
            e, f = (*values, 0.0)[:2]
        case "scale":
            a, d = (*values, values[0])[:2]
        case "skewX":
            c = math.tan(math.radians(math.fmod(values[0], 360.0)))
        case "skewY":
            b = math.tan(math.radians(math.fmod(values[0], 360.0)))
        case _:
            angle = math.radians(math.fmod(values[0], 360.0))
            a, b, c, d = math.cos(angle), math.sin(angle), -math.sin(angle), math.cos(angle)
            x, y = (*values[1:], 0.0, 0.0)[:2]
            e, f = x - a * x - c * y, y - b * x - d * y
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def _transformed(contour: Contour, matrix: Matrix) -> Contour:
    """Return a transformed contour, its y axis turned from downwards to upwards."""
    moved: Contour = (contour @ matrix[:2, :2].T + matrix[:2, 2]) * (1.0, -1.0)
    if not np.abs(moved).max(initial=0.0) <= svg_paths.LARGEST_COORDINATE:
        raise DrawingError(f"The drawing leaves the range of {svg_paths.LARGEST_COORDINATE:.0f} units: draw it smaller")
    return moved


def _contours(local: str, attributes: dict[str, str]) -> list[Contour]:
    """Return the contours of a shape, y downwards."""

    def length(name: str, default: float = 0.0) -> float:
        if name not in attributes:
            return default
        match = _LENGTH.fullmatch(attributes[name])
        if match is None or not abs(float(match[1])) <= svg_paths.LARGEST_COORDINATE:
            raise DrawingError(f"{local} has {name}={attributes[name][:40]!r}: write a plain number of user units")
        return float(match[1])

    match local:
        case "path":
            data = attributes.get("d", "")
        case "rect":
            data = _rectangle(length("x"), length("y"), length("width"), length("height"), length("rx", -1.0),
                              length("ry", -1.0))  # fmt: skip
        case "circle":
            data = _ellipse(length("cx"), length("cy"), length("r"), length("r"))
        case "ellipse":
            data = _ellipse(length("cx"), length("cy"), length("rx"), length("ry"))
        case _:
            points = attributes.get("points", "").strip()
            data = f"M{points}" if points else ""
    return [contour * (1.0, -1.0) for contour in svg_paths.contours(data)]


def _rectangle(x: float, y: float, width: float, height: float, rx: float, ry: float) -> str:  # noqa: PLR0917 - SVG's order
    """Return a rectangle as path data; a negative radius stands for a missing attribute (SVG 1.1 section 9.2)."""
    if width <= 0.0 or height <= 0.0:
        return ""
    rx, ry = (rx if rx >= 0.0 else max(ry, 0.0)), (ry if ry >= 0.0 else max(rx, 0.0))
    rx, ry = min(rx, width / 2.0), min(ry, height / 2.0)
    if rx <= 0.0 or ry <= 0.0:
        return f"M{x:.12g} {y:.12g}h{width:.12g}v{height:.12g}h{-width:.12g}z"
    arc = f"a{rx:.12g} {ry:.12g} 0 0 1"
    across, down = f"h{width - 2 * rx:.12g}", f"v{height - 2 * ry:.12g}"
    return (
        f"M{x + rx:.12g} {y:.12g}{across}{arc} {rx:.12g} {ry:.12g}{down}{arc} {-rx:.12g} {ry:.12g}"
        f"h{2 * rx - width:.12g}{arc} {-rx:.12g} {-ry:.12g}v{2 * ry - height:.12g}{arc} {rx:.12g} {-ry:.12g}z"
    )


def _ellipse(x: float, y: float, rx: float, ry: float) -> str:
    """Return an ellipse as path data (SVG 1.1 section 9.4)."""
    if rx <= 0.0 or ry <= 0.0:
        return ""
    arc = f"a{rx:.12g} {ry:.12g} 0 0 1"
    return f"M{x - rx:.12g} {y:.12g}{arc} {2 * rx:.12g} 0{arc} {-2 * rx:.12g} 0z"
