"""Scenes as PDF, alone or drawn into a page.

Words are set in Roboto (Apache-2.0), which comes as a package; a character that it lacks is set as its code point.
"""

from __future__ import annotations

import io
from functools import lru_cache
from importlib import resources
from typing import Final

from reportlab.lib.colors import HexColor
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from featherline_service.drawing.printable import printable
from featherline_service.drawing.scene import Points, Scene, Shape, Words

PLAIN: Final = "Roboto"
BOLD: Final = "Roboto-Bold"
_LONGEST_WORDS: Final = 1000


def write(scene: Scene) -> bytes:
    """Return a scene as a page of its size, to be printed as it is; byte for byte the same for the same scene.

    References:
        ISO 32000-1:2008, Portable Document Format 1.7; 12.2, viewer preferences: PrintScaling.
    """
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(scene.width * mm, scene.height * mm), invariant=1, pageCompression=1, lang="en")
    canvas.setTitle(shown(scene.title))
    canvas.setCreator("featherline")
    canvas.setViewerPreference("PrintScaling", "None")
    draw(scene, canvas)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def draw(scene: Scene, canvas: Canvas) -> None:
    """Draw a scene at the origin of a canvas."""
    for item in scene.items:
        if isinstance(item, Words):
            _set_words(canvas, item, scene.height)
        else:
            _set_shape(canvas, item, scene.height)


@lru_cache(maxsize=1)
def _known_characters() -> frozenset[int]:
    """Return the code points that our face has, having registered it with the PDF writer."""
    files = resources.files("font_roboto").joinpath("files")
    faces = [
        TTFont(name, io.BytesIO(files.joinpath(file).read_bytes()))
        for name, file in ((PLAIN, "Roboto-Regular.ttf"), (BOLD, "Roboto-Bold.ttf"))
    ]
    for face in faces:
        pdfmetrics.registerFont(face)
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset.intersection(*(frozenset(face.face.charToGlyph) for face in faces))


def shown(text: str) -> str:
    """Return words fit to print in our face; a character that it lacks as its code point."""
    known = _known_characters()
    return "".join(
        character if ord(character) in known else f"[U+{ord(character):04X}]"
        for character in printable(text, _LONGEST_WORDS)
    )


def _set_words(canvas: Canvas, words: Words, height: float) -> None:
    text, face = shown(words.text), BOLD if words.bold else PLAIN
    size = words.size * mm
    shift = {"start": 0.0, "middle": -0.5, "end": -1.0}[words.anchor] * pdfmetrics.stringWidth(text, face, size)
    canvas.saveState()
    canvas.translate(words.x * mm, (height - words.y) * mm)
    canvas.rotate(words.turn)
    canvas.setFillColor(HexColor(words.colour))
    canvas.setFont(face, size)
    canvas.drawString(shift, 0.0, text)
    canvas.restoreState()


def _set_shape(canvas: Canvas, shape: Shape, height: float) -> None:
    if not shape.contours:
        return
    ink = shape.ink
    canvas.saveState()
    path = canvas.beginPath()
    for points in shape.contours:
        _trace(path, points, height, closed=shape.closed)
    if ink.fill is not None:
        canvas.setFillColor(HexColor(ink.fill))
    if ink.stroke is not None:
        canvas.setStrokeColor(HexColor(ink.stroke))
        canvas.setLineWidth(ink.width * mm)
        canvas.setLineJoin(1)
        canvas.setDash([gap * mm for gap in ink.dash])
    canvas.drawPath(path, stroke=int(ink.stroke is not None), fill=int(ink.fill is not None))  # even-odd
    canvas.restoreState()


def _trace(path: PDFPathObject, points: Points, height: float, *, closed: bool) -> None:
    (x, y), *rest = points.tolist()
    path.moveTo(x * mm, (height - y) * mm)
    for x, y in rest:
        path.lineTo(x * mm, (height - y) * mm)
    if closed:
        path.close()
