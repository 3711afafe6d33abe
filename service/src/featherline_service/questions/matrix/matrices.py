"""The question "which shoes take which films?": a sample text on every panel in every film."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Final

from msgspec import Struct

from featherline.wire.artworks import TextArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.money import Money
from featherline.wire.quotes import QuoteAnswer
from featherline.wire.recipes import Setting
from featherline.wire.records import Film, Panel, ShoeModel, SizeRange
from featherline.wire.shoes import BookShoe, Size
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import quotes

SAMPLE_TEXT: Final = "AMY"
SAMPLE_MM: Final = 12.0
_STEP_MM: Final = 0.5
"""Steps of letters that a person asks for."""


class Sample(Struct, frozen=True, kw_only=True):
    """The text that is tried, and how high its letters are wanted; the first font of the book if none is named."""

    text: str = SAMPLE_TEXT
    height_mm: float = SAMPLE_MM
    font: str | None = None


class Cell(Struct, frozen=True, kw_only=True):
    """The sample on a panel in a film, a pair of shoes of the middle size.

    `letters_mm` is how high the letters are that verdict, setting and price are for: as wanted or, where only that is
    done, as high as fits.
    `largest_mm` is the largest that fits, None where none does. `because` are the codes of the reasons, the worst
    first, and `sentence` is the first of them in words.
    """

    shoe: str
    panel: str
    film: str
    verdict: Verdict
    letters_mm: float | None = None
    largest_mm: float | None = None
    price: Money | None = None
    setting: Setting | None = None
    because: tuple[str, ...] = ()
    sentence: str = ""


class Matrix(Struct, frozen=True, kw_only=True):
    """Which shoes take which films, by the book of a revision."""

    name: str
    book: str
    sample: Sample
    cells: tuple[Cell, ...]


def matrix(
    book: Book, sample: Sample | None = None, shoes: Collection[str] = (), films: Collection[str] = ()
) -> Matrix:
    """Return which shoes take which films, panel by panel.

    Args:
        book: The shop book.
        sample: The text that is tried.
        shoes: The shoes that are asked for; none: all.
        films: The films that are asked for; none: all.
    """
    sample = sample or Sample()
    return Matrix(
        name=book.bench.name,
        book=book.revision,
        sample=sample,
        cells=tuple(
            _cell(book, sample, shoe, panel, film)
            for shoe in book.shoes.values()
            if not shoes or shoe.id in shoes
            for panel in shoe.panels
            for film in book.films.values()
            if not films or film.id in films
        ),
    )


def order_of(  # noqa: PLR0917 - the coordinates of a cell
    book: Book, sample: Sample, shoe: ShoeModel, panel: Panel, film: Film, height_mm: float
) -> Order:
    """Return the order of a pair of shoes with the sample on a panel."""
    text = TextArtwork(
        text=sample.text, font=sample.font or next(iter(book.fonts)), height=f"{height_mm:g} mm", fit_letters="space"
    )
    placement = Placement(panel=panel.id, film=film.id, colour=film.colours[0].id, artwork=text)
    size = Size(system=shoe.sizes.system, value=middle_size(shoe.sizes))
    return Order(shoe=BookShoe(shoe=shoe.id, size=size), placements=(placement,))


def _cell(book: Book, sample: Sample, shoe: ShoeModel, panel: Panel, film: Film) -> Cell:
    """Return the sample with letters as wanted or, where that is declined, with the largest that fit."""
    wanted = _tried(book, sample, shoe, panel, film, sample.height_mm)
    if wanted.verdict != "decline" or wanted.largest_mm is None:
        return wanted
    largest_mm = _STEP_MM * math.floor(wanted.largest_mm / _STEP_MM)
    if largest_mm in {0.0, sample.height_mm}:
        return wanted
    other = _tried(book, sample, shoe, panel, film, largest_mm)
    return wanted if other.verdict == "decline" else other


def _tried(  # noqa: PLR0917 - the coordinates of a cell
    book: Book, sample: Sample, shoe: ShoeModel, panel: Panel, film: Film, height_mm: float
) -> Cell:
    try:
        quote = quotes.compose(book, order_of(book, sample, shoe, panel, film, height_mm))
    except RefusedError as error:
        return Cell(shoe=shoe.id, panel=panel.id, film=film.id, verdict="decline", sentence=error.faults[0].detail)
    return _told(quote, shoe, panel, film, height_mm)


def _told(quote: QuoteAnswer, shoe: ShoeModel, panel: Panel, film: Film, height_mm: float) -> Cell:
    fit = quote.placements[0].fit
    largest_mm = None if fit.largest is None else fit.largest.letter_height_mm
    total = None if quote.price is None else quote.price.total
    if quote.price is not None and quote.price.tax is not None:
        total = quote.price.tax.gross
    return Cell(
        shoe=shoe.id,
        panel=panel.id,
        film=film.id,
        verdict=quote.verdict,
        letters_mm=height_mm,
        largest_mm=largest_mm,
        price=total,
        setting=quote.pressings[0].recipe.setting if quote.pressings else None,
        because=tuple(dict.fromkeys(reason.code for reason in quote.reasons)),
        sentence=quote.reasons[0].sentence if quote.reasons else "",
    )


def middle_size(sizes: SizeRange) -> str:
    """Return the middle one of sizes that are whole steps apart."""
    return f"{sizes.smallest + (sizes.largest - sizes.smallest) // 2:g}"
