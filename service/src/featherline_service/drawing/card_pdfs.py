"""Bench card as a PDF: the same words and drawings as the page of HTML, byte for byte the same for the same card.

A loading has a page, and further pages where it is long; every page says which it is of how many.
"""

from __future__ import annotations

import io
from collections import deque
from collections.abc import Sequence
from itertools import zip_longest
from typing import Any, Final, NamedTuple
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_CENTER
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepInFrame, Paragraph, Spacer, Table

from featherline_service.drawing.cards import (
    SETTING_PT,
    TILE_PADDING_MM,
    TILES_ABREAST,
    WIDTH_MM,
    Card,
    Cut,
    Drawn,
    Pressing,
    Rung,
    Sheet,
    Tile,
    Trial,
    abreast,
    drawn,
    sheets,
    spans,
)
from featherline_service.drawing.media import pdf
from featherline_service.drawing.media.pdf import BOLD, PLAIN, shown
from featherline_service.drawing.scene import BLACK, GREY, WHITE, Scene
from featherline_service.messages.values import Speaker

_MARGIN_MM: Final = 8.0
"""[mm] Above and below; at the sides it is 10 or more."""
_FOOT_MM: Final = 5.0
_COLUMN_GAP_MM: Final = 5.0
_BLANK_GAP_MM: Final = 4.0
_WRITING_MM: Final = 6.0
"""[mm] Room for writing above the blanks."""
_BEFORE_PT: Final = 3.0
"""[pt] Room before the heading of columns."""
_LARGEST_DRAWING_MM: Final = 96.0
_SMALLEST_DRAWING_MM: Final = 27.0
_USUAL_DRAWING_MM: Final = 64.0
"""[mm] Height of drawings on a sheet that needs more than a page anyway."""
_CUT_COLUMNS_MM: Final = (62.0, 56.0, 48.0, 24.0)
_RUNG_NUMBER_MM: Final = 12.0
_DESCENDERS: Final = frozenset("gjpqyçţķļņŗģ,;()[]")
_DESCENT_MM: Final = 1.2
"""[mm] Room under a setting that has letters which reach below the line."""
_BETWEEN_PT: Final = 1.4
"""[pt] Room after each paragraph of a column."""
_AFTER_PT: Final = 4.0
"""[pt] Room after columns."""
_BLACK: Final = HexColor(BLACK)
_GREY: Final = HexColor(GREY)
_SHADE: Final = HexColor("#f0f1f2")

_Style = tuple[str, tuple[int, int], tuple[int, int], *tuple[Any, ...]]
"""A command of a table's style: what, from which cell to which, and how."""


class _Styles(NamedTuple):
    """Styles of the words on a card."""

    body: ParagraphStyle
    small: ParagraphStyle
    caution: ParagraphStyle
    evidence: ParagraphStyle
    heading: ParagraphStyle
    strong: ParagraphStyle
    strong_plain: ParagraphStyle
    setting: ParagraphStyle
    title: ParagraphStyle
    verdict: ParagraphStyle


def write(card: Card) -> bytes:
    """Return the PDF, on A4 or Letter.

    References:
        ISO 32000-1:2008, Portable Document Format 1.7.
    """
    width, height = LETTER if card.letter else A4
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width, height), invariant=1, pageCompression=1, lang=card.tell.texts.language)
    canvas.setTitle(shown(card.tell("card.title", subject=card.subject)))
    canvas.setCreator("featherline")
    styles = _styles()
    room = height - (2.0 * _MARGIN_MM + _FOOT_MM) * mm
    pages = [page for sheet in sheets(card) for page in _pages(card, sheet, styles, room)]
    for number, page in enumerate(pages, 1):
        left, y = 0.5 * (width - WIDTH_MM * mm), height - _MARGIN_MM * mm
        for block in page:
            _, high = block.wrapOn(canvas, WIDTH_MM * mm, room)
            y -= high
            block.drawOn(canvas, left, y)
        foot = _foot(card, styles, card.tell("card.page", page=str(number), pages=str(len(pages))))
        foot.wrapOn(canvas, WIDTH_MM * mm, _FOOT_MM * mm)
        foot.drawOn(canvas, left, _MARGIN_MM * mm)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _styles() -> _Styles:
    plain = ParagraphStyle("body", fontName=PLAIN, fontSize=10.0, leading=11.2, textColor=_BLACK, splitLongWords=1)
    bold = ParagraphStyle("bold", plain, fontName=BOLD)
    return _Styles(
        body=plain,
        small=ParagraphStyle("small", plain, fontSize=9.0, leading=10.8, textColor=_GREY),
        caution=ParagraphStyle("caution", plain, fontSize=9.0, leading=10.0),
        evidence=ParagraphStyle("evidence", plain, fontSize=9.0, leading=9.6),
        heading=ParagraphStyle("heading", bold, fontSize=12.0, leading=15.0),
        strong=ParagraphStyle("strong", bold, fontSize=12.0, leading=14.4),
        strong_plain=ParagraphStyle("large", plain, fontSize=12.0, leading=14.4),
        setting=ParagraphStyle("setting", bold, fontSize=SETTING_PT, leading=1.08 * SETTING_PT),
        title=ParagraphStyle("title", bold, fontSize=18.0, leading=21.0),
        verdict=ParagraphStyle("verdict", bold, fontSize=18.0, leading=22.0, alignment=TA_CENTER),
    )


def _words(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(shown(text)), style)


def _listed(mark: str, text: str, style: ParagraphStyle) -> Paragraph:
    """Return words that hang behind a mark: a bullet, or a number of one or two digits."""
    indent = (1.2 if len(mark) == 1 else 2.0) * style.fontSize
    hanging = ParagraphStyle("listed", style, leftIndent=indent, bulletFontName=PLAIN, bulletFontSize=style.fontSize)
    return Paragraph(escape(shown(text)), hanging, bulletText=mark)


def _pages(card: Card, sheet: Sheet, styles: _Styles, room: float) -> list[list[Flowable]]:
    """Return the blocks of each page of a sheet: one page if it goes with the drawings made smaller."""
    before, after = _before_drawings(card, sheet, styles), _after_drawings(card, sheet, styles)
    needed = sum(block.wrap(WIDTH_MM * mm, room)[1] for block in (*before, *after))
    small = drawn(sheet, _SMALLEST_DRAWING_MM, card.tell)
    drawings_high = sum(block.wrap(WIDTH_MM * mm, room)[1] for block in _drawings(small, sheet, styles, card.tell))
    scenes_high = sum(max(drawing.scene.height for drawing in row) * mm for row in _rows(small, abreast(sheet)))
    left = (room - needed - (drawings_high - scenes_high)) / mm - 1.0
    height = min(left, _LARGEST_DRAWING_MM) if left >= _SMALLEST_DRAWING_MM else _USUAL_DRAWING_MM
    drawings = _drawings(drawn(sheet, height, card.tell), sheet, styles, card.tell)
    running = _running_head(card, sheet, styles)
    return _filled([*before, *drawings, *after], running, room)


def _rows(cells: Sequence[Drawn], columns: int) -> list[Sequence[Drawn]]:
    return [cells[begin : begin + columns] for begin in range(0, len(cells), columns)]


def _filled(blocks: Sequence[Flowable], running: Flowable, room: float) -> list[list[Flowable]]:
    """Return blocks divided into pages; pages after the first begin with a running head."""
    waiting = deque(blocks)
    pages: list[list[Flowable]] = [[]]
    left, begun = room, False
    while waiting:
        block = waiting.popleft()
        _, high = block.wrap(WIDTH_MM * mm, left)
        if high <= left:
            pages[-1].append(block)
            left, begun = left - high, True
            continue
        parts = block.split(WIDTH_MM * mm, left)
        if parts:
            pages[-1].append(parts[0])
            waiting.extendleft(reversed(parts[1:]))
        elif begun:
            waiting.appendleft(block)
            while len(pages[-1]) > 1 and isinstance(pages[-1][-1], (Paragraph, Spacer)):  # no heading ends a page
                waiting.appendleft(pages[-1].pop())
        else:  # a block higher than a page is drawn smaller
            pages[-1].append(KeepInFrame(WIDTH_MM * mm, left, [block], mode="shrink"))
        if waiting:
            pages.append([running])
            left, begun = room - running.wrap(WIDTH_MM * mm, room)[1], False
    return pages


def _before_drawings(card: Card, sheet: Sheet, styles: _Styles) -> list[Flowable]:
    blocks: list[Flowable] = [_head(card, sheet, styles), Spacer(0.0, 2.0 * mm)]
    if card.reasons and sheet.first:
        heading = card.tell("card.why", verdict=card.verdict)
        bullets = [_listed("\N{BULLET}", reason, styles.body) for reason in card.reasons]
        blocks.append(_Columns(_words(heading, styles.heading), bullets, 1))
    for pressing in sheet.pressings:
        blocks += [_pressing(pressing, styles, card.tell), Spacer(0.0, 2.0 * mm)]
    for trial in sheet.trials:
        blocks += _ladder(trial, styles, card.tell)
    if sheet.cuts:
        blocks += [_cuts(sheet.cuts, styles, card.tell), Spacer(0.0, 2.0 * mm)]
    return blocks


def _after_drawings(card: Card, sheet: Sheet, styles: _Styles) -> list[Flowable]:
    blocks: list[Flowable] = []
    for steps in sheet.steps:
        cells = [_listed(f"{number}.", sentence, styles.body) for number, sentence in enumerate(steps.sentences, 1)]
        blocks.append(_Columns(_words(steps.heading, styles.heading), cells, 2))
    for trial in sheet.trials:
        for heading, sentences in trial.rules:
            bullets = [_listed("\N{BULLET}", sentence, styles.body) for sentence in sentences]
            blocks.append(_Columns(_words(card.tell(heading), styles.heading), bullets, 2))
    if card.cautions and sheet.first:
        cautions = [_listed("\N{BULLET}", caution, styles.caution) for caution in card.cautions]
        blocks.append(_Columns(_words(card.tell("card.cautions"), styles.heading), cautions, 3))
    elif card.cautions:
        blocks.append(_words(card.tell("card.cautions.before"), styles.caution))
    if card.by_hand and sheet.last:
        blocks += [Spacer(0.0, _WRITING_MM * mm), _blanks(card.by_hand, styles)]
    return blocks


def _table(rows: Sequence[list[Any]], widths_mm: tuple[float, ...], *style: _Style) -> Table:
    padding: list[_Style] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0.0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2.0 * mm),
        ("TOPPADDING", (0, 0), (-1, -1), 0.0),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.0),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]
    return Table(rows, colWidths=[width * mm for width in widths_mm], style=[*padding, *style], hAlign="LEFT")


class _Block(Table):
    """A table that is never divided between pages."""

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        """Return no parts."""
        del available_width, available_height
        return []


def _head(card: Card, sheet: Sheet, styles: _Styles) -> Flowable:
    grey = ParagraphStyle("label", styles.body, textColor=_GREY)
    facts = _table([[_words(label, grey), _words(value, styles.body)] for label, value in sheet.facts], (26.0, 164.0))
    title: list[Flowable] = [
        _words(card.tell("card.head", shop=card.shop), styles.small),
        _words(card.subject, styles.title),
    ]
    if card.reference or sheet.heading:
        named = (_order(card), sheet.heading)
        title.append(_words(". ".join(part for part in named if part), styles.strong))
    white = card.verdict == "decline"
    verdict = ParagraphStyle("verdict", styles.verdict, textColor=HexColor(WHITE) if white else _BLACK)
    mark = Table(
        [[_words(card.verdict_words, verdict)]],
        colWidths=[54.0 * mm],
        hAlign="RIGHT",
        style=[
            ("BOX", (0, 0), (-1, -1), 1.4, _BLACK, None, None, None, *((2, 1.2) if card.verdict == "trial" else ())),
            ("BACKGROUND", (0, 0), (-1, -1), _BLACK if white else HexColor(WHITE)),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 7.0),
        ],
    )
    return _table(
        [[title, mark], [facts, ""]],
        (132.0, 58.0),
        ("SPAN", (0, 1), (1, 1)),
        ("TOPPADDING", (0, 1), (-1, 1), 0.6 * mm),
        ("LINEBELOW", (0, 1), (-1, 1), 1.4, _BLACK),
        ("BOTTOMPADDING", (0, 1), (-1, 1), 1.4 * mm),
        ("RIGHTPADDING", (1, 0), (1, 0), 0.8 * mm),
        ("ALIGN", (1, 0), (1, 0), "RIGHT"),
    )


def _order(card: Card) -> str:
    return card.tell("card.order", reference=card.reference) if card.reference else ""


def _running_head(card: Card, sheet: Sheet, styles: _Styles) -> Flowable:
    """Return the head of a sheet's further pages."""
    parts = [card.subject, _order(card), sheet.heading, card.verdict_words]
    return _table(
        [[_words(", ".join(part for part in parts if part), styles.strong)]],
        (WIDTH_MM,),
        ("LINEBELOW", (0, 0), (-1, -1), 1.4, _BLACK),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.6 * mm),
    )


def _tile(tile: Tile, styles: _Styles) -> list[Flowable]:
    lines = ((tile.label, styles.small), (tile.value, styles.setting), (tile.also, styles.body))
    words: list[Flowable] = [_words(text, style) for text, style in lines if text]
    if tile.also and not _DESCENDERS.isdisjoint(tile.value):
        words.insert(-1, Spacer(0.0, _DESCENT_MM * mm))
    return words


def _rows_of_tiles(tiles: tuple[Tile, ...], styles: _Styles) -> tuple[list[list[Any]], list[_Style]]:
    """Return tiles in rows, and the cells that span columns."""
    rows: list[list[Any]] = []
    joined: list[_Style] = []
    used = TILES_ABREAST
    for tile, span in zip(tiles, spans(tiles), strict=True):
        if used >= TILES_ABREAST:
            rows.append([""] * TILES_ABREAST)
            used = 0
        rows[-1][used] = _tile(tile, styles)
        joined.append(("SPAN", (used, len(rows) - 1), (used + span - 1, len(rows) - 1)))
        used += span
    return rows, joined


def _pressing(pressing: Pressing, styles: _Styles, tell: Speaker) -> Flowable:
    rows, joined = _rows_of_tiles(tuple(tile for tile in pressing.tiles if tile.large), styles)
    if below := _below(pressing, styles, tell):
        joined.append(("SPAN", (0, len(rows)), (-1, len(rows))))
        rows.append([below, "", ""])
    label = tell("card.label", label=pressing.heading)
    heading = f"<b>{escape(shown(label))}</b> {escape(shown(pressing.where))}"
    head = [Paragraph(heading, styles.strong_plain), *[""] * (TILES_ABREAST - 1)]
    return _Block(
        [head, *rows],
        colWidths=[WIDTH_MM / TILES_ABREAST * mm] * TILES_ABREAST,
        style=[
            ("SPAN", (0, 0), (-1, 0)),
            *((name, (a, b + 1), (c, d + 1)) for name, (a, b), (c, d), *_ in joined),
            ("BACKGROUND", (0, 0), (-1, 0), _SHADE),
            *_BORDERS,
            *(_CLOSE if pressing.evidence else ()),
        ],
    )


def _below(pressing: Pressing, styles: _Styles, tell: Speaker) -> list[Flowable]:
    """Return what stands under the large settings: those by hand, and beside them on what evidence all stand."""
    small = [tile for tile in pressing.tiles if not tile.large]
    words = "; ".join(
        f"{escape(shown(tell('card.label', label=tile.label)))} <b>{escape(shown(tile.value))}</b>"
        + (f", {escape(shown(tile.also))}" if tile.also else "")
        for tile in small
    )
    by_hand = Paragraph(words, styles.strong_plain)
    if not pressing.evidence:
        return [by_hand] if small else []
    evidence = _words(pressing.evidence, styles.evidence)
    if not small:
        return [evidence]
    wide = WIDTH_MM - 2.0 * TILE_PADDING_MM
    by_hand.wrap(0.5 * wide * mm, 0.0)
    first = max(by_hand.getActualLineWidths0()) / mm + 4.0
    return [_table([[by_hand, evidence]], (first, wide - first))]


_BORDERS: Final[tuple[_Style, ...]] = (
    ("BOX", (0, 0), (-1, -1), 1.0, _BLACK),
    ("INNERGRID", (0, 0), (-1, -1), 0.5, _BLACK),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), TILE_PADDING_MM * mm),
    ("RIGHTPADDING", (0, 0), (-1, -1), TILE_PADDING_MM * mm),
    ("TOPPADDING", (0, 0), (-1, -1), 0.4 * mm),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.0 * mm),
)

_CLOSE: Final[tuple[_Style, ...]] = (
    ("TOPPADDING", (0, -1), (-1, -1), 0.2 * mm),
    ("BOTTOMPADDING", (0, -1), (-1, -1), 0.4 * mm),
)
"""Of a last row with two lines of small words, which is to be no higher than it must."""


def _cuts(cuts: tuple[Cut, ...], styles: _Styles, tell: Speaker) -> Flowable:
    heads = ("card.cut", "card.cut.film", "card.cut.source", "card.cut.way")
    rows: list[list[Any]] = [[_words(tell(head), styles.small) for head in heads]]
    for cut in cuts:
        rows.append([_words(cut.pieces, ParagraphStyle("pieces", styles.body, fontName=BOLD))])
        rows[-1] += [_words(text, styles.body) for text in (cut.film, cut.source, cut.way)]
    return _table(
        rows,
        _CUT_COLUMNS_MM,
        ("LINEABOVE", (0, 1), (-1, -1), 0.4, _GREY),
        ("LINEBELOW", (0, -1), (-1, -1), 0.4, _GREY),
        ("TOPPADDING", (0, 1), (-1, -1), 0.6 * mm),
        ("BOTTOMPADDING", (0, 1), (-1, -1), 0.8 * mm),
    )


def _drawings(cells: Sequence[Drawn], sheet: Sheet, styles: _Styles, tell: Speaker) -> list[Flowable]:
    """Return the drawings in rows with their words, and what their hatching means; nothing without drawings."""
    if not cells:
        return []
    columns = abreast(sheet)
    blocks = [[_Drawing(scene), _words(words, styles.small)] for scene, words in cells]
    rows: list[list[Any]] = [list(row) for row in zip_longest(*[iter(blocks)] * columns, fillvalue="")]
    rows.append([_words(tell("card.hatching"), styles.small), *[""] * (columns - 1)])
    centred = ("ALIGN", (0, 0), (-1, -2), "CENTER")
    return [_table(rows, (WIDTH_MM / columns,) * columns, centred, ("SPAN", (0, -1), (-1, -1)))]


def _ladder(trial: Trial, styles: _Styles, tell: Speaker) -> list[Flowable]:
    """Return what comes before a trial, and its rungs, each with its setting as large as a pressing's."""
    blocks: list[Flowable] = [_words(trial.heading, styles.heading), _words(trial.where, styles.body)]
    before = [_listed(f"{number}.", sentence, styles.body) for number, sentence in enumerate(trial.before, 1)]
    blocks.append(_Columns(_words(tell("card.trial.before"), styles.heading), before, 2))
    for number, rung in enumerate(trial.rungs, 1):
        blocks += [Spacer(0.0, 1.0 * mm), _rung(number, rung, styles, tell)]
    return [*blocks, Spacer(0.0, 2.0 * mm)]


def _rung(number: int, rung: Rung, styles: _Styles, tell: Speaker) -> Flowable:
    width = (WIDTH_MM - _RUNG_NUMBER_MM) / TILES_ABREAST
    rows, joined = _rows_of_tiles(rung.tiles, styles)
    if not rows:
        rows, joined = [[_words(rung.setting, styles.setting), "", ""]], [("SPAN", (0, 0), (2, 0))]
    facts = [("card.trial.lay", rung.lay), ("card.trial.heat", rung.heat), ("card.trial.holds", rung.holds)]
    words = [
        Paragraph(f"<b>{escape(shown(tell('card.label', label=tell(label))))}</b> {escape(shown(text))}", styles.body)
        for label, text in facts
        if text
    ]
    seen = tell("card.label", label=tell("card.trial.seen"))
    rows.append(
        [
            [
                *words,
                Spacer(0.0, 0.8 * mm),
                _Ticks(seen, *(tell(f"card.trial.seen.{of}") for of in ("nothing", "holds", "harm"))),
            ],
            "",
            "",
        ]
    )
    joined.append(("SPAN", (0, len(rows) - 1), (2, len(rows) - 1)))
    numbered = [[_words(str(number), styles.setting) if at == 0 else "", *row] for at, row in enumerate(rows)]
    return _Block(
        numbered,
        colWidths=[_RUNG_NUMBER_MM * mm, *[width * mm] * TILES_ABREAST],
        style=[
            *((name, (a + 1, b), (c + 1, d)) for name, (a, b), (c, d), *_ in joined),
            ("SPAN", (0, 0), (0, -1)),
            ("BACKGROUND", (0, 0), (0, -1), _SHADE),
            *_BORDERS,
        ],
    )


def _blanks(labels: tuple[str, ...], styles: _Styles) -> Flowable:
    """Return lines to be filled in by hand."""
    count = len(labels)
    return _table(
        [[cell for label in labels for cell in (_words(label, styles.small), "")]],
        (WIDTH_MM / count - _BLANK_GAP_MM, _BLANK_GAP_MM) * count,
        *(("LINEABOVE", (2 * at, 0), (2 * at, 0), 0.6, _BLACK) for at in range(count)),
    )


def _foot(card: Card, styles: _Styles, page: str) -> Flowable:
    right = ParagraphStyle("page", styles.small, alignment=2)
    footing = f"{card.footing}. {card.tell('card.rules-first')}"
    return _table(
        [[_words(footing, styles.small), _words(page, right)]], (160.0, 30.0), ("RIGHTPADDING", (0, 0), (-1, -1), 0.0)
    )


class _Columns(Flowable):
    """A heading and paragraphs in columns of about one height, divided between pages where they are too high."""

    def __init__(self, heading: Paragraph, cells: list[Paragraph], columns: int) -> None:
        super().__init__()
        self._heading, self._cells, self._columns = heading, cells, columns
        self._column_mm = (WIDTH_MM - _COLUMN_GAP_MM * (columns - 1)) / columns
        self._heights: list[float] = []
        self._high = 0.0

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return how much room it takes: the least height at which the columns hold all paragraphs."""
        del available_height
        self._high = self._heading.wrap(available_width, 1e6)[1] + _BEFORE_PT
        self._heights = [cell.wrap(self._column_mm * mm, 1e6)[1] + _BETWEEN_PT for cell in self._cells]
        self.width = available_width
        holding = (high for high in self._possible() if len(self._fill(high)) == len(self._cells))
        self.height = self._high + next(holding, 0.0) + _AFTER_PT
        return self.width, self.height

    def _possible(self) -> list[float]:
        """Return the heights that some run of paragraphs has."""
        runs = [
            sum(self._heights[begin:end])
            for begin in range(len(self._heights))
            for end in range(begin + 1, len(self._heights) + 1)
        ]
        return sorted(runs)

    def _fill(self, high: float) -> list[tuple[int, float]]:
        """Return column and depth of each paragraph that goes into columns of a height."""
        places: list[tuple[int, float]] = []
        column, depth = 0, 0.0
        for height in self._heights:
            if depth + height > high + 1e-6:
                column, depth = column + 1, 0.0
            if column >= self._columns or height > high + 1e-6:
                break
            places.append((column, depth))
            depth += height
        return places

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        """Return the part that fits a height and the rest, or nothing if not even a paragraph fits."""
        self.wrap(available_width, available_height)
        count = len(self._fill(available_height - self._high - _AFTER_PT))
        if not count:
            return []
        return [
            _Columns(self._heading, self._cells[:count], self._columns),
            _Columns(self._heading, self._cells[count:], self._columns),
        ]

    def draw(self) -> None:
        """Draw on the canvas that the page has set."""
        self.wrap(self.width, self.height)
        self._heading.drawOn(self.canv, 0.0, self.height - self._high)
        for cell, height, (column, depth) in zip(
            self._cells, self._heights, self._fill(self.height - self._high - _AFTER_PT), strict=True
        ):
            x = column * (self._column_mm + _COLUMN_GAP_MM) * mm
            cell.drawOn(self.canv, x, self.height - self._high - depth - height + _BETWEEN_PT)


class _Ticks(Flowable):
    """Boxes to be ticked by hand, in a row."""

    def __init__(self, heading: str, *labels: str) -> None:
        super().__init__()
        self._heading, self._labels = shown(heading), tuple(map(shown, labels))

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return how much room it takes."""
        del available_height
        return available_width, 4.4 * mm

    def draw(self) -> None:
        """Draw on the canvas that the page has set."""
        canvas: Canvas = self.canv
        canvas.setLineWidth(0.8)
        canvas.setStrokeColor(_BLACK)
        canvas.setFillColor(_BLACK)
        canvas.setFont(PLAIN, 10.0)
        canvas.drawString(0.0, 0.9 * mm, self._heading)
        x = 3.0 * mm + pdfmetrics.stringWidth(self._heading, PLAIN, 10.0)
        for label in self._labels:
            canvas.rect(x, 0.3 * mm, 3.6 * mm, 3.6 * mm)
            canvas.drawString(x + 5.0 * mm, 0.9 * mm, label)
            x += 10.0 * mm + pdfmetrics.stringWidth(label, PLAIN, 10.0)


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
        pdf.draw(self._scene, self.canv)
