"""The question "which shoes take which films?": a sample text on every panel in every film."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from typing import Final, NamedTuple

from msgspec.structs import replace

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.matrices import MatrixAnswer, MatrixCell, MatrixRequest
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.records import Film, Panel, ShoeModel, SizeRange
from featherline.wire.shoes import BookShoe, Size
from featherline.wire.verdicts import Message
from featherline_service.book.shop_book import Book
from featherline_service.drawing.scene import Scene
from featherline_service.messages.told import told
from featherline_service.quantities import millimetres
from featherline_service.questions.checks import FAULT, Checks, RefusedError
from featherline_service.questions.matrix import pages
from featherline_service.questions.matrix.pages import Box, Page, Row
from featherline_service.questions.quote import quotes
from featherline_service.runtime.engine import ENGINE

SAMPLE_TEXT: Final = "AMY"
SAMPLE_MM: Final = 12.0
MOST_CELLS: Final = 40
"""Panels and films of a request, together: each takes up to a tenth of a second."""
CAUTION: Final = (
    "Computed from records, and no permission: the film maker's sheet, the shoe maker's word and local rules come "
    "first. Try an unknown shoe where it does not show."
)
_STEP_MM: Final = 0.5
"""Steps of letters that a person asks for."""


class Sample(NamedTuple):
    """The text that is tried, how high its letters are wanted [mm], and what the book's first are taken without."""

    text: str = SAMPLE_TEXT
    height_mm: float = SAMPLE_MM
    font: str | None = None
    policy: str | None = None


class _Place(NamedTuple):
    """A panel of a shoe, and a film."""

    shoe: ShoeModel
    panel: Panel
    film: Film


def compose(book: Book, request: MatrixRequest) -> MatrixAnswer:
    """Return which of the shoes of a request take which of its films.

    Raises:
        RefusedError: The request names what the book has not, or more panels and films than are answered at once.
    """
    checks = Checks()
    for index, name in enumerate(request.shoes):
        checks.record(book.shoes, "shoe", name, f"/shoes/{index}")
    for index, name in enumerate(request.films):
        checks.record(book.films, "film", name, f"/films/{index}")
    if request.font is not None:
        checks.record(book.fonts, "font", request.font, "/font")
    height_mm = checks.value(millimetres, request.height, "/height")
    checks.settle()
    assert height_mm is not None  # noqa: S101 - settle has raised where there is none
    cells = sum(1 for _ in _places(book, request.shoes, request.films))
    if cells > MOST_CELLS:
        checks.refuse(
            "/shoes",
            told(
                "matrix.too-many-cells",
                "{cells} panels and films together; name shoes and films for up to {most_cells}",
                cells=cells,
                most_cells=MOST_CELLS,
            ),
        )
    sample = Sample(request.text, height_mm, request.font, request.policy)
    return matrix(book, sample, request.shoes, request.films)


def matrix(
    book: Book, sample: Sample | None = None, shoes: Collection[str] = (), films: Collection[str] = ()
) -> MatrixAnswer:
    """Return which shoes take which films, panel by panel.

    Args:
        book: The shop book.
        sample: The text that is tried.
        shoes: The shoes that are asked for; none: all.
        films: The films that are asked for; none: all.
    """
    sample = sample or Sample()
    return MatrixAnswer(
        name=book.bench.name,
        text=sample.text,
        height_mm=sample.height_mm,
        cells=tuple(_cell(book, sample, place) for place in _places(book, shoes, films)),
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
    )


def draw(book: Book, answer: MatrixAnswer) -> Scene:
    """Return the page that an owner prints."""
    cells = {(cell.shoe, cell.panel, cell.film): cell for cell in answer.cells}
    films = tuple(dict.fromkeys(cell.film for cell in answer.cells))
    rows = dict.fromkeys((cell.shoe, cell.panel) for cell in answer.cells)
    panels = {(shoe.id, panel.id): (shoe.name, panel.name) for shoe in book.shoes.values() for panel in shoe.panels}
    how = (
        f"{answer.text} with letters {answer.height_mm:g} mm high or, where only that is done, as high as fits; one "
        "pair of the middle size. Figures: height of the letters and price; below, the largest letters that fit. By "
        f"the book {answer.book.removeprefix('sha256:')[:16]}."
    )
    return pages.draw(
        Page(
            title=f"Which shoes take which films: {answer.name}",
            sentences=(how, CAUTION),
            films=tuple(book.films[film].name for film in films),
            rows=tuple(
                Row(*panels[shoe, panel], tuple(_box(cells[shoe, panel, film]) for film in films))
                for shoe, panel in rows
            ),
        )
    )


def order_of(  # noqa: PLR0917 - the coordinates of a cell
    book: Book, sample: Sample, shoe: ShoeModel, panel: Panel, film: Film, height_mm: float
) -> Order:
    """Return the order of a pair of shoes with the sample on a panel."""
    font = sample.font or next(iter(book.fonts))
    text = TextArtwork(text=sample.text, font=font, height=f"{height_mm:g} mm", fit_letters="space")
    placement = Placement(panel=panel.id, film=film.id, colour=film.colours[0].id, artwork=text)
    size = Size(system=shoe.sizes.system, value=middle_size(shoe.sizes))
    return Order(shoe=BookShoe(shoe=shoe.id, size=size), placements=(placement,), policy=sample.policy)


def middle_size(sizes: SizeRange) -> str:
    """Return the middle one of sizes that are whole steps apart."""
    return f"{sizes.smallest + (sizes.largest - sizes.smallest) // 2:g}"


def figure(value: float | None) -> str:
    """Return millimetres to a tenth, as short as they can be written; nothing for none."""
    return "" if value is None else f"{value:.1f}".removesuffix(".0")


def _places(book: Book, shoes: Collection[str], films: Collection[str]) -> Iterator[_Place]:
    for shoe in book.shoes.values():
        for panel in shoe.panels if not shoes or shoe.id in shoes else ():
            for film in book.films.values():
                if not films or film.id in films:
                    yield _Place(shoe, panel, film)


def _cell(book: Book, sample: Sample, place: _Place) -> MatrixCell:
    """Return the sample with letters as wanted or, where that is declined, with the largest that fit."""
    wanted = _tried(book, sample, place, sample.height_mm)
    if wanted.verdict != "decline" or wanted.largest_mm is None:
        return wanted
    largest_mm = _STEP_MM * math.floor(wanted.largest_mm / _STEP_MM)
    if largest_mm in {0.0, sample.height_mm}:
        return wanted
    other = _tried(book, sample, place, largest_mm)
    return wanted if other.verdict == "decline" else other


def _tried(book: Book, sample: Sample, place: _Place, height_mm: float) -> MatrixCell:
    try:
        quote = quotes.compose(book, order_of(book, sample, *place, height_mm))
    except RefusedError as error:
        fault = error.faults[0]
        return MatrixCell(
            shoe=place.shoe.id,
            panel=place.panel.id,
            film=place.film.id,
            verdict="decline",
            fault=fault.detail,
            fault_message=Message(sentence=fault.detail, message=f"{FAULT}{fault.code}", parameters=fault.parameters),
        )
    return _told(quote, place, height_mm)


def _told(quote: QuoteAnswer, place: _Place, height_mm: float) -> MatrixCell:
    fit = quote.placements[0].fit
    total = None if quote.price is None else quote.price.total
    if quote.price is not None and quote.price.tax is not None:
        total = quote.price.tax.gross
    return MatrixCell(
        shoe=place.shoe.id,
        panel=place.panel.id,
        film=place.film.id,
        verdict=quote.verdict,
        letters_mm=height_mm,
        largest_mm=None if fit.largest is None else fit.largest.letter_height_mm,
        price=total,
        setting=quote.pressings[0].recipe.setting if quote.pressings else None,
        reasons=tuple(
            replace(reason, subject="") if reason.subject.startswith("/") else reason for reason in quote.reasons
        ),
    )


def _box(cell: MatrixCell) -> Box:
    if cell.verdict == "decline":
        return Box(cell.verdict, "no", cell.reasons[0].code if cell.reasons else "")
    price = "" if cell.price is None else f", {cell.price.amount} {cell.price.currency}"
    largest = "" if cell.largest_mm is None else f"up to {cell.largest_mm:.0f} mm"
    return Box(cell.verdict, f"{figure(cell.letters_mm)} mm{price}", largest)
