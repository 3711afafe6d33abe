"""The bench card as a page of HTML: self-contained, escaped, to be printed on one sheet."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from featherline_service.drawing import svg
from featherline_service.drawing.cards import Card, abreast, drawn, is_dense
from featherline_service.drawing.printable import printable

if TYPE_CHECKING:
    from jinja2 import Template

MEDIA_TYPE: Final = "text/html"
POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; sandbox"
"""The Content-Security-Policy that the page keeps to: its own styles, and nothing from anywhere."""
_LONGEST_WORDS: Final = 1000


def write(card: Card) -> str:
    """Return the page.

    References:
        HTML Living Standard; CSS Paged Media Module Level 3, section 3 (the @page rule).
    """
    return _template().render(
        card=card,
        columns=abreast(card),
        dense=is_dense(card),
        # Safe: the scene's words were escaped as they were written, and nothing else of it is a caller's.
        drawings=[(Markup(svg.fragment(scene)), words) for scene, words in drawn(card)],  # noqa: S704
    )


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
    """Return words fit to print; what was made safe before is left alone."""
    return printable(value, _LONGEST_WORDS) if isinstance(value, str) and not isinstance(value, Markup) else value
