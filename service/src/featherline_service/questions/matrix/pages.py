"""A page of which shoes take which films: a row for each panel, a column for each film."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final, NamedTuple

import numpy as np

from featherline_service.drawing.scene import (
    BLACK,
    GREY,
    MARGIN,
    PALE,
    SMALL,
    TEXT,
    Ink,
    Scene,
    Shape,
    Words,
    circle,
    fitted,
    heading,
    line,
    wrapped,
)

_NAMES: Final = 52.0
"""[mm] Width of the column of shoes and panels."""
_COLUMN: Final = 30.0
"""[mm] Width of a film's column."""
_ROW: Final = 8.6
_DOT: Final = 1.5
"""[mm] Radius of the dot that says a verdict: full for yes, a ring for a trial, a line for no."""
_CORNERS: Final = 32


class Box(NamedTuple):
    """What is told of a panel in a film: the verdict, and two lines of words."""

    verdict: str
    first: str
    second: str


class Row(NamedTuple):
    """A panel of a shoe, and its boxes, one a film."""

    shoe: str
    panel: str
    boxes: tuple[Box, ...]


class Page(NamedTuple):
    """Content of the page."""

    title: str
    sentences: tuple[str, ...]
    films: tuple[str, ...]
    rows: tuple[Row, ...]


def draw(page: Page) -> Scene:
    """Return the page."""
    width = 2.0 * MARGIN + _NAMES + _COLUMN * len(page.films)
    head = tuple(heading(page.title, page.sentences, width - 2.0 * MARGIN))
    top = head[-1].y + 6.0
    items: list[Shape | Words] = [*head, *_key(top)]
    y = top + 11.0
    for column, film in enumerate(page.films):
        lines = wrapped(film, SMALL, _COLUMN - 2.0, 2)
        items += (
            Words(part, _left(column), y - 1.4 * SMALL * (len(lines) - 1 - index), SMALL, bold=True)
            for index, part in enumerate(lines)
        )
    y += 2.0
    for shoe, rows in groupby(page.rows, key=lambda row: row.shoe):
        items.append(line("rule", Ink(stroke=BLACK, width=0.25), (MARGIN, y), (width - MARGIN, y)))
        items.append(Words(fitted(shoe, TEXT, _NAMES - 2.0), MARGIN, y + 1.5 * TEXT, TEXT, bold=True))
        y += 1.6 * TEXT
        for row in rows:
            items += _row(row, y, width)
            y += _ROW
    return Scene("matrix", page.title, _in_words(page), width, y + MARGIN, tuple(items))


def _row(row: Row, top: float, width: float) -> Iterator[Shape | Words]:
    yield Words(fitted(row.panel, SMALL, _NAMES - 4.0), MARGIN + 2.0, top + 5.0, SMALL)
    for column, told in enumerate(row.boxes):
        left = _left(column)
        yield _mark(told.verdict, left + _DOT, top + 4.0)
        yield Words(fitted(told.first, SMALL, _COLUMN - 6.0), left + 4.5, top + 3.6, SMALL)
        yield Words(fitted(told.second, SMALL, _COLUMN - 6.0), left + 4.5, top + 7.2, SMALL, colour=GREY)
    yield line("rule", Ink(stroke=PALE, width=0.15), (MARGIN, top + _ROW), (width - MARGIN, top + _ROW))


def _mark(verdict: str, x: float, y: float) -> Shape:
    ring = circle(_DOT, _CORNERS) + np.array((x, y))
    if verdict == "ready":
        return Shape("ready", (ring,), Ink(fill=BLACK, stroke=BLACK, width=0.3))
    if verdict == "trial":
        return Shape("trial", (ring,), Ink(stroke=BLACK, width=0.5))
    return line("decline", Ink(stroke=GREY, width=0.4), (x - _DOT, y), (x + _DOT, y))


def _key(top: float) -> Iterator[Shape | Words]:
    x = MARGIN + _DOT
    for verdict, words in (("ready", "ready: do it"), ("trial", "try it first"), ("decline", "no")):
        yield _mark(verdict, x, top)
        yield Words(words, x + 3.0, top + 1.0, SMALL)
        x += 30.0


def _left(column: int) -> float:
    return MARGIN + _NAMES + _COLUMN * column


def _in_words(page: Page) -> str:
    """Return the page for whoever does not see it: how many panels take each film."""
    return ". ".join(
        f"{film}: {_count(page.rows, column, 'ready')} of {len(page.rows)} panels ready, "
        f"{_count(page.rows, column, 'trial')} to be tried"
        for column, film in enumerate(page.films)
    )


def _count(rows: Sequence[Row], column: int, verdict: str) -> int:
    return sum(row.boxes[column].verdict == verdict for row in rows)
