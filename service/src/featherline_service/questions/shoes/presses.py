"""Presses: what a level of pressure means at one, and the lower platen that a shoe goes on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from shapely import MultiPolygon

from featherline.wire.records import Platen, Press, PressureLevel, Pressures
from featherline.wire.shoes import Face
from featherline_service.book.shop_book import Book
from featherline_service.quantities import kilopascals
from featherline_service.questions.checks import Checks
from featherline_service.runtime.cache import kept
from featherline_service.shape.outlines.figures import OUTLINE_TOLERANCE_MM
from featherline_service.shape.outlines.svg import paths

PSI_KPA: Final = kilopascals("1 psi")


def find_press(book: Book, wanted: str | None, checks: Checks) -> Press | None:
    """Return a press, the bench's where none is named; note that it is unknown."""
    return checks.record(book.presses, "press", wanted or book.bench.press, "/press")


def pressure_kpa(pressures: Pressures, level: PressureLevel) -> float:
    """Return the pressure [kPa] that a level means at a press."""
    return {"light": pressures.light_kpa, "medium": pressures.medium_kpa, "firm": pressures.firm_kpa}[level]


def platens_for(book: Book, press: Press, face: Face, inside_length: float | None) -> Iterator[Platen]:
    """Yield the press's platens that present a face and that a shoe goes on, in the book's order.

    A shoe whose inside length [mm] is not known is taken to go on.
    """
    for name in press.platens:
        platen = book.platens[name]
        if face in platen.faces and (inside_length is None or platen.smallest_inside_length_mm <= inside_length):
            yield platen


def first_platen(book: Book, press: Press, face: Face, inside_length: float | None) -> Platen:
    """Return the platen that recipes are resolved for: the first of `platens_for`, or else the press's first."""
    return next(platens_for(book, press, face, inside_length), book.platens[press.platens[0]])


@kept
def pad_outline(outline: str) -> MultiPolygon:
    """Return the outline of a pad cut to order.

    Raises:
        DrawingError: As `paths.region`.
    """
    return paths.region(outline, "nonzero", OUTLINE_TOLERANCE_MM)
