"""The bench card as a PDF of one page: the same words and drawings as the page of HTML, byte for byte the same again.

The words are set in Roboto (Apache-2.0), which comes as a package; a character that it lacks is set as its code point.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from itertools import zip_longest
from typing import Any, Final, NamedTuple
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_CENTER
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject
from reportlab.platypus import Flowable, KeepInFrame, Paragraph, Spacer, Table

from featherline_service.drawing.cards import WIDTH_MM, Card, Steps, Trial, abreast, drawn, is_dense
from featherline_service.drawing.printable import printable
from featherline_service.drawing.scene import BLACK, GREY, PALE, WHITE, Points, Scene, Shape, Words

_PLAIN: Final = "Roboto"
_BOLD: Final = "Roboto-Bold"
_MARGIN_MM: Final = 10.0
_LONGEST_WORDS: Final = 1000
_FIRST_COLUMNS_MM: Final = (40.0, 27.0, 27.0, 31.0, 38.0, 27.0)
_SHORT: Final = 12
_GAP_MM: Final = 4.0
_LINE: Final = 20
"""Letters that a paragraph's unfinished last line counts as, when columns are made even."""
_RUNG_COLUMNS_MM: Final = (7.0, 38.0, 42.0, 33.0, 34.0, 36.0)
_BLACK: Final = HexColor(BLACK)
_GREY: Final = HexColor(GREY)
_PALE: Final = HexColor(PALE)
_SHADE: Final = HexColor("#f0f1f2")


_Style = tuple[str, tuple[int, int], tuple[int, int], *tuple[Any, ...]]
"""A command of a table's style: what, from which cell to which, and how."""


class _Styles(NamedTuple):
    """How words are set on a card."""

    body: ParagraphStyle
    small: ParagraphStyle
    fine: ParagraphStyle
    heading: ParagraphStyle
    value: ParagraphStyle
    long_value: ParagraphStyle
    title: ParagraphStyle
    verdict: ParagraphStyle


def write(card: Card) -> bytes:
    """Return the PDF: one page of A4 or Letter. What is too long for the page is drawn smaller as a whole.

    References:
        ISO 32000-1:2008, Portable Document Format 1.7.
    """
    width, height = LETTER if card.letter else A4
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width, height), invariant=1, pageCompression=1, lang="en")
    canvas.setTitle(_shown(f"Bench card: {card.subject}"))
    canvas.setCreator("featherline")
    styles = _styles(dense=is_dense(card))
    left = 0.5 * (width - WIDTH_MM * mm)
    foot = _foot(card, styles)
    _, foot_height = foot.wrap(WIDTH_MM * mm, height)
    room = height - 2.0 * _MARGIN_MM * mm - foot_height
    body = KeepInFrame(WIDTH_MM * mm, room, _body(card, styles), mode="shrink")
    _, used = body.wrapOn(canvas, WIDTH_MM * mm, room)
    body.drawOn(canvas, left, height - _MARGIN_MM * mm - used)
    foot.drawOn(canvas, left, _MARGIN_MM * mm)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


@lru_cache(maxsize=1)
def _known_characters() -> frozenset[int]:
    """Return the code points that our face has, having made it known to the PDF writer."""
    files = resources.files("font_roboto").joinpath("files")
    faces = [
        TTFont(name, io.BytesIO(files.joinpath(file).read_bytes()))
        for name, file in ((_PLAIN, "Roboto-Regular.ttf"), (_BOLD, "Roboto-Bold.ttf"))
    ]
    for face in faces:
        pdfmetrics.registerFont(face)
    pdfmetrics.registerFontFamily(_PLAIN, normal=_PLAIN, bold=_BOLD, italic=_PLAIN, boldItalic=_BOLD)
    return frozenset.intersection(*(frozenset(face.face.charToGlyph) for face in faces))


def _shown(text: str) -> str:
    """Return words fit to print in our face; a character that it lacks as its code point."""
    known = _known_characters()
    return "".join(each if ord(each) in known else f"[U+{ord(each):04X}]" for each in printable(text, _LONGEST_WORDS))


def _styles(*, dense: bool) -> _Styles:
    """Return the styles, smaller where a card has much to say."""
    size = 7.0 if dense else 7.8
    plain = ParagraphStyle("body", fontName=_PLAIN, fontSize=size, leading=1.22 * size, textColor=_BLACK)
    bold = ParagraphStyle("bold", plain, fontName=_BOLD)
    fine = 5.8 if dense else 6.3
    value = 11.0 if dense else 12.5
    return _Styles(
        body=plain,
        small=ParagraphStyle("small", plain, fontSize=6.3, leading=7.6, textColor=_GREY),
        fine=ParagraphStyle("fine", plain, fontSize=fine, leading=1.2 * fine),
        heading=ParagraphStyle("heading", bold, fontSize=size + 0.7, leading=10.0, spaceBefore=5.0, spaceAfter=1.5),
        value=ParagraphStyle("value", bold, fontSize=value, leading=1.15 * value),
        long_value=ParagraphStyle("long value", bold, fontSize=7.6, leading=9.0),
        title=ParagraphStyle("title", bold, fontSize=15.0, leading=18.0),
        verdict=ParagraphStyle("verdict", bold, fontSize=13.0, leading=16.0, alignment=TA_CENTER),
    )


def _words(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(_shown(text)), style)


def _listed(mark: str, text: str, style: ParagraphStyle) -> Paragraph:
    """Return words that hang behind a mark: a bullet, or a number of one or two digits."""
    indent = (1.2 if len(mark) == 1 else 2.0) * style.fontSize
    hanging = ParagraphStyle(
        "listed", style, leftIndent=indent, bulletFontName=_PLAIN, bulletFontSize=style.fontSize, spaceAfter=0.9
    )
    return Paragraph(escape(_shown(text)), hanging, bulletText=mark)


def _body(card: Card, styles: _Styles) -> list[Flowable]:
    found: list[Flowable] = [_head(card, styles)]
    if card.reasons:
        heading = _words("Remarks" if card.verdict == "ready" else "Why", styles.heading)
        found += [heading, *(_listed("\N{BULLET}", reason, styles.body) for reason in card.reasons)]
    if card.pressings:
        found += [Spacer(0.0, 2.0 * mm), _pressings(card, styles)]
    found += [Spacer(0.0, 2.0 * mm), _drawings(card, styles)]
    for steps in card.steps:
        found += [_words(steps.heading, styles.heading), _numbered(steps, styles, 3 if is_dense(card) else 2)]
    for trial in card.trials:
        found += _trial(trial, styles)
    if card.cautions:
        cautions = [_listed("\N{BULLET}", caution, styles.fine) for caution in card.cautions]
        found += [_words("Cautions", styles.heading), _in_columns(cautions, card.cautions, 3)]
    return found


def _table(rows: Sequence[list[Any]], widths_mm: tuple[float, ...], *style: _Style) -> Table:
    padding: list[_Style] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0.0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2.0 * mm),
        ("TOPPADDING", (0, 0), (-1, -1), 0.0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.0),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]
    return Table(rows, colWidths=[width * mm for width in widths_mm], style=[*padding, *style], hAlign="LEFT")


def _head(card: Card, styles: _Styles) -> Flowable:
    grey = ParagraphStyle("label", styles.body, textColor=_GREY)
    facts = _table([[_words(label, grey), _words(value, styles.body)] for label, value in card.facts], (20.0, 112.0))
    title = [_words(f"Bench card of {card.shop}", styles.small), _words(card.subject, styles.title), facts]
    white = card.verdict == "decline"
    verdict = ParagraphStyle("verdict", styles.verdict, textColor=HexColor(WHITE) if white else _BLACK)
    mark = Table(
        [[_words(card.verdict_words, verdict)]],
        colWidths=[46.0 * mm],
        hAlign="RIGHT",
        style=[
            ("BOX", (0, 0), (-1, -1), 1.4, _BLACK, None, None, None, *((2, 1.2) if card.verdict == "trial" else ())),
            ("BACKGROUND", (0, 0), (-1, -1), _BLACK if white else HexColor(WHITE)),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 5.0),
        ],
    )
    rule = ("LINEBELOW", (0, 0), (-1, -1), 1.4, _BLACK)
    return _table(
        [[title, mark]],
        (140.0, 50.0),
        rule,
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.0 * mm),
        ("RIGHTPADDING", (1, 0), (1, 0), 0.8 * mm),
        ("ALIGN", (1, 0), (1, 0), "RIGHT"),
    )


def _pressings(card: Card, styles: _Styles) -> Flowable:
    rows = []
    for pressing in card.pressings:
        row: list[object] = [[_words(pressing.heading, styles.long_value), _words(pressing.where, styles.small)]]
        for tile in pressing.tiles:
            value = styles.value if len(tile.value) <= _SHORT else styles.long_value
            row.append([_words(tile.label, styles.small), _words(tile.value, value), _words(tile.also, styles.small)])
        rows.append([*row, *[""] * (len(_FIRST_COLUMNS_MM) - len(row))])
    return _table(
        rows,
        _FIRST_COLUMNS_MM,
        ("BOX", (0, 0), (-1, -1), 0.8, _BLACK),
        ("LINEBELOW", (0, 0), (-1, -1), 0.8, _BLACK),
        ("LINEAFTER", (0, 0), (-2, -1), 0.5, _BLACK),
        ("BACKGROUND", (0, 0), (0, -1), _SHADE),
        ("LEFTPADDING", (0, 0), (-1, -1), 1.8 * mm),
        ("TOPPADDING", (0, 0), (-1, -1), 0.8 * mm),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.2 * mm),
    )


def _drawings(card: Card, styles: _Styles) -> Flowable:
    columns = abreast(card)
    width = WIDTH_MM / columns
    cells = [[_Drawing(scene), _words(words, styles.small)] for scene, words in drawn(card)]
    rows = [list(row) for row in zip_longest(*[iter(cells)] * columns, fillvalue="")]
    return _table(rows, (width,) * columns, ("ALIGN", (0, 0), (-1, -1), "CENTER"))


def _numbered(steps: Steps, styles: _Styles, columns: int) -> Flowable:
    cells = [_listed(f"{number}.", sentence, styles.body) for number, sentence in enumerate(steps.sentences, 1)]
    return _in_columns(cells, steps.sentences, columns)


def _in_columns(cells: list[Paragraph], sentences: tuple[str, ...], columns: int) -> Flowable:
    """Return paragraphs in columns of about one length."""
    lengths = [len(sentence) + _LINE for sentence in sentences]
    whole, gone = sum(lengths), 0
    split: list[list[Paragraph]] = [[] for _ in range(columns)]
    for cell, length in zip(cells, lengths, strict=True):
        split[min(columns - 1, int(columns * (gone + 0.5 * length) / whole))].append(cell)
        gone += length
    return _table([list(split)], (WIDTH_MM / columns,) * columns, ("RIGHTPADDING", (0, 0), (-1, -1), 4.0 * mm))


def _trial(trial: Trial, styles: _Styles) -> list[Flowable]:
    heads = ("rung", "setting", "lay", "heat", "if it holds, the upper is", "seen (tick one)")
    rows: list[list[object]] = [[_words(head, styles.small) for head in heads]]
    for number, rung in enumerate(trial.rungs, 1):
        setting = Paragraph(f"<b>{escape(_shown(rung.setting))}</b>", styles.body)
        cells = [_words(text, styles.body) for text in (rung.lay, rung.heat, rung.holds)]
        rows.append([_words(str(number), styles.body), setting, *cells, _Ticks(("nothing", "holds", "harm"))])
    table = _table(
        rows,
        _RUNG_COLUMNS_MM,
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, _PALE),
        ("TOPPADDING", (0, 1), (-1, -1), 0.6 * mm),
        ("BOTTOMPADDING", (0, 1), (-1, -1), 0.8 * mm),
    )
    sentences = (*trial.looks, *trial.stop)
    looks = _in_columns([_listed("\N{BULLET}", sentence, styles.fine) for sentence in sentences], sentences, 3)
    where = _words(trial.where, styles.body)
    return [_words(trial.heading, styles.heading), where, Spacer(0.0, 1.0 * mm), table, Spacer(0.0, 1.0 * mm), looks]


def _foot(card: Card, styles: _Styles) -> Flowable:
    count = len(card.by_hand)
    blanks = _table(
        [[cell for label in card.by_hand for cell in (_words(label, styles.small), "")]],
        (WIDTH_MM / count - _GAP_MM, _GAP_MM) * count,
        *(("LINEABOVE", (2 * at, 0), (2 * at, 0), 0.6, _BLACK) for at in range(count)),
    )
    footing = f"{card.footing}. Local rules and the makers' sheets come first."
    return _table(
        [[blanks], [_words(footing, styles.small)]],
        (WIDTH_MM,),
        ("TOPPADDING", (0, 0), (0, 0), 9.0 * mm),
        ("TOPPADDING", (0, 1), (0, 1), 1.0 * mm),
        ("RIGHTPADDING", (0, 0), (-1, -1), 0.0),
    )


class _Ticks(Flowable):
    """Boxes to be ticked by hand, in a row."""

    def __init__(self, labels: tuple[str, ...]) -> None:
        super().__init__()
        self._labels = labels

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return how much room it takes."""
        del available_height
        return available_width, 3.0 * mm

    def draw(self) -> None:
        """Draw on the canvas that the page has set."""
        canvas: Canvas = self.canv
        canvas.setLineWidth(0.6)
        canvas.setStrokeColor(_BLACK)
        canvas.setFillColor(_BLACK)
        canvas.setFont(_PLAIN, 6.3)
        x = 0.0
        for label in self._labels:
            canvas.rect(x, 0.2 * mm, 2.4 * mm, 2.4 * mm)
            canvas.drawString(x + 3.2 * mm, 0.7 * mm, label)
            x += 5.4 * mm + pdfmetrics.stringWidth(label, _PLAIN, 6.3)


class _Drawing(Flowable):
    """A scene, at its size, in the middle of its column."""

    def __init__(self, scene: Scene) -> None:
        super().__init__()
        self._scene = scene
        self.width, self.height = scene.width * mm, scene.height * mm

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return how much room it takes."""
        del available_width, available_height
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the canvas that the page has set."""
        for item in self._scene.items:
            if isinstance(item, Words):
                _set_words(self.canv, item, self._scene.height)
            else:
                _set_shape(self.canv, item, self._scene.height)


def _set_words(canvas: Canvas, words: Words, height: float) -> None:
    text, face = _shown(words.text), _BOLD if words.bold else _PLAIN
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
