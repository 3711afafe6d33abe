"""Films that are on a shoe already: layers of its upper, under a new film or beside it."""

from __future__ import annotations

import shapely
from msgspec.structs import replace
from shapely import MultiPolygon

from featherline.wire.recipes import OldMark, OldMarks
from featherline.wire.records import Film, Layer, Upper
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import measured, told
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.panels import LONGEST_PANEL_MM
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import OUTLINE_TOLERANCE_MM
from featherline_service.shape.outlines.svg import paths


def check_old_marks(book: Book, marks: OldMarks, checks: Checks) -> None:
    """Note old marks of unknown films, and more than one under the new film."""
    for at, mark in enumerate(marks):
        checks.record(book.films, "film", mark.film, f"/old_marks/{at}/film")
    if sum(mark.under for mark in marks) > 1:
        checks.note(
            "/old_marks",
            told("old-marks.too-many", "One old mark at most lies under the new film: name the one that it meets"),
        )


def read_outlines(marks: OldMarks, centre: tuple[float, float], checks: Checks) -> tuple[MultiPolygon | None, ...]:
    """Return the regions of old marks in the millimetres of a panel's drawing, None where no outline is given.

    Note outlines that cannot be drawn, or are larger than any panel. `centre` is the panel's.
    """
    return tuple(_region(mark, centre, checks.under(f"/old_marks/{at}")) for at, mark in enumerate(marks))


def _region(mark: OldMark, centre: tuple[float, float], checks: Checks) -> MultiPolygon | None:
    if mark.outline is None:
        return None
    try:
        if max(paths.extent(mark.outline)) <= LONGEST_PANEL_MM:
            return _moved(mark.outline, centre)
        checks.note(
            "/outline",
            told(
                "old-marks.too-large",
                "The mark is larger than {longest_panel}: draw it in millimetres",
                longest_panel=measured(LONGEST_PANEL_MM, "mm"),
            ),
        )
    except DrawingError as error:
        checks.note("/outline", error.told)
    return None


@cached
def _moved(outline: str, centre: tuple[float, float]) -> MultiPolygon:
    drawn = paths.region(outline, "nonzero", OUTLINE_TOLERANCE_MM)
    return shapely.transform(drawn, lambda points: points + centre)


def marked_upper(book: Book, upper: Upper, film_id: str, *, is_new: bool = False) -> Upper:
    """Return an upper with a film on it: the film's layers, its adhesive bonded to the upper's face, then the upper's.

    The film's longest dwell is for its first pressing; a second one is limited by what its layers stand. `is_new` is
    said of a film of the same order.
    """
    film = book.films[film_id]
    old = tuple(replace(layer, name=old_name(film, layer, is_new=is_new)) for layer in film.layers)
    face = replace(upper.layers[0], bonded=True)
    return replace(upper, layers=(*old, face, *upper.layers[1:]))


def old_name(film: Film, layer: Layer, *, is_new: bool = False) -> str:
    """Return the name of a film's layer once the film is on the shoe; `is_new` of a film of the same order."""
    return f"{layer.name} of the {film.family} film pressed before" if is_new else f"old {film.family} {layer.name}"
