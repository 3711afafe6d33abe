"""The elements of SVG drawings: a small, safe subset of shapes, groups and transforms, with what they inherit.

The rule: every element, attribute and CSS property is read, cannot change a shape, or is refused by name
(`attributes`). Document types, entities, references, scripts, style sheets and text are refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, Literal, get_args
from xml.parsers import expat

import numpy as np

from featherline_service.messages.values import Quantity
from featherline_service.shape.outlines.curves import Contour, DrawingError
from featherline_service.shape.outlines.regions import FillRule
from featherline_service.shape.outlines.svg import attributes, paths, transforms
from featherline_service.shape.outlines.svg.paths import NUMBER
from featherline_service.shape.outlines.svg.transforms import NUMBERS, Matrix

LONGEST_DRAWING: Final = 200_000
MOST_ELEMENTS: Final = 2_000
DEEPEST: Final = 32
_SVG: Final = "http://www.w3.org/2000/svg"
# Elements that are never drawn by themselves; skipped with their content, for references to them are refused.
_NEVER_DRAWN: Final = {
    "title", "desc", "metadata", "defs", "symbol", "clipPath", "mask", "pattern", "marker", "linearGradient",
    "radialGradient", "filter",
}  # fmt: skip
# Elements that change how the rest is drawn, wherever they are.
_STYLING: Final = {"style", "script"}
_GROUPS: Final = {"svg", "g"}
ShapeName = Literal["path", "rect", "circle", "ellipse", "polygon", "polyline"]
_SHAPES: Final = get_args(ShapeName)
# User units in absolute units (CSS Values and Units Module Level 3, W3C, section 6.2: 96 px to the inch).
_UNITS: Final = {"": 1.0, "px": 1.0, "in": 96.0, "cm": 96.0 / 2.54, "mm": 9.6 / 2.54, "pt": 96.0 / 72.0, "pc": 16.0}
_LENGTH: Final = re.compile(rf"\s*({NUMBER})({'|'.join(_UNITS)})\s*")
_NO_POINTS: Final = re.compile(r"[^0-9eE+.,\s-]")
_SIZES: Final = {"width", "height", "r", "rx", "ry"}
_ASPECT: Final = re.compile(r"\s*(?:none|x(?:Min|Mid|Max)Y(?:Min|Mid|Max))(?:\s+meet)?\s*")
_DISPLAYS: Final = {"inline", "block", "inline-block", "flex", "grid", "list-item", "table", "contents", "inherit"}
_VISIBILITIES: Final = {"visible": True, "hidden": False, "collapse": False}
_ZERO: Final = {"0", "0.0", "0%"}
_BEYOND: Final = 10.0 * paths.LARGEST_COORDINATE

_VIEW_BOX: Final = 4  # left, top, width and height
Page = tuple[float, float, float, float]


@dataclass(frozen=True)
class Context:
    """Inherited state of an element: transform, painting, visibility and names.

    `paint` and `colour` are None without opacity; `names` are the ids of the
    groups around it and its own.
    """

    matrix: Matrix
    paint: str | None = "#000000"
    colour: str | None = "#000000"
    rule: FillRule = "nonzero"
    fill_seen: bool = True
    stroke: str | None = None
    stroke_seen: bool = True
    stroke_wide: bool = True
    drawn: bool = True
    visible: bool = True
    names: tuple[str, ...] = ()

    @property
    def filled(self) -> str | None:
        """The colour of a fill that would be seen."""
        return self.paint if self.fill_seen else None

    @property
    def stroked(self) -> str | None:
        """The value of a stroke that would be seen."""
        return self.stroke if self.stroke_seen and self.stroke_wide else None


@dataclass(frozen=True)
class Shape:
    """A shape that is drawn, and what it has inherited."""

    element: str
    context: Context
    properties: dict[str, str]

    def contours(self) -> tuple[Contour, ...]:
        """Return its contours, y upwards, in user units of the drawing."""
        return tuple(_transformed(contour, self.context.matrix) for contour in paths.contours(self._data()))

    def lines(self) -> tuple[tuple[Contour, bool], ...]:
        """Return its contours as they are drawn, and whether each is closed; of open ones no line is added."""
        all_closed = self.element == "polygon"
        return tuple(
            (contour, True) if closed or all_closed else (contour[:-1], False)
            for contour, closed in zip(self.contours(), paths.are_closed(self._data()), strict=True)
        )

    def _data(self) -> str:
        return _path_data(self.element, self.properties)


@dataclass(frozen=True)
class Root:
    """Left, low, right and high of a drawing's page, y upwards, and its width and height as they are written."""

    page: Page
    size: tuple[str | None, str | None]
    has_view_box: bool


@dataclass
class _Reader:
    """A reader that follows the elements of a document and hands its shapes on."""

    take: Callable[[Shape], None]
    around: list[tuple[str, Context]] = field(default_factory=lambda: [("", Context(np.eye(3)))])
    page: Page = (-_BEYOND, -_BEYOND, _BEYOND, _BEYOND)
    size: tuple[str | None, str | None] = (None, None)
    has_view_box: bool = False
    space: str = ""
    skipped: int = 0
    elements: int = 0

    def start(self, name: str, raw: dict[str, str]) -> None:
        """Enter an element."""
        self.elements += 1
        if self.elements > MOST_ELEMENTS:
            raise DrawingError(
                "svg.too-many-elements",
                "The drawing has more than {most_elements} elements: unite its shapes",
                most_elements=MOST_ELEMENTS,
            )
        if len(self.around) + self.skipped > DEEPEST:
            raise DrawingError(
                "svg.too-deep",
                "The drawing's elements are nested more than {deepest} deep: ungroup them",
                deepest=DEEPEST,
            )
        space, _, local = name.rpartition(" ")
        if self.elements == 1:
            if local != "svg" or space not in {"", _SVG}:
                raise DrawingError(
                    "svg.no-svg", "The drawing begins with {local!r}: it must begin with svg", local=local
                )
            self.space, self.page = space, _page(raw)
            self.size, self.has_view_box = (raw.get("width"), raw.get("height")), "viewBox" in raw
        if local in _STYLING:
            raise DrawingError(
                "svg.element",
                "The drawing holds {local!r}, which is not drawn here: {advice}",
                local=local,
                advice=_advice(local),
            )
        if self.skipped or space != self.space or local in _NEVER_DRAWN:
            self.skipped += 1
            return
        self._enter(local, raw)

    def _enter(self, local: str, raw: dict[str, str]) -> None:
        """Enter an element of the subset, or refuse it."""
        parent, around = self.around[-1]
        if local == "svg" and parent:
            raise DrawingError("svg.nested-drawing", "The drawing holds another drawing (svg): ungroup it")
        if local not in _GROUPS and local not in _SHAPES:
            raise DrawingError(
                "svg.element",
                "The drawing holds {local!r}, which is not drawn here: {advice}",
                local=local,
                advice=_advice(local),
            )
        if parent in _SHAPES:
            raise DrawingError(
                "svg.element-misplaced",
                "The drawing holds {local!r} inside {parent!r}, where it is not drawn: move it out",
                local=local,
                parent=parent,
            )
        properties = attributes.attributes(local, raw)
        context = _inherit(around, local, properties, raw.get("id"))
        self.around.append((local, context))
        if local not in _SHAPES or not context.drawn or not context.visible:
            return
        self.take(Shape(local, context, properties))

    def end(self, _: str) -> None:
        """Leave an element."""
        if self.skipped:
            self.skipped -= 1
        else:
            self.around.pop()


def _advice(local: str) -> str:
    return {
        "text": "turn its letters into paths, or send the text as text",
        "image": "trace it to paths",
        "use": "replace references by what they show",
        "style": "save the drawing with presentation attributes instead of a style sheet",
        "script": "leave it out",
        "switch": "keep one of the alternatives",
        "a": "leave the link out and keep what it holds",
        "line": "a line has no area; draw it as a shape",
    }.get(local, f"draw with {', '.join(_SHAPES)} in groups")


def read(drawing: str, take: Callable[[Shape], None]) -> Root:
    """Read an SVG document, and hand on its shapes in the order in which they are drawn.

    Args:
        drawing: The text of an SVG document of at most 200,000 characters.
        take: Is given each shape that is displayed and visible, whether it is filled, stroked or neither.

    Raises:
        DrawingError: The document is not well formed, exceeds a limit, or has an element or property outside the
            subset; the message names it.

    References:
        SVG 1.1 (Second Edition), W3C 2011, chapters 7 to 9 and 11.
    """
    if len(drawing) > LONGEST_DRAWING:
        raise DrawingError(
            "svg.too-long",
            "The drawing is longer than {longest_drawing} characters: simplify it",
            longest_drawing=LONGEST_DRAWING,
        )
    reader = _Reader(take)
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.StartDoctypeDeclHandler = _refuse("a document type (DOCTYPE)")
    parser.EntityDeclHandler = _refuse("an entity")
    parser.ProcessingInstructionHandler = _refuse("a processing instruction")
    try:
        parser.Parse(drawing.encode(), True)
    except expat.ExpatError as error:
        raise DrawingError(
            "svg.not-well-formed",
            "The drawing is not well-formed XML, line {lineno}: {error}",
            lineno=error.lineno,
            error=str(error),
        ) from error
    except UnicodeEncodeError as error:
        raise DrawingError("svg.surrogate", "The drawing holds half of a surrogate pair: leave it out") from error
    return Root(reader.page, reader.size, reader.has_view_box)


def _refuse(markup: str) -> Callable[..., None]:
    """Return a handler that refuses a kind of markup."""

    def refuse(*_: object) -> None:
        raise DrawingError("svg.markup", "The drawing holds {markup}: leave it out", markup=markup)

    return refuse


def _page(raw: dict[str, str]) -> Page:
    """Return the page of a drawing: its viewBox or else its size, y upwards; unlimited where it has no size.

    References:
        SVG 1.1 (Second Edition), W3C 2011, sections 7.7 and 7.8.
    """
    aspect = raw.get("preserveAspectRatio", "xMidYMid")
    if _ASPECT.fullmatch(aspect) is None or aspect.strip().startswith("none"):
        raise DrawingError(
            "svg.aspect",
            "preserveAspectRatio={aspect!r} would distort or cut off the drawing: write 'xMidYMid meet'",
            aspect=aspect[:40],
        )
    sizes = [_size(name, raw.get(name)) for name in ("width", "height")]
    if "viewBox" not in raw:
        return 0.0, -(sizes[1] or _BEYOND), sizes[0] or _BEYOND, 0.0
    text = raw["viewBox"]
    values = [float(number) for number in re.findall(NUMBER, text)] if NUMBERS.fullmatch(text) else []
    if len(values) != _VIEW_BOX or not all(abs(value) <= paths.LARGEST_COORDINATE for value in values):
        raise DrawingError(
            "svg.viewbox-unreadable",
            "viewBox={text!r} is not left, top, width and height: write such as '0 0 60 40'",
            text=text[:60],
        )
    left, top, width, height = values
    if width <= 0.0 or height <= 0.0:
        raise DrawingError(
            "svg.viewbox-empty", "viewBox={text!r} has no area: give it a width and a height above zero", text=text[:60]
        )
    return left, -(top + height), left + width, -top


def _size(name: str, text: str | None) -> float | None:
    """Return the width or height of a drawing in user units; None where it is as large as the page that shows it."""
    if text is None or text.strip() in {"auto", "100%"}:
        return None
    size = _length(text)
    if size is None or size <= 0.0:
        raise DrawingError(
            "svg.size-unreadable",
            "svg has {name}={text!r}: write a size above zero, or leave it out",
            name=name,
            text=text[:40],
        )
    return size


def _length(text: str) -> float | None:
    """Return a length in user units; None where it is not a number in an absolute unit."""
    match = _LENGTH.fullmatch(text)
    if match is None:
        return None
    length = float(match[1]) * _UNITS[match[2]]
    return length if abs(length) <= paths.LARGEST_COORDINATE else None


def _inherit(around: Context, element: str, properties: dict[str, str], name: str | None) -> Context:
    """Return the context of an element from that of its parent and its attributes.

    References:
        SVG 1.1 (Second Edition), W3C 2011, sections 11.3 to 11.5 and 14.5.
    """
    rule = properties.get("fill-rule", "inherit")
    if rule not in {"nonzero", "evenodd", "inherit"}:
        raise DrawingError("svg.fill-rule", "There is no fill-rule {rule!r}: write nonzero or evenodd", rule=rule[:40])
    display = properties.get("display", "inline")
    if display not in {*_DISPLAYS, "none"}:
        raise DrawingError(
            "svg.display",
            "{element} has display={display!r}: write inline or none",
            element=element,
            display=display[:40],
        )
    visibility = properties.get("visibility", "inherit")
    if visibility not in {*_VISIBILITIES, "inherit"}:
        raise DrawingError(
            "svg.visibility",
            "{element} has visibility={visibility!r}: write visible or hidden",
            element=element,
            visibility=visibility[:40],
        )

    def seen(name: str, inherited: bool) -> bool:
        value = properties.get(name, "inherit")
        return inherited if value == "inherit" else attributes.opacity(element, name, value)

    def painted(name: str, inherited: str | None, colour: str | None) -> str | None:
        value = properties.get(name, "inherit")
        if value == "inherit":
            return inherited
        if value.lower() == "currentcolor":
            return colour
        return None if value == "none" and name != "color" else attributes.colour(element, name, value)

    colour = painted("color", around.colour, around.colour)
    stroke = properties.get("stroke", "inherit")
    width, strength = properties.get("stroke-width", "inherit"), properties.get("stroke-opacity", "inherit")
    return Context(
        matrix=around.matrix @ transforms.matrix(properties.get("transform", "")),
        paint=painted("fill", around.paint, colour),
        colour=colour,
        rule=around.rule if rule == "inherit" else "evenodd" if rule == "evenodd" else "nonzero",
        fill_seen=seen("fill-opacity", around.fill_seen),
        stroke=around.stroke if stroke == "inherit" else None if stroke in {"none", "transparent"} else stroke,
        stroke_seen=around.stroke_seen if strength == "inherit" else strength not in _ZERO,
        stroke_wide=around.stroke_wide if width == "inherit" else _length(width) != 0.0,
        drawn=around.drawn and display != "none" and seen("opacity", inherited=True),
        visible=_VISIBILITIES.get(visibility, around.visible),
        names=around.names if name is None else (*around.names, name),
    )


def _transformed(contour: Contour, matrix: Matrix) -> Contour:
    """Return a transformed contour, y upwards before and after, of a matrix for y downwards."""
    moved: Contour = (contour * (1.0, -1.0) @ matrix[:2, :2].T + matrix[:2, 2]) * (1.0, -1.0)
    if not np.abs(moved).max(initial=0.0) <= paths.LARGEST_COORDINATE:
        raise DrawingError(
            "drawing.out-of-range",
            "The drawing leaves the range of {largest_coordinate} units: draw it smaller",
            largest_coordinate=Quantity(round(paths.LARGEST_COORDINATE, 0), None, 0),
        )
    return moved


def _path_data(local: str, properties: dict[str, str]) -> str:
    """Return a shape as path data."""

    def length(name: str, default: float = 0.0) -> float:
        if name not in properties:
            return default
        value = _length(properties[name])
        if value is None or (value < 0.0 and name in _SIZES):
            raise DrawingError(
                "svg.number-unreadable",
                "{local} has {name}={properties!r}: write a plain number of user units",
                local=local,
                name=name,
                properties=properties[name][:40],
            )
        return value

    match local:
        case "path":
            return properties.get("d", "")
        case "rect":
            return _rectangle(length("x"), length("y"), length("width"), length("height"), length("rx", -1.0),
                              length("ry", -1.0))  # fmt: skip
        case "circle":
            return _ellipse(length("cx"), length("cy"), length("r"), length("r"))
        case "ellipse":
            if ("rx" in properties) != ("ry" in properties):  # SVG 1.1 and SVG 2 differ on it
                raise DrawingError("svg.one-radius", "ellipse has one radius without the other: give both, rx and ry")
            return _ellipse(length("cx"), length("cy"), length("rx"), length("ry"))
        case _:
            points = properties.get("points", "").strip()
            if _NO_POINTS.search(points) is not None:  # path data would take commands
                raise DrawingError(
                    "svg.points-unreadable",
                    "{local} has points={points!r}: write pairs of plain numbers",
                    local=local,
                    points=points[:40],
                )
            return f"M{points}" if points else ""


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
