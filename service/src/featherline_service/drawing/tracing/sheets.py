"""The sheet that a tape tracing is stuck on, as a scene of the size of the paper."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.drawing.scene import BLACK, GREY, WHITE, Ink, Points, Scene, Shape, Words, box, wrapped

_PALE: Final = "#a9d9ea"
"""Light to whatever looks for black, since its blue is nearly that of paper, and dark to whatever looks at its red."""
_INK: Final = Ink(fill=BLACK)
_WORDS_MM: Final = 2.3
_LINE_MM: Final = 2.9
_MOST_LINES: Final = 5
_STEPS: Final = (
    "1 Print at 100 %. Measure both bars from end to end, to half a millimetre.",
    "2 Cover the panel with tape. Draw its edge: one closed black line.",
    "3 Eyelets: black rings or dots. Keep free: hatch in red, lines 3 mm apart.",
    "4 Peel it off. Stick it flat on the crosses, ink up, toe to the arrow.",
    "5 Lay the sheet flat on a dark table, in even light, without shadows.",
    "6 Camera level above the middle, all marks in view, no zoom, no flash.",
)


class Bar(NamedTuple):
    """A bar to be measured: its name and its box, left, top, right and bottom [mm]."""

    name: str
    box: tuple[float, float, float, float]


class Mark(NamedTuple):
    """A mark: its top left corner [mm] and its word, true where white."""

    at: tuple[float, float]
    cells: NDArray[np.bool_]


class Layout(NamedTuple):
    """What is on a sheet [mm]: its paper, marks in rows from the top left, bars, and crosses."""

    paper: str
    width: float
    height: float
    mark: float
    cell: float
    marks: Sequence[Mark]
    bars: tuple[Bar, Bar]
    crosses: NDArray[np.float64]
    arm: float
    line: float


def scene(layout: Layout) -> Scene:
    """Return the sheet."""
    return Scene(
        "tracing-sheet",
        f"Tracing sheet, {layout.paper}",
        "Coded marks around a field of pale crosses, an arrow to the toe, and two bars to be measured once it is "
        f"printed at 100 %. {' '.join(_STEPS)}",
        layout.width,
        layout.height,
        (*_crosses(layout), *_marks(layout), *_bars(layout), *_instructions(layout), *_toe(layout)),
    )


def _marks(layout: Layout) -> Iterator[Shape]:
    for mark in layout.marks:
        x, y = mark.at
        yield box("mark", _INK, x, y, layout.mark, layout.mark)
        holes = [
            box("", _INK, x + layout.cell * (1 + column), y + layout.cell * (1 + row), layout.cell, layout.cell)
            for row, column in np.argwhere(mark.cells)
        ]
        yield Shape("cells", tuple(hole.contours[0] for hole in holes), Ink(fill=WHITE))


def _crosses(layout: Layout) -> Iterator[Shape]:
    long, thin = layout.arm, 0.5 * layout.line
    plus = np.array(
        [
            (-long, -thin), (-thin, -thin), (-thin, -long), (thin, -long), (thin, -thin), (long, -thin),
            (long, thin), (thin, thin), (thin, long), (-thin, long), (-thin, thin), (-long, thin),
        ]
    )  # fmt: skip
    yield Shape("crosses", tuple(plus + middle for middle in layout.crosses), Ink(fill=_PALE))


def _bars(layout: Layout) -> Iterator[Shape]:
    for bar in layout.bars:
        left, top, right, bottom = bar.box
        yield box(f"bar-{bar.name}", _INK, left, top, right - left, bottom - top)


def _instructions(layout: Layout) -> Iterator[Words]:
    """Yield the words between the marks: the steps above, the lengths to be written down below and at the left."""
    tops = sorted({mark.at[1] for mark in layout.marks})
    xs = sorted({mark.at[0] for mark in layout.marks})
    for left, right, step in zip(xs, xs[1:], _STEPS, strict=False):
        yield from _block(step, left + layout.mark + 2.0, tops[0], right - left - layout.mark - 4.0)
    below = (
        f"Tracing sheet, {layout.paper}",
        "The bar above, from end to end:",
        "along = . . . . . . . . mm",
        "The bar at the left:",
        "across = . . . . . . . . mm",
        "Give the photo and both lengths at the counter.",
    )
    for left, right, words in zip(xs, xs[1:], below, strict=False):
        yield from _block(words, left + layout.mark + 2.0, tops[-1], right - left - layout.mark - 4.0)


def _block(text: str, left: float, top: float, width: float) -> Iterator[Words]:
    for number, words in enumerate(wrapped(text, _WORDS_MM, width, _MOST_LINES)):
        yield Words(words, left, top + _WORDS_MM + number * _LINE_MM, _WORDS_MM, colour=GREY)


def _toe(layout: Layout) -> Iterator[Shape | Words]:
    """Yield the arrow to the toe, at the right between the marks."""
    tops = sorted({mark.at[1] for mark in layout.marks})
    right = max(mark.at[0] for mark in layout.marks)
    for above, below in pairwise(tops):
        y = 0.5 * (above + layout.mark + below)
        yield Shape("toe", (_arrow(right + 1.0, y),), _INK)
        yield Words("TOE", right + 0.5 * layout.mark, y + 8.5, 3.6, "middle", bold=True)


def _arrow(x: float, y: float) -> Points:
    corners = [(0.0, -1.5), (7.0, -1.5), (7.0, -4.5), (13.0, 0.0), (7.0, 4.5), (7.0, 1.5), (0.0, 1.5)]
    return np.array([(x + right, y + down) for right, down in corners])
