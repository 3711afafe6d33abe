"""Drawings of a shop book: checks at the start that every panel and every platen can be drawn."""

from __future__ import annotations

from collections.abc import Iterator

from featherline.wire.records import Panel
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.shop_book import Book
from featherline_service.questions.shoes.panels import panel_area
from featherline_service.questions.shoes.presses import pad_outline
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths


def draw(book: Book) -> None:
    """Draw every panel at its reference size and every platen with an outline, so that the caches have them.

    Raises:
        BookError: Some cannot be drawn; the error lists all.
    """
    faults = tuple(_undrawable(book))
    if faults:
        raise BookError(faults)


def _undrawable(book: Book) -> Iterator[BookFault]:
    for shoe in book.shoes.values():
        for index, panel in enumerate(shoe.panels):
            try:
                panel_area(panel, 1.0, 1.0)
            except DrawingError:
                for key, advice in _broken(panel):
                    yield BookFault("shoes", shoe.id, f"panels[{index}].{key}", advice)
    for platen in book.platens.values():
        if platen.outline is not None:
            try:
                pad_outline(platen.outline)
            except DrawingError as error:
                yield BookFault("platens", platen.id, "outline", str(error))


def _broken(panel: Panel) -> Iterator[tuple[str, str]]:
    """Yield key and advice for the drawings of a panel that cannot be drawn."""
    drawings = {"outline": panel.outline} | {f"keep_outs[{i}].d": one.d for i, one in enumerate(panel.keep_outs)}
    for key, data in drawings.items():
        try:
            paths.region(data, "nonzero", 1.0)
        except DrawingError as error:
            yield key, str(error)
