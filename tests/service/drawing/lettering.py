"""Boxes of the words of a scene, by the metrics of the faces that it may be set in."""

from __future__ import annotations

import io
from functools import lru_cache
from importlib import resources
from itertools import combinations

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from featherline_service.drawing.scene import Scene, Words

FACES = {False: ("Helvetica", "Lettering"), True: ("Helvetica-Bold", "Lettering-Bold")}
"""Helvetica, whose widths Arial shares, stands for an SVG's face; Roboto is the PDF's."""


@lru_cache(maxsize=1)
def register() -> None:
    """Make Roboto known under names of the tests' own."""
    files = resources.files("font_roboto").joinpath("files")
    for name, file in (("Lettering", "Roboto-Regular.ttf"), ("Lettering-Bold", "Roboto-Bold.ttf")):
        pdfmetrics.registerFont(TTFont(name, io.BytesIO(files.joinpath(file).read_bytes())))


def width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of a line of words in the wider of the two faces."""
    register()
    return max(pdfmetrics.stringWidth(text, face, size) for face in FACES[bold])


def box(words: Words) -> tuple[float, float, float, float]:
    """Return left, top, right and bottom of words that are not turned."""
    assert words.turn == 0.0
    wide = width(words.text, words.size, bold=words.bold)
    left = words.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[words.anchor] * wide
    return left, words.y - 0.718 * words.size, left + wide, words.y + 0.21 * words.size


def collisions(scene: Scene) -> list[tuple[str, str]]:
    """Return the pairs of words that overlap."""
    boxes = [(item.text, box(item)) for item in scene.items if isinstance(item, Words) and item.text]
    return [
        (one, other)
        for (one, a), (other, b) in combinations(boxes, 2)
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
    ]


def beyond(scene: Scene) -> list[str]:
    """Return the words that leave the sheet."""
    return [
        item.text
        for item in scene.items
        if isinstance(item, Words)
        for left, top, right, bottom in [box(item)]
        if left < 0.0 or top < 0.0 or right > scene.width or bottom > scene.height
    ]
