"""Every ordinary card takes one page for each loading or trial, and no word of a caution is lost for it."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from itertools import islice
from typing import Any, Final

import msgspec
import pytest
from draws import PERCENT
from msgspec.structs import force_setattr
from pypdf import PdfReader

from featherline.wire.costs import Order
from featherline_service.book.shop_book import Book
from featherline_service.drawing import card_pdfs
from featherline_service.drawing.cards import Card, sheets
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import bench_cards

LANGUAGES: Final = ("de", "en", "es", "fr")
ALL: Final = PERCENT == 100
DECK: Final = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}


def bar(panel: str, film: str, colour: str | None = None, **more: object) -> dict[str, Any]:
    """Return a placement of a plain bar, which every film can be cut to."""
    artwork = {"kind": "path", "d": "M0 0H14V12H0Z", "height": "6 mm"}
    placement = {"panel": panel, "film": film, "artwork": artwork, "pose": {"kind": "searched"}, **more}
    return placement if colour is None else {**placement, "colour": colour}


def at(x: int) -> dict[str, Any]:
    """Return a pose beside the middle of the panel."""
    return {"pose": {"kind": "at", "x": f"{x} mm", "y": "0 mm"}}


def walk_in(label: str, *panels: str) -> dict[str, Any]:
    """Return a shoe that a ruler and its label tell of."""
    shape = {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}
    faces = {"outer-quarter": "outer", "inner-quarter": "inner"}
    return {
        "kind": "measured",
        "label": label,
        "inside_length": "275 mm",
        "panels": [
            {"panel": name, "face": faces.get(name, name), "shape": shape, "curvature": "gentle"}
            for name in panels or ("outer-quarter",)
        ],
    }


def orders(book: Book) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield an order for every panel and label of the book in every film."""
    for shoe in book.shoes.values():
        size = {"system": "EU", "value": "30" if shoe.id.startswith("minnow") else "42"}
        asked = {"kind": "book", "shoe": shoe.id, "size": size, "makers_consent": True}
        for panel in shoe.panels:
            for film in book.films.values():
                colour = film.colours[0].id if film.colours else None
                yield f"{shoe.id} {panel.id} {film.id}", {"shoe": asked, "placements": [bar(panel.id, film.id, colour)]}
    for label in book.labels:
        for film in book.films.values():
            colour = film.colours[0].id if film.colours else None
            placements = [bar("outer-quarter", film.id, colour)]
            yield f"{label} {film.id}", {"shoe": walk_in(label), "placements": placements}


HARD: Final[dict[str, dict[str, Any]]] = {
    "a trial of three rungs": {
        "shoe": walk_in("leather"),
        "placements": [bar("outer-quarter", "smooth", "gorse", **at(x)) for x in (-30, 0, 30)],
    },
    "a trial of five rungs": {"shoe": walk_in("textile"), "placements": [bar("outer-quarter", "stretch", "gorse")]},
    "two films on a face": {
        "shoe": DECK,
        "placements": [
            bar("outer-quarter", "smooth", "gorse", **at(-16)),
            bar("outer-quarter", "stretch", "gorse", **at(-2)),
        ],
    },
    "a transfer on a child's shoe": {
        "shoe": {"kind": "book", "shoe": "minnow-trainer", "size": {"system": "EU", "value": "30"}},
        "placements": [bar("strap", "printed", "full-colour")],
    },
}


def composed(book: Book, asked: dict[str, Any], language: str) -> Card:
    """Return the card of an order in a language."""
    force_setattr(book.bench, "language", language)
    try:
        return bench_cards.compose(book, msgspec.convert(asked, Order))
    finally:
        force_setattr(book.bench, "language", "en")


def pages(card: Card) -> list[str]:
    """Return the words of each page of a card."""
    return [
        re.sub(r"\s+", " ", page.extract_text().replace("\u00a0", " "))
        for page in PdfReader(io.BytesIO(card_pdfs.write(card))).pages
    ]


@pytest.mark.parametrize("language", LANGUAGES if ALL else LANGUAGES[:1])
@pytest.mark.parametrize("name", HARD)
def test_the_longest_of_ordinary_cards_have_one_page(book: Book, name: str, language: str) -> None:
    """With trials of many rungs, two films and all cautions, in the longest language by day and in all by night."""
    card = composed(book, HARD[name], language)
    (page,) = pages(card)
    bare = page.replace(" ", "")
    assert card.verdict == ("trial" if "trial" in name else "ready")
    assert len(card.cautions) > 5
    assert [] == [caution for caution in card.cautions if re.sub(r"\s", "", caution) not in bare]


@pytest.mark.parametrize("language", LANGUAGES if ALL else LANGUAGES[:1])
def test_every_card_of_the_book_has_a_page_for_each_sheet(book: Book, language: str) -> None:
    """All shoes, panels, labels and films of the book, one placement each; by day a few of them."""
    longer = []
    for name, asked in islice(orders(book), 0, None, 1 if ALL else 60):
        try:
            card = composed(book, asked, language)
        except RefusedError:
            continue
        if [sheet for sheet in sheets(card) if not card_pdfs.layout_of(card, sheet).fits]:
            longer.append(name)
    assert [] == longer


def test_ladders_that_are_alike_are_one_trial(book: Book) -> None:
    """Panels of one ladder share a sheet, which names both places; another film has a trial and sheet of its own."""
    placements = [bar("outer-quarter", "smooth", "gorse"), bar("inner-quarter", "smooth", "gorse")]
    placements.append(bar("inner-quarter", "stretch", "pitch", **at(20)))
    asked = {"shoe": walk_in("coated-leather", "outer-quarter", "inner-quarter"), "placements": placements}
    card = composed(book, asked, "en")
    first, other = card.trials
    sheet, last = sheets(card)
    assert first.heading.startswith("Trial first: Outer quarter, Inner quarter, ")
    assert ["Outer quarter:", "Inner quarter:"] == re.findall(r"\w+ quarter:", first.where)
    assert ((1, 2), (2,)) == (first.loadings, other.loadings)
    assert (first.heading, other.heading) == (sheet.heading, last.heading)
    assert ([1, 2, 3, 4], [3, 4]) == tuple([number for number, _ in each.drawings] for each in (sheet, last))
    assert (True, False, False, True) == (sheet.first, sheet.last, last.first, last.last)


def test_rungs_name_uppers_by_letters(book: Book) -> None:
    """What a label allows is listed once; rungs name it by its letter, and a shoe of one upper by its name."""
    (many,) = composed(book, HARD["a trial of three rungs"], "en").trials
    assert [letter for letter, *_ in many.uppers] == ["A", "B", "C"]
    assert many.rungs[0].holds.endswith(": A, B, C.") or many.rungs[0].holds.endswith("as, A, B, C.")
    assert "may harm: C" == many.rungs[1].heat
    known = {**walk_in("leather"), "surface": "suede"}
    (one,) = composed(book, {"shoe": known, "placements": [bar("outer-quarter", "smooth", "gorse")]}, "en").trials
    assert () == one.uppers
    assert "Suede" in one.rungs[0].heat


def test_steps_that_come_again_are_named_by_their_numbers(book: Book) -> None:
    """Steps of an earlier pressing on the same face are said once, but each pressing says that the press is set."""
    first, second = composed(book, HARD["two films on a face"], "en").steps
    assert first.sentences[1] == second.sentences[0]
    assert second.sentences[0].startswith("Set the press to this pressing's settings.")
    named = [sentence for sentence in second.sentences if sentence.startswith("As step")]
    assert named
    assert not set(first.sentences[2:]) & set(second.sentences)
    for sentence in named:
        numbers = [int(number) for number in re.findall(r"\d+", sentence)]
        assert 1 == numbers.pop()
        assert all(2 < number <= len(first.sentences) for number in numbers)
