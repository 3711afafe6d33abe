"""Table of the longest tips and notches of all letters and digits of the demo fonts, in Markdown.

``python tests/outside/letter_tips.py`` prints the page ``service/letters.md``. A letter is measured for every film of
the demo book that is cut or printed, at the height from which the film takes the letter, and at 1.5 and 3 times that
height; the longest tip in finest strokes and the longest notch in finest gaps are shown, beside the height for the
finest film that is cut.
"""

from __future__ import annotations

import functools
import math
import string
from typing import NamedTuple

from featherline_service.book.loader import load
from featherline_service.shape.outlines import figures, text_outlines, tips

HEIGHTS = (1.0, 1.5, 3.0)
FINEST_CUT = "smooth"


class Row(NamedTuple):
    """A letter of a font: the height from which the finest film that is cut takes it [mm], its tip and its notch."""

    font: str
    letter: str
    height_mm: float
    tip: float
    notch: float


@functools.cache
def rows() -> list[Row]:
    """Return the rows of all letters and digits of the demo fonts."""
    book = load()
    table = []
    for font, file in sorted(book.font_files.items()):
        face = text_outlines.typeface(file)
        for letter in string.ascii_uppercase + string.ascii_lowercase + string.digits:
            figure = figures.of_text(face, letter)
            detail = figure.detail
            tip = notch = height = 0.0
            for name, film in book.films.items():
                finest = film.finest
                gap = math.inf if detail.gap is None else detail.gap
                scale = max(
                    finest.stroke_mm / detail.stroke, finest.gap_mm / gap, math.sqrt(finest.island_mm2 / detail.island)
                )
                height = scale * face.capital if name == FINEST_CUT else height
                for factor in HEIGHTS:
                    found = figures.tips_and_notches(figure, factor * scale, finest.stroke_mm, finest.gap_mm)
                    tip = max(tip, *(each.length / finest.stroke_mm for each in found.tips), 0.0)
                    notch = max(notch, *(each.length / finest.gap_mm for each in found.notches), 0.0)
            table.append(Row(font, letter, height, tip, notch))
    return table


def page() -> str:
    """Return the page with the table."""
    lines = [
        "# Tips and notches of letters",
        "",
        "What an opening of an outline by a film's finest stroke removes is a tip, and what a closing by its finest",
        "gap fills is a notch. Their lengths have limits for every film: beyond a limit a mark is tried first, beyond",
        "twice the limit it is declined. The limits are guesses, without a source; they are such that every letter and",
        "digit of the demo fonts is cut at every height at which its strokes, gaps and pieces are large enough.",
        "`python tests/outside/letter_tips.py > service/letters.md` writes it.",
        "",
        f"Limits: tips {tips.LONGEST_TIP:g} finest strokes, notches {tips.LONGEST_NOTCH:g} finest gaps.",
        "",
        f"| font | letter | letters at least, {FINEST_CUT} film | longest tip | longest notch | passes |",
        "|---|---|---:|---:|---:|---|",
    ]
    for row in rows():
        passes = "yes" if row.tip <= tips.LONGEST_TIP and row.notch <= tips.LONGEST_NOTCH else "no"
        tip, notch = (f"{value:.2f}" if value else "none" for value in (row.tip, row.notch))
        lines.append(f"| {row.font} | {row.letter} | {row.height_mm:.1f} mm | {tip} | {notch} | {passes} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(page())
