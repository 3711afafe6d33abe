"""Films that are on a shoe already: layers of its upper, under a new film or beside it."""

from __future__ import annotations

from msgspec.structs import replace

from featherline.wire.recipes import OldMarks
from featherline.wire.records import Film, Layer, Upper
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks


def check_old_marks(book: Book, marks: OldMarks, checks: Checks) -> None:
    """Note old marks of unknown films, and more than one under the new film."""
    for at, mark in enumerate(marks):
        checks.record(book.films, "film", mark.film, f"/old_marks/{at}/film")
    if sum(mark.under for mark in marks) > 1:
        checks.note("/old_marks", "One old mark at most lies under the new film: name the one that it meets")


def marked_upper(book: Book, upper: Upper, film_id: str) -> Upper:
    """Return an upper with a film on it: the film's layers, its adhesive bonded to the upper's face, then the upper's.

    The film's longest dwell is for its first pressing; a second one is limited by what its layers stand.
    """
    film = book.films[film_id]
    old = tuple(replace(layer, name=old_name(film, layer)) for layer in film.layers)
    face = replace(upper.layers[0], bonded=True)
    return replace(upper, layers=(*old, face, *upper.layers[1:]))


def old_name(film: Film, layer: Layer) -> str:
    """Return the name of a film's layer once the film is on the shoe."""
    return f"old {film.family} {layer.name}"
