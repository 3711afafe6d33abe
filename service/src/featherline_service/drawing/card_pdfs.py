"""Bench card as a PDF: the same words and drawings as the page of HTML, byte for byte the same for the same card.

A loading has a page, and further pages where it is long; every page says which it is of how many.
"""

from __future__ import annotations

import io
from bisect import bisect_left
from collections import deque
from collections.abc import Sequence
from functools import lru_cache
from itertools import zip_longest
from typing import Any, Final, NamedTuple
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_CENTER
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepInFrame, Paragraph, Spacer, Table

from featherline_service.drawing.cards import (
    DENSITIES,
    FACT_LABEL_MM,
    SETTING_PT,
    TILE_PADDING_MM,
    TILES_ABREAST,
    WIDTH_MM,
    Card,
    Cut,
    Density,
    Drawn,
    Pressing,
    Sheet,
    Tile,
    Trial,
    abreast,
    drawn,
    fact_rows,
    large_tiles,
    same_holds,
    same_lay,
    same_pressure,
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
_GAP_MM: Final = 1.2
"""[mm] Between blocks."""
_BLANK_GAP_MM: Final = 4.0
_WRITING_MM: Final = 5.5
"""[mm] Room for writing above the blanks."""
_BEFORE_PT: Final = 3.0
"""[pt] Room before the heading of columns."""
_LARGEST_DRAWING_MM: Final = 96.0
_DRAWINGS_MM: Final = (24.0, 32.0, 44.0)
"""[mm] Heights that all of a sheet's drawings may have where room is scarce: with many measures they need more."""
_LEAST_SCALE: Final = 0.2
"""[-] Below this a drawing on a card shows no more where a mark goes."""
_USUAL_DRAWING_MM: Final = 64.0
"""[mm] Height of drawings on a sheet that needs more than a page anyway."""
_CUT_COLUMNS_MM: Final = (62.0, 56.0, 48.0, 24.0)
_RUNG_NUMBER_MM: Final = 8.5
_SEEN_MM: Final = 23.0
_WIDEST_SETTING_MM: Final = 51.0
"""[mm] Columns of a table of rungs or pressings; a setting takes what it needs, up to the widest."""
_TICK_MM: Final = 3.4
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
    styles = _styles(DENSITIES[0])
    room = _room(card)
    pages = [page for sheet in sheets(card) for page in _pages(card, sheet, room)]
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


def _room(card: Card) -> float:
    """Return the height of a page [pt] without its margins and foot."""
    _, height = LETTER if card.letter else A4
    return float(height) - (2.0 * _MARGIN_MM + _FOOT_MM) * mm


@lru_cache(len(DENSITIES))
def _styles(density: Density) -> _Styles:
    body, small = density.body_pt, density.small_pt
    plain = ParagraphStyle(
        "body", fontName=PLAIN, fontSize=body, leading=1.12 * body, textColor=_BLACK, splitLongWords=1
    )
    bold = ParagraphStyle("bold", plain, fontName=BOLD)
    return _Styles(
        body=plain,
        small=ParagraphStyle("small", plain, fontSize=small, leading=1.17 * small, textColor=_GREY),
        caution=ParagraphStyle("caution", plain, fontSize=small, leading=1.1 * small),
        evidence=ParagraphStyle("evidence", plain, fontSize=small, leading=1.07 * small),
        heading=ParagraphStyle("heading", bold, fontSize=body + 2.0, leading=1.25 * (body + 2.0)),
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


class Layout(NamedTuple):
    """How close a sheet is set, and the height of its drawings [mm]; `fits` is whether it takes one page."""

    density: Density
    drawings_mm: float
    fits: bool


def layout_of(card: Card, sheet: Sheet, share: float = 1.0) -> Layout:
    """Return the widest layout in which a sheet takes one page, or a share of the room on it."""
    smallest_mm, small = _smallest_drawings(card, sheet)
    scenes_high = sum(max(drawing.scene.height for drawing in row) * mm for row in _rows(small, abreast(sheet)))

    @lru_cache
    def left_mm(density: Density) -> float:
        before, after = _before_drawings(card, sheet, density), _after_drawings(card, sheet, density)
        words = [*before, *_drawings(small, sheet, _styles(density), card.tell), *after]
        needed = sum(block.wrap(WIDTH_MM * mm, share * _room(card))[1] for block in words) - scenes_high
        return (share * _room(card) - needed) / mm - 1.0

    # Each density takes less room than the one before, so that few have to be tried.
    widest = bisect_left(DENSITIES, True, key=lambda density: left_mm(density) >= smallest_mm)
    if widest == len(DENSITIES):
        return Layout(DENSITIES[0], _USUAL_DRAWING_MM, fits=False)
    return Layout(DENSITIES[widest], min(left_mm(DENSITIES[widest]), _LARGEST_DRAWING_MM), fits=True)


def _smallest_drawings(card: Card, sheet: Sheet) -> tuple[float, tuple[Drawn, ...]]:
    """Return the least height [mm] at which a sheet's drawings show what is where, and the drawings."""
    if not sheet.drawings:
        return 0.0, ()
    drawings = ((height_mm, drawn(sheet, height_mm, card.tell)) for height_mm in _DRAWINGS_MM)
    plain = ((height_mm, row) for height_mm, row in drawings if min(one.scale for one in row) >= _LEAST_SCALE)
    return next(plain, (_USUAL_DRAWING_MM, drawn(sheet, _USUAL_DRAWING_MM, card.tell)))


def _pages(card: Card, sheet: Sheet, room: float) -> list[list[Flowable]]:
    """Return the blocks of each page of a sheet: one page if it goes with all set closer and the drawings smaller."""
    density, height, _ = layout_of(card, sheet)
    styles = _styles(density)
    drawings = _drawings(drawn(sheet, height, card.tell), sheet, styles, card.tell)
    blocks = [*_before_drawings(card, sheet, density), *drawings, *_after_drawings(card, sheet, density)]
    return _filled(blocks, _running_head(card, sheet, styles), room)


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


def _before_drawings(card: Card, sheet: Sheet, density: Density) -> list[Flowable]:
    styles = _styles(density)
    blocks: list[Flowable] = [_head(card, sheet, styles), Spacer(0.0, 1.4 * mm)]
    if card.reasons and sheet.first:
        heading = card.tell("card.why", verdict=card.verdict)
        blocks.append(_lists([(heading, card.reasons)], density, styles.caution, min(len(card.reasons), 2), card.tell))
    if len(sheet.pressings) > 1:
        blocks += [_pressing_rows(sheet.pressings, styles, card.tell), Spacer(0.0, _GAP_MM * mm)]
    for pressing in sheet.pressings if len(sheet.pressings) == 1 else ():
        blocks += [_pressing(pressing, density, card.tell), Spacer(0.0, _GAP_MM * mm)]
    for trial in sheet.trials:
        blocks += _ladder(trial, density, card.tell)
    if sheet.cuts:
        blocks += [_cuts(sheet.cuts, styles, card.tell), Spacer(0.0, _GAP_MM * mm)]
    return blocks


def _after_drawings(card: Card, sheet: Sheet, density: Density) -> list[Flowable]:
    styles = _styles(density)
    blocks: list[Flowable] = []
    if sheet.steps:
        steps = [(steps.heading, steps.sentences) for steps in sheet.steps]
        blocks.append(_lists(steps, density, styles.body, 2, card.tell, numbered=True))
    for trial in sheet.trials:
        rules = [(card.tell(heading), sentences) for heading, sentences in trial.rules]
        blocks.append(_lists(rules, density, styles.body, 2, card.tell))
    if card.cautions and sheet.first:
        blocks.append(_lists([(card.tell("card.cautions"), card.cautions)], density, styles.caution, 3, card.tell))
    elif card.cautions:
        blocks.append(_words(card.tell("card.cautions.before"), styles.caution))
    if card.by_hand and sheet.last:
        blocks += [Spacer(0.0, _WRITING_MM * mm), _blanks(card.by_hand, styles)]
    return blocks


def _lists(
    told: Sequence[tuple[str, Sequence[str]]],
    density: Density,
    style: ParagraphStyle,
    columns: int,
    tell: Speaker,
    *,
    numbered: bool = False,
) -> Flowable:
    """Return lists under their headings in columns: a line for each sentence, or run in."""
    heading = _styles(density).heading
    items = [
        (title if number == 1 else "", f"{number}." if numbered else "\N{BULLET}", sentence)
        for title, sentences in told
        for number, sentence in enumerate(sentences, 1)
    ]
    if density.run_in:
        return _run_in(items, style, min(columns, 2), tell)
    if len(told) == 1:
        cells = [[_listed(mark, sentence, style)] for _, mark, sentence in items]
        return _Columns(cells, columns, _words(told[0][0], heading))
    return _Columns(
        [
            [*([_words(title, heading)] if title else []), _listed(mark, sentence, style)]
            for title, mark, sentence in items
        ],
        columns,
    )


def _run_in(items: Sequence[tuple[str, str, str]], style: ParagraphStyle, columns: int, tell: Speaker) -> Flowable:
    """Return items of title, mark and sentence in columns of about as many letters; a title begins a paragraph."""
    whole = sum(len(sentence) for _, _, sentence in items)
    paragraphs: list[list[list[str]]] = [[] for _ in range(columns)]
    before = 0
    for title, mark, sentence in items:
        column = paragraphs[min((before + len(sentence) // 2) * columns // max(whole, 1), columns - 1)]
        before += len(sentence)
        if title or not column:
            column.append([f"<b>{escape(shown(tell('card.label', label=title)))}</b>"] if title else [])
        column[-1].append(f"<b>{mark}</b>\N{NO-BREAK SPACE}{escape(shown(sentence))}")
    cells = [[Paragraph(" ".join(words), style) for words in column] for column in paragraphs]
    gap = ("RIGHTPADDING", (0, 0), (-2, -1), _COLUMN_GAP_MM * mm), ("RIGHTPADDING", (-1, 0), (-1, -1), 0.0)
    narrower = _COLUMN_GAP_MM * (columns - 1) / columns
    last = WIDTH_MM / columns - narrower
    widths = (*((last + _COLUMN_GAP_MM,) * (columns - 1)), last)
    return _table([cells], widths, *gap, ("BOTTOMPADDING", (0, 0), (-1, -1), _AFTER_PT))


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
    half = 0.5 * WIDTH_MM - FACT_LABEL_MM
    rows: list[list[Any]] = []
    joined: list[_Style] = []
    for row in fact_rows(sheet.facts):
        if len(row) == 1:
            joined.append(("SPAN", (1, len(rows)), (3, len(rows))))
        cells = [cell for label, value in row for cell in (_words(label, grey), _words(value, styles.body))]
        rows.append([*cells, *[""] * (4 - len(cells))])
    facts = _table(rows, (FACT_LABEL_MM, half, FACT_LABEL_MM, half), *joined) if rows else ""
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


def _low_tile(tile: Tile, styles: _Styles, *, named: bool) -> list[Flowable]:
    """Return a tile whose label, where it is named, and value in the other scale stand on one line."""
    label = ", ".join(text for text in (tile.label if named else "", tile.also) if text)
    return [*([_words(label, styles.small)] if label else []), _words(tile.value, styles.setting)]


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


def _pressing(pressing: Pressing, density: Density, tell: Speaker) -> Flowable:
    styles, large = _styles(density), large_tiles(pressing, density)
    rows, joined = _rows_of_tiles(large, styles)
    if below := _below(pressing, tuple(tile for tile in pressing.tiles if tile not in large), styles, tell):
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


def _below(pressing: Pressing, small: Sequence[Tile], styles: _Styles, tell: Speaker) -> list[Flowable]:
    """Return what stands under the large settings: those by hand, and beside them on what evidence all stand."""
    by_hand = Paragraph(_by_hand(small, tell), styles.strong_plain)
    if not pressing.evidence:
        return [by_hand] if small else []
    evidence = _words(pressing.evidence, styles.evidence)
    if not small:
        return [evidence]
    wide = WIDTH_MM - 2.0 * TILE_PADDING_MM
    by_hand.wrap(0.5 * wide * mm, 0.0)
    first = max(by_hand.getActualLineWidths0()) / mm + 4.0
    return [_table([[by_hand, evidence]], (first, wide - first))]


def _by_hand(tiles: Sequence[Tile], tell: Speaker) -> str:
    """Return what is done by hand, as marked-up words."""
    return "; ".join(
        f"{escape(shown(tell('card.label', label=tile.label)))} <b>{escape(shown(tile.value))}</b>"
        + (f", {escape(shown(tile.also))}" if tile.also else "")
        for tile in tiles
    )


def _pressing_rows(pressings: Sequence[Pressing], styles: _Styles, tell: Speaker) -> Flowable:
    """Return several pressings of a loading as rows of a table, so that they stand on one page."""
    rows: list[list[Any]] = []
    joined: list[_Style] = []
    for pressing in pressings:
        settings = pressing.tiles[:TILES_ABREAST]
        heading = f"<b>{escape(shown(tell('card.label', label=pressing.heading)))}</b> {escape(shown(pressing.where))}"
        words = [
            Paragraph(heading, styles.body),
            Paragraph(_by_hand(pressing.tiles[TILES_ABREAST:], tell), styles.body),
        ]
        if pressing.evidence:
            words.append(_words(pressing.evidence, styles.evidence))
        if len(settings) < TILES_ABREAST:
            joined.append(("SPAN", (len(settings) - 1, len(rows)), (TILES_ABREAST - 1, len(rows))))
        cells = [_tile(tile, styles) for tile in settings]
        rows.append([*cells, *[""] * (TILES_ABREAST - len(cells)), words])
    settings_mm = _setting_columns([pressing.tiles[:TILES_ABREAST] for pressing in pressings], styles, beside=True)
    return _table(rows, (*settings_mm, WIDTH_MM - sum(settings_mm)), *joined, *_BORDERS)


def _setting_columns(rows: Sequence[tuple[Tile, ...]], styles: _Styles, *, beside: bool) -> tuple[float, ...]:
    """Return how wide [mm] the columns of temperature, dwell and pressure are, of rows that have all three.

    Args:
        rows: The tiles of each row.
        styles: The styles of the sheet.
        beside: Whether the values in the other scale, too, are to stand on one line.
    """
    columns = [*zip(*(tiles for tiles in rows if len(tiles) == TILES_ABREAST), strict=True)]
    return (
        tuple(
            min(
                max(
                    max(_wide(tile.value, styles.setting), _wide(tile.also, styles.body) if beside else 0.0)
                    for tile in column
                )
                + 2.0 * TILE_PADDING_MM
                + 0.4,
                _WIDEST_SETTING_MM,
            )
            for column in columns
        )
        or (_WIDEST_SETTING_MM,) * TILES_ABREAST
    )


def _wide(text: str, style: ParagraphStyle) -> float:
    """Return the width of a line of words [mm]."""
    return float(stringWidth(shown(text), style.fontName, style.fontSize)) / mm


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
    blocks = [[_Drawing(scene), _words(words, styles.small)] for scene, words, _ in cells]
    rows: list[list[Any]] = [list(row) for row in zip_longest(*[iter(blocks)] * columns, fillvalue="")]
    rows.append([_words(tell("card.hatching"), styles.small), *[""] * (columns - 1)])
    centred = ("ALIGN", (0, 0), (-1, -2), "CENTER")
    return [_table(rows, (WIDTH_MM / columns,) * columns, centred, ("SPAN", (0, -1), (-1, -1)))]


def _ladder(trial: Trial, density: Density, tell: Speaker) -> list[Flowable]:
    """Return what comes before a trial, and its rungs as a table, each with its setting as large as a pressing's."""
    styles = _styles(density)
    return [
        _words(trial.where, styles.body),
        _lists([(tell("card.trial.before"), trial.before)], density, styles.body, 2, tell, numbered=True),
        _rungs(trial, styles, tell),
        Spacer(0.0, _GAP_MM * mm),
    ]


def _rungs(trial: Trial, styles: _Styles, tell: Speaker) -> Flowable:
    """Return a table of rungs; what is the same for all of them stands once."""
    lay, holds, pressure = same_lay(trial), same_holds(trial), same_pressure(trial)
    shared = [
        _labelled(label, text, styles, tell)
        for label, text in (
            ("card.trial.lay", lay),
            ("card.trial.uppers", "; ".join(trial.uppers)),
            ("card.trial.holds", holds),
        )
        if text
    ]
    rows: list[list[Any]] = [[shared, *[""] * 5]] if shared else []
    style: list[_Style] = [("SPAN", (0, 0), (-1, 0))] if shared else []
    first = len(rows)
    named = next((number for number, rung in enumerate(trial.rungs, 1) if rung.tiles), 0)
    for number, rung in enumerate(trial.rungs, 1):
        at = len(rows)
        settings: list[Any]
        if rung.tiles:
            settings = [_low_tile(tile, styles, named=number == named) for tile in rung.tiles]
        else:
            settings = [[_words(rung.setting, styles.setting)], "", ""]
            style.append(("SPAN", (1, at), (3, at)))
        facts = [("card.trial.lay", "" if lay else rung.lay), ("card.trial.heat", rung.heat)]
        facts.append(("card.trial.holds", "" if holds else rung.holds))
        words = [_labelled(label, text, styles, tell) for label, text in facts if text]
        seen: list[Flowable] = []
        if number == 1:
            seen += [_words(tell("card.label", label=tell("card.trial.seen")), styles.caution), Spacer(0.0, 0.6 * mm)]
        seen += [_Tick(tell(f"card.trial.seen.{of}"), styles.body) for of in ("nothing", "holds", "harm")]
        rows.append([_words(str(number), styles.setting), *settings, words, seen])
        style.append(("BACKGROUND", (0, at), (0, at), _SHADE))
    if pressure is not None:
        style.append(("SPAN", (3, first), (3, -1)))
    settings_mm = _setting_columns([rung.tiles for rung in trial.rungs], styles, beside=False)
    words_mm = WIDTH_MM - _RUNG_NUMBER_MM - sum(settings_mm) - _SEEN_MM
    return _table(
        rows,
        (_RUNG_NUMBER_MM, *settings_mm, words_mm, _SEEN_MM),
        *_BORDERS,
        *style,
        ("VALIGN", (0, first), (0, -1), "BOTTOM"),
    )


def _labelled(label: str, text: str, styles: _Styles, tell: Speaker) -> Paragraph:
    """Return words behind what they are."""
    name = escape(shown(tell("card.label", label=tell(label))))
    return Paragraph(f"<b>{name}</b> {escape(shown(text))}", styles.caution)


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
    """Cells in columns of about one height under a heading, divided between pages where they are too high.

    A cell is paragraphs that stay together.
    """

    def __init__(self, cells: list[list[Paragraph]], columns: int, heading: Paragraph | None = None) -> None:
        super().__init__()
        self._heading, self._cells, self._columns = heading, cells, columns
        self._column_mm = (WIDTH_MM - _COLUMN_GAP_MM * (columns - 1)) / columns
        self._heights: list[float] = []
        self._high = 0.0

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return how much room it takes: the least height at which the columns hold all cells."""
        del available_height
        self._high = 0.0 if self._heading is None else self._heading.wrap(available_width, 1e6)[1] + _BEFORE_PT
        self._heights = [
            sum(words.wrap(self._column_mm * mm, 1e6)[1] + _BETWEEN_PT for words in cell) for cell in self._cells
        ]
        self.width = available_width
        holding = (high for high in self._possible() if len(self._fill(high)) == len(self._cells))
        self.height = self._high + next(holding, 0.0) + _AFTER_PT
        return self.width, self.height

    def _possible(self) -> list[float]:
        """Return the heights that some run of cells has."""
        runs = [
            sum(self._heights[begin:end])
            for begin in range(len(self._heights))
            for end in range(begin + 1, len(self._heights) + 1)
        ]
        return sorted(runs)

    def _fill(self, high: float) -> list[tuple[int, float]]:
        """Return column and depth of each cell that goes into columns of a height."""
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
        """Return the part that fits a height and the rest, or nothing if not even a cell fits."""
        self.wrap(available_width, available_height)
        count = len(self._fill(available_height - self._high - _AFTER_PT))
        if not count:
            return []
        return [
            _Columns(self._cells[:count], self._columns, self._heading),
            _Columns(self._cells[count:], self._columns, self._heading),
        ]

    def draw(self) -> None:
        """Draw on the canvas that the page has set."""
        self.wrap(self.width, self.height)
        if self._heading is not None:
            self._heading.drawOn(self.canv, 0.0, self.height - self._high)
        for cell, (column, depth) in zip(self._cells, self._fill(self.height - self._high - _AFTER_PT), strict=True):
            x = column * (self._column_mm + _COLUMN_GAP_MM) * mm
            y = self.height - self._high - depth
            for words in cell:
                y -= words.height
                words.drawOn(self.canv, x, y)
                y -= _BETWEEN_PT


class _Tick(Flowable):
    """A box to be ticked by hand, and what it is for."""

    def __init__(self, label: str, style: ParagraphStyle) -> None:
        super().__init__()
        self._words = _words(label, style)

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return how much room it takes."""
        _, high = self._words.wrap(available_width - (_TICK_MM + 1.2) * mm, available_height)
        self.height = max(high, (_TICK_MM + 0.4) * mm)
        return available_width, self.height

    def draw(self) -> None:
        """Draw on the canvas that the page has set."""
        canvas: Canvas = self.canv
        canvas.setLineWidth(0.8)
        canvas.setStrokeColor(_BLACK)
        canvas.rect(0.0, self.height - _TICK_MM * mm, _TICK_MM * mm, _TICK_MM * mm)
        self._words.drawOn(canvas, (_TICK_MM + 1.2) * mm, self.height - self._words.height)


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
