"""Cut sheets: outlines as they are cut, at true size, those of each film and colour in a group of their own.

There is nothing in them but what is cut: no words, no frame, no dimensions. A program that drives a cutter takes the
file as it is, and a group of it by its name.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple
from xml.etree import ElementTree as ET

import numpy as np

from featherline_service.drawing.printable import printable
from featherline_service.drawing.scene import Points

_NAMESPACE: Final = "http://www.w3.org/2000/svg"
_APART_MM: Final = 20.0
_LINE_MM: Final = 0.1
_LONGEST: Final = 1000


class Piece(NamedTuple):
    """What is cut as one: its rings from the top left of its box [mm], y downwards, and what it is for."""

    rings: Sequence[Points]
    width: float
    height: float
    placement: int
    foot: str
    part: str
    mirrored: bool


class Sheet(NamedTuple):
    """The pieces of one film and colour; `border` is left around each [mm], and `widest` is the width of the roll."""

    film: str
    colour: str
    name: str
    fill: str
    border: float
    widest: float
    pieces: Sequence[Piece]


def write(title: str, sheets: Sequence[Sheet]) -> str:
    """Return the sheets as an SVG document, one below the other.

    The group of a sheet has its film and colour, and in `data-box` left, top, width and height of what it fills.
    """
    root = ET.Element("svg", {"xmlns": _NAMESPACE})
    ET.SubElement(root, "title").text = printable(title, _LONGEST)
    top = width = 0.0
    for sheet in sheets:
        places, (wide, high) = _laid(sheet)
        group = ET.SubElement(
            root,
            "g",
            {
                "id": f"{sheet.film}-{sheet.colour}",
                "data-film": sheet.film,
                "data-colour": sheet.colour,
                "data-box": f"0 {top:.3f} {wide:.3f} {high:.3f}",
                "fill": sheet.fill,
                "fill-rule": "evenodd",
                "stroke": "#000000",
                "stroke-width": f"{_LINE_MM:g}",
            },
        )
        ET.SubElement(group, "title").text = printable(sheet.name, _LONGEST)
        for piece, (x, y) in zip(sheet.pieces, places, strict=True):
            _draw(group, piece, np.array([x, top + y]))
        width, top = max(width, wide), top + high + _APART_MM
    height = max(top - _APART_MM, 1.0)
    width = max(width, 1.0)
    root.attrib |= {"width": f"{width:.3f}mm", "height": f"{height:.3f}mm", "viewBox": f"0 0 {width:.3f} {height:.3f}"}
    return ET.tostring(root, encoding="unicode") + "\n"


def _laid(sheet: Sheet) -> tuple[list[tuple[float, float]], tuple[float, float]]:
    """Return the top left of each piece, in rows no wider than the roll, and the size of all."""
    x = y = row = wide = 0.0
    places = []
    for piece in sheet.pieces:
        across, down = piece.width + 2.0 * sheet.border, piece.height + 2.0 * sheet.border
        if x > 0.0 and x + across > sheet.widest:
            x, y, row = 0.0, y + row, 0.0
        places.append((x + sheet.border, y + sheet.border))
        x, row = x + across, max(row, down)
        wide = max(wide, x)
    return places, (wide, y + row)


def _draw(group: ET.Element, piece: Piece, at: Points) -> None:
    rings = (f"M{'L'.join(f'{x:.3f} {y:.3f}' for x, y in (ring + at).tolist())}Z" for ring in piece.rings)
    ET.SubElement(
        group,
        "path",
        {
            "d": "".join(rings),
            "data-placement": str(piece.placement),
            "data-foot": piece.foot,
            "data-part": piece.part,
            "data-mirrored": "true" if piece.mirrored else "false",
        },
    )
