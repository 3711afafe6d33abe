"""Pictures of a marked shoe for its customer: a view, or a panel alone, with its marks in their films, as SVG.

Without dimensions and words. The picture names itself to screen readers; its ids are its own, so that several can
stand in one page, and attributes alone say how it looks, so that no rule for classes of the page around it does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from hashlib import sha256
from typing import Final, Literal, NamedTuple
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from featherline_service.drawing.printable import printable
from featherline_service.drawing.scene import contours

Effect = Literal["none", "metallic", "reflective", "fluorescent", "flake", "glow"]
Finish = Literal["matt", "glossy", "glitter", "shadow"]
Matrix = tuple[float, float, float, float, float, float]

_NAMESPACE: Final = "http://www.w3.org/2000/svg"
_LONGEST_WORDS: Final = 1000
_MARGIN: Final = 8.0
"""[mm] Around a panel that is shown alone."""
_GRID: Final = 0.05
"""[mm] To which the points of marks are rounded: a tenth of a pixel in a picture that fills a screen's width."""
_COARSENESS: Final = 0.04
"""[mm] By how far the outlines of marks may be off."""
_BACKDROP: Final = "#eef0f0"
_EDGE: Final = 0.28
"""[mm] Width of the edge of film and panels."""
_HALO: Final = ((6.0, 0.12), (4.0, 0.14), (2.2, 0.18))
"""Widths [mm] and opacities of the light around a film that glows."""
_FLECKS: Final = 26
_FLECK_TILE: Final = 9.0
_BEAD_TILE: Final = 1.1


class Part(NamedTuple):
    """A part of the shoe: path data on the sheet [mm], y downwards; filled, or a line of a width [mm]."""

    d: str
    colour: str
    line: float | None = None
    dash: float | None = None
    finish: Finish = "matt"


class Panel(NamedTuple):
    """A panel in its place on the sheet [mm], y downwards, with its eyelets and perforation."""

    outline: BaseGeometry
    colour: str
    holes: BaseGeometry | None = None
    finish: Finish = "matt"


class Mark(NamedTuple):
    """Film in its place on the sheet [mm], y downwards."""

    film: BaseGeometry
    colour: str
    effect: Effect = "none"


class Picture(NamedTuple):
    """A sheet [mm] with the parts of a shoe, its panels, the marks from the bottom up, and what lies over them.

    `growth` enlarges the parts' path data along x and y. `mirrored`: the sheet shows the other shoe of the pair, and
    all of it is turned over. `alternative` says it in words; `width_px` is the width that it has where nothing else is
    said.
    """

    alternative: str
    width: float
    height: float
    width_px: int
    marks: tuple[Mark, ...]
    panels: tuple[Panel, ...] = ()
    parts: tuple[Part, ...] = ()
    over: tuple[Part, ...] = ()
    growth: tuple[float, float] = (1.0, 1.0)
    mirrored: bool = False


def shade(colour: str, by: float) -> str:
    """Return a colour mixed with black (`by` from -1 to 0) or white (0 to 1), in sRGB."""
    towards = 255.0 if by > 0.0 else 0.0
    parts = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return "#" + "".join(f"{round(part + abs(by) * (towards - part)):02x}" for part in parts)


def write(picture: Picture) -> str:
    """Return a picture as an SVG document.

    References:
        Scalable Vector Graphics (SVG) 1.1, second edition; names by SVG Accessibility API Mappings, W3C.
    """
    body, definitions = _body(picture), _Definitions()
    for element in body.iter():
        definitions.resolve(element)
    title = printable(picture.alternative, _LONGEST_WORDS)
    prefix = "p" + sha256(title.encode(errors="replace") + ET.tostring(body)).hexdigest()[:12]
    root = ET.Element(
        "svg",
        {
            "xmlns": _NAMESPACE,
            "width": str(picture.width_px),
            "height": str(height_px(picture)),
            "viewBox": f"0 0 {_number(picture.width)} {_number(picture.height)}",
            "role": "img",
            "aria-labelledby": f"{prefix}-title",
        },
    )
    ET.SubElement(root, "title", {"id": f"{prefix}-title"}).text = title
    if definitions.elements:
        ET.SubElement(root, "defs").extend(definitions.elements)
    root.append(body)
    for element in root.iter():
        for name, value in element.items():
            if name == "id" and not value.startswith(prefix):
                element.set(name, f"{prefix}-{value}")
            elif value.startswith("url(#"):
                element.set(name, f"url(#{prefix}-{value[5:]}")
    return ET.tostring(root, encoding="unicode", short_empty_elements=True) + "\n"


def height_px(picture: Picture) -> int:
    """Return the height of a picture where nothing else is said [px]."""
    return max(1, round(picture.width_px * picture.height / picture.width))


class _Definitions:
    """The paint servers that a picture refers to, each made once, in the order of their first use."""

    def __init__(self) -> None:
        self.elements: list[ET.Element] = []
        self._known: set[str] = set()

    def resolve(self, element: ET.Element) -> None:
        """Define the paint that an element asks for by its name: `paint` and a colour."""
        fill = element.get("fill", "")
        if fill.startswith("paint:"):
            _, kind, colour = fill.split(":")
            name = f"{kind}-{colour[1:]}"
            element.set("fill", f"url(#{name})")
            if name not in self._known:
                self._known.add(name)
                self.elements.append(_PAINTS[kind](name, colour))


def _body(picture: Picture) -> ET.Element:
    body = ET.Element("g")
    ET.SubElement(body, "rect", {"width": "100%", "height": "100%", "fill": _BACKDROP})
    shoe = ET.SubElement(body, "g", {"stroke-linejoin": "round", "stroke-linecap": "round"})
    if picture.mirrored:
        shoe.set("transform", f"matrix(-1 0 0 1 {_number(picture.width)} 0)")
    _add_parts(shoe, picture.parts, picture.growth)
    for panel in picture.panels:
        _add_panel(shoe, panel)
    for mark in picture.marks:
        _add_mark(shoe, mark)
    _add_parts(shoe, picture.over, picture.growth)
    return body


def _add_parts(parent: ET.Element, parts: Sequence[Part], growth: tuple[float, float]) -> None:
    if not parts:
        return
    group = ET.SubElement(parent, "g")
    if growth != (1.0, 1.0):
        group.set("transform", f"scale({_number(growth[0])} {_number(growth[1])})")
    for part in parts:
        if part.line is not None:
            line = {"d": part.d, "fill": "none", "stroke": part.colour, "stroke-width": _number(part.line)}
            if part.dash is not None:
                line["stroke-dasharray"] = _number(part.dash)
            ET.SubElement(group, "path", line)
            continue
        _add_surface(group, part.d, part.colour, part.finish)


def _add_surface(parent: ET.Element, d: str, colour: str, finish: Finish, *, transform: str | None = None) -> None:
    at = {} if transform is None else {"transform": transform}
    edge = _EDGE if transform is None else _EDGE / _GRID
    outline = {} if finish == "shadow" else {"stroke": shade(colour, -0.35), "stroke-width": _number(edge)}
    ET.SubElement(parent, "path", {"d": d, "fill": colour, **outline, **at})
    if finish == "glitter":
        flecks = "flecks" if transform is None else "flakes"
        ET.SubElement(parent, "path", {"d": d, "fill": f"paint:{flecks}:{colour}", **at})
    if finish == "glossy":
        ET.SubElement(parent, "path", {"d": d, "fill": f"paint:gloss:{colour}", **at})


def _add_panel(parent: ET.Element, panel: Panel) -> None:
    scaled = f"scale({_GRID:g})"
    _add_surface(parent, _path(panel.outline), panel.colour, panel.finish, transform=scaled)
    if panel.holes is not None and (d := _path(panel.holes)):
        hole = shade(panel.colour, -0.6)
        ET.SubElement(parent, "path", {"d": d, "fill": hole, "fill-opacity": "0.75", "transform": scaled})


def _add_mark(parent: ET.Element, mark: Mark) -> None:
    d = _path(mark.film)
    if not d:
        return
    group = ET.SubElement(parent, "g", {"transform": f"scale({_GRID:g})", "data-effect": mark.effect})
    if mark.effect == "glow":
        for wide, opacity in _HALO:
            halo = {"fill": "none", "stroke": mark.colour, "stroke-width": _number(wide / _GRID)}
            ET.SubElement(group, "path", {"d": d, **halo, "stroke-opacity": f"{opacity:g}"})
    edge = {"stroke": shade(mark.colour, -0.45), "stroke-width": _number(_EDGE / _GRID), "stroke-opacity": "0.55"}
    paint = {"metallic": "metal", "reflective": "retro"}.get(mark.effect)
    fill = mark.colour if paint is None else f"paint:{paint}:{mark.colour}"
    ET.SubElement(group, "path", {"d": d, "fill": fill, "fill-rule": "evenodd", **edge})
    over = {"flake": "flakes", "reflective": "beads"}.get(mark.effect)
    if over is not None:
        ET.SubElement(group, "path", {"d": d, "fill": f"paint:{over}:{mark.colour}", "fill-rule": "evenodd"})


def _stops(kind: str, name: str, ends: dict[str, str], stops: Sequence[tuple[float, str, float]]) -> ET.Element:
    gradient = ET.Element(kind, {"id": name, **ends})
    for offset, colour, opacity in stops:
        stop = {"offset": f"{offset:g}", "stop-color": colour}
        ET.SubElement(gradient, "stop", stop if opacity >= 1.0 else {**stop, "stop-opacity": f"{opacity:g}"})
    return gradient


def _metal(name: str, colour: str) -> ET.Element:
    """Return bands of light over a mirror, as foil shows the room around it."""
    bands = ((0.0, 0.4), (0.3, -0.05), (0.46, -0.22), (0.54, 0.55), (0.7, 0.1), (1.0, -0.25))
    ends = {"x1": "0", "y1": "0", "x2": "0.35", "y2": "1"}
    return _stops("linearGradient", name, ends, [(at, shade(colour, by), 1.0) for at, by in bands])


def _retro(name: str, colour: str) -> ET.Element:
    """Return light that comes back from where it came, brightest in the middle of the beam."""
    light = ((0.0, 0.85), (0.4, 0.45), (1.0, -0.18))
    ends = {"cx": "0.5", "cy": "0.45", "r": "0.62"}
    return _stops("radialGradient", name, ends, [(at, shade(colour, by), 1.0) for at, by in light])


def _gloss(name: str, _colour: str) -> ET.Element:
    sheen = ((0.0, "#ffffff", 0.0), (0.16, "#ffffff", 0.5), (0.3, "#ffffff", 0.04), (0.75, "#000000", 0.0))
    ends = {"x1": "0", "y1": "0", "x2": "0.12", "y2": "1"}
    return _stops("linearGradient", name, ends, [*sheen, (1.0, "#000000", 0.25)])


def _pattern(name: str, side: float, scale: float) -> ET.Element:
    size = _number(side / scale)
    return ET.Element("pattern", {"id": name, "patternUnits": "userSpaceOnUse", "width": size, "height": size})


def _beads(name: str, _colour: str) -> ET.Element:
    pattern, half = _pattern(name, _BEAD_TILE, _GRID), _BEAD_TILE / _GRID / 2.0
    for at in (half / 2.0, half * 1.5):
        dot = {
            "cx": _number(at),
            "cy": _number(at),
            "r": _number(half * 0.36),
            "fill": "#ffffff",
            "fill-opacity": "0.6",
        }
        ET.SubElement(pattern, "circle", dot)
    return pattern


def _flakes(name: str, colour: str) -> ET.Element:
    return _fleck_pattern(name, colour, _GRID, 1.0)


def _flecks(name: str, colour: str) -> ET.Element:
    return _fleck_pattern(name, colour, 1.0, 0.8)


def _fleck_pattern(name: str, colour: str, scale: float, opacity: float) -> ET.Element:
    pattern = _pattern(name, _FLECK_TILE, scale)
    for tone, points in _scattered(scale):
        fleck = {"d": points, "fill": shade(colour, tone), "fill-opacity": f"{opacity:g}"}
        ET.SubElement(pattern, "path", fleck)
    return pattern


@lru_cache(maxsize=4)
def _scattered(scale: float) -> tuple[tuple[float, str], ...]:
    """Return flecks of a tile, light and dark, always the same: their tone, and path data."""
    random = np.random.default_rng(7)
    flecks: dict[float, list[str]] = {}
    for number in range(_FLECKS):
        tone = (0.8, 0.55, -0.35, 0.3)[number % 4]
        radius, turn = random.uniform(0.28, 0.62), random.uniform(0.0, math.tau)
        middle = random.uniform(radius, _FLECK_TILE - radius, 2)
        turns = turn + np.arange(5) * math.tau / 5.0
        corners = (middle + radius * np.column_stack((np.cos(turns), np.sin(turns)))) / scale
        decimals = 2 if scale == 1.0 else 0
        flecks.setdefault(tone, []).append(
            "M" + "L".join(f"{x:.{decimals}f} {y:.{decimals}f}" for x, y in corners) + "Z"
        )
    return tuple((tone, "".join(paths)) for tone, paths in flecks.items())


_PAINTS: Final = {
    "metal": _metal,
    "retro": _retro,
    "gloss": _gloss,
    "beads": _beads,
    "flakes": _flakes,
    "flecks": _flecks,
}


def placed(region: BaseGeometry, matrix: Matrix) -> BaseGeometry:
    """Return a region under an SVG matrix, from a drawing with y upwards to a sheet with y downwards [mm]."""
    a, b, c, d, e, f = matrix
    return shapely.transform(
        region, lambda at: np.column_stack((a * at[:, 0] - c * at[:, 1] + e, b * at[:, 0] - d * at[:, 1] + f))
    )


def alone(outline: BaseGeometry) -> tuple[float, float, float, float]:
    """Return the sheet of a panel that is shown alone: its left and top, width and height [mm]."""
    left, top, right, bottom = outline.bounds
    return left - _MARGIN, top - _MARGIN, right - left + 2.0 * _MARGIN, bottom - top + 2.0 * _MARGIN


def _path(region: BaseGeometry) -> str:
    """Return path data of a region in steps of the grid, each contour from its first point by differences."""
    return "".join(_contours(shapely.simplify(region, _COARSENESS)))


def _contours(region: BaseGeometry) -> Iterator[str]:
    for points in contours(region):
        steps = np.rint(points / _GRID).astype(int)
        moves = np.diff(steps, axis=0)
        moves = moves[np.any(moves != 0, axis=1)]
        if len(moves) > 1:
            numbers = "".join(f"{'' if x < 0 else ' '}{x}{'' if y < 0 else ' '}{y}" for x, y in moves.tolist())
            yield f"M{steps[0, 0]} {steps[0, 1]}l{numbers.strip()}z"


def _number(value: float) -> str:
    """Return a number to a thousandth, as short as it can be written."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
