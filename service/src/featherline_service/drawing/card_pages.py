"""Bench card as a page of HTML: self-contained and escaped; printed, each loading begins a page."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from featherline_service.drawing.cards import (
    SETTING_PT,
    TILES_ABREAST,
    Card,
    Density,
    Sheet,
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
from featherline_service.drawing.media import svg
from featherline_service.drawing.printable import printable
from featherline_service.messages.values import Speaker

if TYPE_CHECKING:
    from jinja2 import Template

MEDIA_TYPE: Final = "text/html"
POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; sandbox"
"""The Content-Security-Policy of the page: its own styles, and nothing from elsewhere."""
_DRAWINGS_MM: Final = 54.0
"""[mm] Most height of a sheet's drawings."""
_SHARE: Final = 0.96
"""How much of a page the PDF's words may take for these to take a page: browsers have letters of other widths."""
_LONGEST_WORDS: Final = 1000
_PAGE, _PAGES = "\ue010", "\ue011"
"""In the place of numbers that only the browser knows: of the private use area, which no message has."""


def write(card: Card) -> str:
    """Return the page.

    References:
        HTML Living Standard; CSS Paged Media Module Level 3, section 3 (the @page rule).
    """
    return _template().render(
        card=card,
        tell=card.tell,
        page=_page_numbers(card.tell),
        sheets=[_laid_out(card, sheet) for sheet in sheets(card)],
        steps_of=lambda sheet: [(steps.heading, steps.sentences) for steps in sheet.steps],
        rules_of=lambda trial: [(card.tell(heading), sentences) for heading, sentences in trial.rules],
        fact_rows=fact_rows,
        large_tiles=large_tiles,
        same_lay=same_lay,
        same_holds=same_holds,
        same_pressure=same_pressure,
        spans=spans,
        abreast=TILES_ABREAST,
        setting_pt=f"{SETTING_PT:g}",
    )


def _page_numbers(tell: Speaker) -> Markup:
    """Return the number of a page and of all as the content of CSS: texts in it are escaped, letter by letter."""
    parts = re.split(f"({_PAGE}|{_PAGES})", tell("card.page", page=_PAGE, pages=_PAGES))
    counters = {_PAGE: "counter(page)", _PAGES: "counter(pages)"}
    # Safe: of a text that a book may change only letters, digits and hexadecimal escapes are left.
    return Markup(" ".join(counters.get(part) or _css_text(part) for part in parts if part))  # noqa: S704


def _css_text(text: str) -> str:
    """Return a text as a string of CSS (CSS Syntax Module Level 3, section 4.3.7: escapes)."""
    plain = re.compile(r"[A-Za-z0-9 ]")
    return '"' + "".join(one if plain.match(one) else f"\\{ord(one):x} " for one in text) + '"'


def _laid_out(card: Card, sheet: Sheet) -> tuple[Sheet, Density, int, list[tuple[Markup, str]]]:
    """Return a sheet, how close it is set to be printed on one page, and its drawings in columns."""
    from featherline_service.drawing.card_pdfs import layout_of  # noqa: PLC0415 - what sets it takes 7 MB

    layout = layout_of(card, sheet, _SHARE)
    drawings_mm = min(layout.drawings_mm, _DRAWINGS_MM)
    # Safe: the scene's words were escaped as they were written, and nothing else of it is a caller's.
    drawings = [(Markup(svg.fragment(scene)), words) for scene, words, _ in drawn(sheet, drawings_mm, card.tell)]  # noqa: S704
    return sheet, layout.density, abreast(sheet), drawings


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - 60 ms of the start, and 3 MB

    environment = Environment(
        loader=PackageLoader("featherline_service.drawing", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        finalize=_fit_to_print,
    )
    return environment.get_template("bench_card.html.jinja")


def _fit_to_print(value: object) -> object:
    """Return words fit to print, and markup unchanged."""
    return printable(value, _LONGEST_WORDS) if isinstance(value, str) and not isinstance(value, Markup) else value
