"""The matrix of shoes and films as JSON, CSV and a picture."""

from __future__ import annotations

import csv
import io
from typing import Final

import msgspec

from featherline.wire.matrices import MatrixAnswer, MatrixCell
from featherline_service.book.shop_book import Book
from featherline_service.drawing.media import svg
from featherline_service.questions.matrix.matrices import draw, figure

_COLUMNS: Final = (
    "shoe", "panel", "film", "verdict", "letters_mm", "largest_mm", "price", "currency", "temperature_c", "dwell_s",
    "pressure", "cover", "because", "sentence",
)  # fmt: skip


def as_json(answer: MatrixAnswer) -> str:
    """Return the matrix as JSON."""
    return msgspec.json.format(msgspec.json.encode(answer), indent=2).decode() + "\n"


def as_csv(answer: MatrixAnswer) -> str:
    """Return the matrix as CSV, a row for each panel and film."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for cell in answer.cells:
        price, setting = cell.price, cell.setting
        writer.writerow(
            (
                cell.shoe,
                cell.panel,
                cell.film,
                cell.verdict,
                *(figure(value) for value in (cell.letters_mm, cell.largest_mm)),
                *(("", "") if price is None else (price.amount, price.currency)),
                *(
                    ("", "", "", "")
                    if setting is None
                    else (setting.temperature_c, setting.dwell_s, setting.pressure, setting.cover or "")
                ),
                " ".join(dict.fromkeys(reason.code for reason in cell.reasons)),
                sentence(cell),
            )
        )
    return text.getvalue()


def as_svg(book: Book, answer: MatrixAnswer) -> str:
    """Return the matrix as the page that an owner prints."""
    return svg.write(draw(book, answer))


def sentence(cell: MatrixCell) -> str:
    """Return the worst reason of a cell in words, or why the sample cannot be drawn."""
    return cell.fault or (cell.reasons[0].sentence if cell.reasons else "")
