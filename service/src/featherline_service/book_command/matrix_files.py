"""The matrix of shoes and films as JSON, CSV and a picture."""

from __future__ import annotations

import csv
import io
from typing import Final

import msgspec

from featherline_service.book.shop_book import Book
from featherline_service.drawing import svg
from featherline_service.questions.matrix.matrices import Cell, Matrix
from featherline_service.questions.matrix.pages import Box, Page, Row, draw

_COLUMNS: Final = (
    "shoe", "panel", "film", "verdict", "letters_mm", "largest_mm", "price", "currency", "temperature_c", "dwell_s",
    "pressure", "cover", "because", "sentence",
)  # fmt: skip
CAUTION: Final = (
    "Computed from records, and no permission: the film maker's sheet, the shoe maker's word and local rules come "
    "first. Try an unknown shoe where it does not show."
)


def as_json(matrix: Matrix) -> str:
    """Return the matrix as JSON."""
    return msgspec.json.format(msgspec.json.encode(matrix), indent=2).decode() + "\n"


def as_csv(matrix: Matrix) -> str:
    """Return the matrix as CSV, a row for each panel and film."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for cell in matrix.cells:
        price, setting = cell.price, cell.setting
        writer.writerow(
            (
                cell.shoe,
                cell.panel,
                cell.film,
                cell.verdict,
                *(_figure(value) for value in (cell.letters_mm, cell.largest_mm)),
                *(("", "") if price is None else (price.amount, price.currency)),
                *(
                    ("", "", "", "")
                    if setting is None
                    else (setting.temperature_c, setting.dwell_s, setting.pressure, setting.cover or "")
                ),
                " ".join(cell.because),
                cell.sentence,
            )
        )
    return text.getvalue()


def as_svg(book: Book, matrix: Matrix) -> str:
    """Return the matrix as the page that an owner prints."""
    cells = {(cell.shoe, cell.panel, cell.film): cell for cell in matrix.cells}
    films = tuple(dict.fromkeys(cell.film for cell in matrix.cells))
    rows = dict.fromkeys((cell.shoe, cell.panel) for cell in matrix.cells)
    panels = {(shoe.id, panel.id): (shoe.name, panel.name) for shoe in book.shoes.values() for panel in shoe.panels}
    sample = matrix.sample
    how = (
        f"{sample.text} with letters {sample.height_mm:g} mm high or, where only that is done, as high as fits; one "
        "pair of the middle size. Figures: height of the letters and price; below, the largest letters that fit. By "
        f"the book {matrix.book.removeprefix('sha256:')[:16]}."
    )
    page = Page(
        title=f"Which shoes take which films: {matrix.name}",
        sentences=(how, CAUTION),
        films=tuple(book.films[film].name for film in films),
        rows=tuple(
            Row(*panels[shoe, panel], tuple(_box(cells[shoe, panel, film]) for film in films)) for shoe, panel in rows
        ),
    )
    return svg.write(draw(page))


def _box(cell: Cell) -> Box:
    if cell.verdict == "decline":
        return Box(cell.verdict, "no", cell.because[0] if cell.because else "")
    price = "" if cell.price is None else f", {cell.price.amount} {cell.price.currency}"
    largest = "" if cell.largest_mm is None else f"up to {cell.largest_mm:.0f} mm"
    return Box(cell.verdict, f"{_figure(cell.letters_mm)} mm{price}", largest)


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}".removesuffix(".0")
