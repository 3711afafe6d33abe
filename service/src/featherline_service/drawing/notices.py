"""Notice: a sheet that says in words why there is nothing to draw."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from featherline_service.drawing.scene import BLACK, GREY, Ink, Scene, Shape, Words, box, fitted, wrapped

_WIDTH: Final = 150.0
_MARGIN: Final = 8.0
_TITLE: Final = 4.4
_TEXT: Final = 3.4
_MOST_LINES: Final = 12


def draw(name: str, title: str, sentences: Sequence[str]) -> Scene:
    """Return a sheet with a title and with sentences under it."""
    width = _WIDTH - 2.0 * _MARGIN
    y = _MARGIN + _TITLE
    items: list[Shape | Words] = [Words(fitted(title, _TITLE, width), _MARGIN, y, _TITLE, bold=True)]
    for sentence in sentences:
        y += 0.8 * _TEXT
        for part in wrapped(sentence, _TEXT, width, _MOST_LINES):
            y += 1.5 * _TEXT
            items.append(Words(part, _MARGIN, y, _TEXT, colour=GREY))
    height = y + _MARGIN
    edge = box("edge", Ink(stroke=BLACK, width=0.3), 2.0, 2.0, _WIDTH - 4.0, height - 4.0)
    return Scene(name, title, " ".join(sentences), _WIDTH, height, (edge, *items))
