"""The catalogue: what of the book a caller may sell, without what it costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from functools import cache
from pathlib import Path
from typing import Any, Final

from fontTools import unicodedata
from msgspec import Struct, inspect, structs

from featherline.wire import records
from featherline.wire.catalogue import (
    Catalogue,
    CatalogueFilm,
    CatalogueFont,
    CatalogueLimits,
    CataloguePanel,
    CatalogueShoe,
)
from featherline.wire.costs import Order
from featherline.wire.rosters import Roster
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import ENGLISH
from featherline_service.messages.local_names import local_name
from featherline_service.questions.order.artwork_sizes import LARGEST_ARTWORK_MM
from featherline_service.questions.shoes.panels import panel_area
from featherline_service.runtime.engine import ENGINE
from featherline_service.shape.outlines.text_outlines import LONGEST_TEXT, MOST_LINES, typeface

LEAST_LETTERS: Final = 20
"""Letters of a script that a font has to have: Hebrew has 22; most Latin fonts have a few of Greek, for formulas."""
_NO_SCRIPTS: Final = frozenset({"Zyyy", "Zinh", "Zzzz"})  # common, inherited, unknown: ISO 15924


def compose(book: Book, films: Collection[str], language: str = ENGLISH) -> Catalogue:
    """Return the catalogue of a book, in a language, for a caller who may sell some films; none named: all."""
    sold = [film for name, film in sorted(book.films.items()) if not films or name in films]
    return Catalogue(
        name=book.bench.name,
        colour=book.bench.colour,
        currency=book.rates[book.bench.rates].currency,
        shoes=tuple(_shoe(book, shoe, sold, language) for _, shoe in sorted(book.shoes.items())),
        films=tuple(
            CatalogueFilm(
                id=film.id,
                name=local_name(film, language),
                family=film.family,
                is_cut=film.cutting is not None,
                colours=tuple(
                    structs.replace(colour, name=local_name(colour, language), names=()) for colour in film.colours
                ),
            )
            for film in sold
        ),
        fonts=tuple(
            CatalogueFont(id=font.id, name=font.name, scripts=scripts(book.font_files[font.id]))
            for _, font in sorted(book.fonts.items())
        ),
        limits=LIMITS,
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
    )


def _shoe(book: Book, shoe: records.ShoeModel, sold: Collection[records.Film], language: str) -> CatalogueShoe:
    return CatalogueShoe(
        id=shoe.id,
        name=local_name(shoe, language),
        wearer=shoe.wearer,
        protective=shoe.protective,
        sizes=shoe.sizes,
        colours=tuple(structs.replace(colour, name=local_name(colour, language), names=()) for colour in shoe.colours),
        panels=tuple(_panel(book, panel, sold, language) for panel in shoe.panels),
    )


def _panel(book: Book, panel: records.Panel, sold: Collection[records.Film], language: str) -> CataloguePanel:
    outline, _, _ = panel_area(panel, 1.0, 1.0)
    left, bottom, right, top = outline.bounds
    surface = book.uppers[panel.upper].surface
    return CataloguePanel(
        id=panel.id,
        name=local_name(panel, language),
        face=panel.face,
        colour=panel.colour,
        width_mm=round(right - left, 1),
        height_mm=round(top - bottom, 1),
        outline=panel.outline,
        up_deg=panel.up_deg,
        films=tuple(film.id for film in sold if surface in film.bonds_to),
    )


@cache
def scripts(file: Path) -> tuple[str, ...]:
    """Return the scripts of which a font has letters, by their codes in ISO 15924.

    References:
        Unicode Standard Annex 24, Unicode Script Property; ISO 15924.
    """
    characters = map(chr, typeface(file).font.face.unicodes)
    letters = Counter(
        unicodedata.script(character) for character in characters if unicodedata.category(character).startswith("L")
    )
    return tuple(sorted(name for name, count in letters.items() if count >= LEAST_LETTERS and name not in _NO_SCRIPTS))


def _most(type_: type[Struct], name: str) -> int:
    """Return the largest number, or the most items, that a field of a request may have."""
    fields = inspect.type_info(type_).fields  # type: ignore[attr-defined] # of a struct
    found: Any = next(field.type for field in fields if field.name == name)
    while isinstance(found, inspect.Metadata):
        found = found.type
    most = found.le if isinstance(found, inspect.IntType) else found.max_length
    if most is None:
        raise AssertionError(f"{type_.__name__}.{name} has no limit")
    return int(most)


LIMITS: Final = CatalogueLimits(
    characters=LONGEST_TEXT,
    lines=MOST_LINES,
    artwork_mm=LARGEST_ARTWORK_MM,
    placements=_most(Order, "placements"),
    pairs=_most(Order, "pairs"),
    quantities=_most(Order, "quantities"),
    rows=_most(Roster, "rows"),
)
