"""What of the book a caller may sell."""

from __future__ import annotations

import gzip
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.records import LocalName
from featherline_service.book.shop_book import Book
from featherline_service.questions.customers import catalogues


def test_it_has_every_shoe_film_and_font_of_the_book(book: Book) -> None:
    """For a caller who may sell all films, in the order of ids, each film with its colours."""
    catalogue = catalogues.compose(book, ())
    assert [sorted(book.shoes), sorted(book.films), sorted(book.fonts)] == [
        [item.id for item in items] for items in (catalogue.shoes, catalogue.films, catalogue.fonts)
    ]
    assert [book.films[film.id].colours for film in catalogue.films] == [film.colours for film in catalogue.films]
    assert (book.revision, "EUR") == (catalogue.book, catalogue.currency)


def test_a_caller_sells_the_films_of_its_key(book: Book) -> None:
    """Other films are neither in the list nor with a panel; one that is not in the book is not there."""
    catalogue = catalogues.compose(book, ("smooth", "flake", "gone"))
    assert ["flake", "smooth"] == [film.id for film in catalogue.films]
    there = {film for shoe in catalogue.shoes for panel in shoe.panels for film in panel.films}
    assert {"flake", "smooth"} == there


def test_a_panels_films_hold_on_its_upper(book: Book) -> None:
    """A film is with a panel exactly where it bonds to the surface of the panel's upper."""
    for shoe in catalogues.compose(book, ()).shoes:
        for panel, record in zip(shoe.panels, book.shoes[shoe.id].panels, strict=True):
            surface = book.uppers[record.upper].surface
            assert {film.id for film in book.films.values() if surface in film.bonds_to} == set(panel.films)


def test_a_panels_size_is_that_of_its_outline(book: Book) -> None:
    """It is the box of its curves: their control points lie 66 mm apart in y, and the curves less."""
    quarter = catalogues.compose(book, ()).shoes[0].panels[0]
    assert (122.6, 64.8) == (quarter.width_mm, quarter.height_mm)


def test_a_shoe_names_its_colours(book: Book) -> None:
    """Those in which it is made, in the reader's language where the shop has them; a shoe of one colour has none."""
    shoes = {shoe.id: [colour.id for colour in shoe.colours] for shoe in catalogues.compose(book, ()).shoes}
    assert (["navy", "tan", "ivory"], []) == (shoes["regatta-deck"], shoes["yard-boot"])


def test_fonts_name_their_scripts(book: Book) -> None:
    """Roboto has Latin, Greek and Cyrillic letters (as its makers publish); Fjalla One has few of Greek."""
    fonts = {font.id: font.scripts for font in catalogues.compose(book, ()).fonts}
    assert {"bold": ("Cyrl", "Grek", "Latn"), "plain": ("Latn",)} == fonts


def test_limits_are_those_of_requests() -> None:
    """A field without a limit cannot be named."""
    limits = catalogues.LIMITS
    assert (200, 12, 12, 10_000, 24, 500) == (
        limits.characters, limits.lines, limits.placements, limits.pairs, limits.quantities, limits.rows,
    )  # fmt: skip
    with pytest.raises(AssertionError, match=r"Order\.offcuts has no limit"):
        catalogues._most(msgspec.defstruct("Order", [("offcuts", str)]), "offcuts")


def test_it_is_small(book: Book) -> None:
    """Compressed, the demo book's takes less than 4 kB."""
    assert len(gzip.compress(msgspec.json.encode(catalogues.compose(book, ())))) < 4_000


def test_names_are_in_the_language_where_the_shop_has_them(book: Book) -> None:
    """Of shoes, panels, films and colours; what has none in it keeps the name that the shop wrote first."""

    def named(record: Any, name: str, **more: Any) -> Any:  # noqa: ANN401 - of any kind
        return replace(record, names=(LocalName(language="de", name=name),), **more)

    film = book.films["smooth"]
    film = named(film, "Glatte Folie", colours=(named(film.colours[0], "Ginster"), *film.colours[1:]))
    shoe = next(iter(book.shoes.values()))
    shoe = named(shoe, "Decksschuh", panels=(named(shoe.panels[0], "Blatt"), *shoe.panels[1:]))
    flock = replace(book.films["flock"], names=())
    own = replace(book, films={"flock": flock, "smooth": film}, shoes={shoe.id: shoe})
    german, french = (catalogues.compose(own, (), language) for language in ("de", "fr"))
    assert [book.films["flock"].name, "Glatte Folie"] == [film.name for film in german.films]
    assert ["Ginster", film.colours[1].name] == [colour.name for colour in german.films[1].colours[:2]]
    assert ("Decksschuh", "Blatt") == (german.shoes[0].name, german.shoes[0].panels[0].name)
    assert [film.name, film.colours[0].name] == [french.films[1].name, french.films[1].colours[0].name]
