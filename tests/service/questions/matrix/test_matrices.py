from __future__ import annotations

import pytest

from featherline.wire.matrices import MatrixCell, MatrixRequest
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.drawing.scene import Words
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.matrix.matrices import (
    MOST_CELLS,
    Sample,
    compose,
    draw,
    matrix,
    middle_size,
    order_of,
)
from featherline_service.questions.quote import quotes


@pytest.fixture(scope="module")
def book() -> Book:
    """Return the demo book."""
    return load()


def cell(book: Book, shoe: str, panel: str, film: str, sample: Sample | None = None) -> MatrixCell:
    """Return one cell of the matrix."""
    return next(one for one in matrix(book, sample, [shoe], [film]).cells if one.panel == panel)


def test_a_cell_is_the_quote_of_its_order(book: Book) -> None:
    """Verdict, setting and price are those that the order gets by itself."""
    shoe, film = book.shoes["regatta-deck"], book.films["smooth"]
    quote = quotes.compose(book, order_of(book, Sample(), shoe, shoe.panels[0], film, 12.0))
    found = cell(book, "regatta-deck", "outer-quarter", "smooth")
    assert quote.price is not None
    assert (quote.verdict, quote.price.total, quote.pressings[0].recipe.setting, 12.0) == (
        found.verdict, found.price, found.setting, found.letters_mm,
    )  # fmt: skip
    assert quote.placements[0].fit.largest is not None
    assert quote.placements[0].fit.largest.letter_height_mm == found.largest_mm


def test_letters_that_do_not_fit_are_tried_as_large_as_they_do(book: Book) -> None:
    """A text too long for a strap is done smaller, and the letters say how high."""
    found = cell(book, "regatta-deck", "heel", "smooth", Sample(text="MARLOW"))
    assert found.letters_mm is not None
    assert ("ready", True) == (found.verdict, found.letters_mm < 12.0)
    assert found.largest_mm is not None
    assert 0.0 <= found.largest_mm - found.letters_mm < 5.0


def test_letters_too_fine_for_a_film_are_tried_larger(book: Book) -> None:
    """Flake film takes no letters of 12 mm; where larger ones fit, they are what is done."""
    found = cell(book, "regatta-deck", "outer-quarter", "flake", Sample(text="I", height_mm=12.0))
    assert found.letters_mm is not None
    assert found.letters_mm > 12.0 or found.verdict != "decline"


def test_letters_that_are_the_largest_already_are_tried_once(book: Book) -> None:
    """Foam takes no film at any height, as large as wanted."""
    largest_mm = cell(book, "ward-clog", "toe", "smooth").largest_mm
    assert largest_mm is not None
    found = cell(book, "ward-clog", "toe", "smooth", Sample(height_mm=0.5 * (largest_mm // 0.5)))
    assert ("decline", "heat.no-window") == (found.verdict, found.reasons[0].code)


def test_what_cannot_be_asked_is_declined_with_its_fault(book: Book) -> None:
    """A sample that no font has is told in words, not raised."""
    found = cell(book, "regatta-deck", "outer-quarter", "smooth", Sample(text="\u4e00"))
    assert ("decline", None) == (found.verdict, found.letters_mm)
    assert found.fault


def test_the_matrix_has_every_panel_in_every_film(book: Book) -> None:
    """Shoes and films may be chosen; of what is chosen nothing is left out."""
    found = matrix(book, shoes=["quay-sandal"], films=["smooth", "flock"])
    assert [("front-strap", "flock"), ("front-strap", "smooth")] == [(one.panel, one.film) for one in found.cells[:2]]
    assert 2 * len(book.shoes["quay-sandal"].panels) == len(found.cells)


def test_the_size_is_the_middle_one(book: Book) -> None:
    """Of EU 36 to 47 it is 41, a size that the shoe is made in."""
    assert "41" == middle_size(book.shoes["regatta-deck"].sizes)


def test_a_request_names_what_the_book_has(book: Book) -> None:
    """Unknown shoes, films, fonts and heights are refused together, each with its pointer."""
    request = MatrixRequest(shoes=("quay-sandal", "slipper"), films=("cork",), font="runes", height="tall")
    with pytest.raises(RefusedError) as refused:
        compose(book, request)
    assert ["/shoes/1", "/films/0", "/font", "/height"] == [fault.pointer for fault in refused.value.faults]


def test_a_request_is_of_so_many_cells(book: Book) -> None:
    """The whole demo book is more than is answered at once."""
    with pytest.raises(
        RefusedError, match=f"312 panels and films together; name shoes and films for up to {MOST_CELLS}"
    ):
        compose(book, MatrixRequest())


def test_an_answer_is_the_matrix_of_its_request(book: Book) -> None:
    """The sample, the policy and what is asked for are those of the request, and so is the page."""
    request = MatrixRequest(text="M", height="1 cm", shoes=("quay-sandal",), films=("smooth",), policy="letters")
    answer = compose(book, request)
    assert ("M", 10.0, book.revision) == (answer.text, answer.height_mm, answer.book)
    assert matrix(book, Sample("M", 10.0, None, "letters"), ["quay-sandal"], ["smooth"]) == answer
    assert "M with letters 10 mm high" in " ".join(
        item.text for item in draw(book, answer).items if isinstance(item, Words)
    )
