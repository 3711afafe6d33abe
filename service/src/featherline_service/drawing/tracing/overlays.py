"""What was traced or drawn, over the photo that it was traced from: one picture to be looked at."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from typing import Final, NamedTuple
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from featherline_service.drawing.media import svg
from featherline_service.drawing.scene import GREY, TEXT, Ink, Points, Scene, Shape, Words, arrow_head, line, wrapped

_OUTLINE: Final = Ink(stroke="#c2185b", width=0.35)
_EYELET: Final = Ink(stroke="#1565c0", width=0.35)
_KEPT: Final = Ink(stroke="#e65100", width=0.35, dash=(1.6, 0.8))
_UNREAD: Final = Ink(stroke="#6a1b9a", width=0.5)
_QUALITY: Final = 72
_ROOM_MM: Final = 5.0
_MOST_LINES: Final = 6


class Overlay(NamedTuple):
    """A picture seen from above, and what was traced in it: outline, eyelets, kept areas, ink that was not read [mm].

    `box` is the picture's left, top, right and bottom in the drawing. Without `pixels` there is no photo under it.
    """

    title: str
    sentences: tuple[str, ...]
    pixels: NDArray[np.uint8] | None
    box: tuple[float, float, float, float]
    outline: Points
    eyelets: Sequence[Points]
    kept: Sequence[Points]
    unread: Sequence[tuple[float, float]]


def write(overlay: Overlay) -> str:
    """Return the picture as an SVG document. It holds a small copy of the photo, made anew, and nothing else of it."""
    left, top, right, bottom = overlay.box
    width, height = right - left, bottom - top
    lines = [part for words in overlay.sentences for part in wrapped(words, TEXT, width - 2.0 * _ROOM_MM, _MOST_LINES)]
    words = [
        Words(text, _ROOM_MM, height + 1.45 * TEXT * (number + 1), TEXT, colour=GREY)
        for number, text in enumerate(lines)
    ]
    scene = Scene(
        "tracing",
        overlay.title,
        " ".join(overlay.sentences),
        width,
        height + 1.45 * TEXT * (len(lines) + 1),
        (*_traced(overlay), *_toe(width), *words),
    )
    root = svg.element(scene, namespace="http://www.w3.org/2000/svg")
    if overlay.pixels is not None:
        root.insert(_under_the_shapes(root), _photo(overlay.pixels, width, height))
    return ET.tostring(root, encoding="unicode") + "\n"


def _photo(pixels: NDArray[np.uint8], width: float, height: float) -> ET.Element:
    return ET.Element(
        "image",
        {
            "width": f"{width:.3f}",
            "height": f"{height:.3f}",
            "preserveAspectRatio": "none",
            "href": f"data:image/jpeg;base64,{base64.b64encode(_jpeg(pixels)).decode()}",
        },
    )


def _under_the_shapes(root: ET.Element) -> int:
    """Return the place behind the white of the sheet."""
    return 1 + next(number for number, element in enumerate(root) if element.tag == "rect")


def _traced(overlay: Overlay) -> list[Shape]:
    left, top, _, _ = overlay.box
    shift = np.array([left, top])
    return [
        Shape("outline", (overlay.outline - shift,), _OUTLINE),
        *(Shape("eyelet", (ring - shift,), _EYELET) for ring in overlay.eyelets),
        *(Shape("kept-free", (ring - shift,), _KEPT) for ring in overlay.kept),
        *(
            line("unread", _UNREAD, (x - left - dx, y - top - 3.0), (x - left + dx, y - top + 3.0))
            for x, y in overlay.unread
            for dx in (-3.0, 3.0)
        ),
    ]


def _toe(width: float) -> list[Shape | Words]:
    x, y = width - 2.0, 5.0
    return [
        line("toe", Ink(stroke="#c2185b", width=0.6), (x - 12.0, y), (x - 3.0, y)),
        arrow_head((x, y), (1.0, 0.0), 4.0),
        Words("toe", x - 13.0, y + 1.0, TEXT, "end", colour="#c2185b"),
    ]


def _jpeg(pixels: NDArray[np.uint8]) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=_QUALITY)
    return buffer.getvalue()
