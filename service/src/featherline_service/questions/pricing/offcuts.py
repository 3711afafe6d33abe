"""The offcuts of a request and of the book, as the film of an order is cut from them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import shapely

from featherline.wire import records
from featherline.wire.costs import OfferedOffcut
from featherline.wire.shoes import Rectangle, Traced
from featherline_service.book.shop_book import Book
from featherline_service.cost.film import Offcut
from featherline_service.cost.nesting.offcut_packing import Outline
from featherline_service.messages.told import measured, told
from featherline_service.quantities import millimetres
from featherline_service.questions.checks import Checks, not_in_film
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths

LotKey = tuple[str, str]
"""A film and its colour, by their ids."""
Offcuts = tuple[tuple[LotKey, tuple[Offcut, ...]], ...]
"""The offcuts of films and colours, hashable."""

_LONGEST_MM: Final = 10_000.0
"""No offcut is longer: it keeps a slip of the keyboard from asking for a roll."""

_TOLERANCE_MM: Final = 0.05
"""How far a traced curve may be drawn from its chords: a tenth of what scissors keep to (our judgement)."""


def offered(book: Book, offcuts: Sequence[OfferedOffcut], checks: Checks) -> dict[LotKey, tuple[Offcut, ...]]:
    """Return the offcuts of a request by film and colour; note what is wrong with them, each at its pointer."""
    by_lot: dict[LotKey, tuple[Offcut, ...]] = {}
    names: set[str] = set()
    for index, entry in enumerate(offcuts):
        at = f"/offcuts/{index}"
        if entry.id in names or entry.id in book.offcuts:
            where = "in the request" if entry.id in names else "in the book"
            checks.note(
                f"{at}/id",
                told(
                    "offcut.id-taken",
                    "There is an offcut {id!r} {where} already: give this one another id",
                    id=entry.id,
                    where=where,
                ),
            )
        names.add(entry.id)
        film = checks.record(book.films, "film", entry.film, f"{at}/film")
        if film is not None and all(colour.id != entry.colour for colour in film.colours):
            checks.note(f"{at}/colour", not_in_film(film, entry.colour))
        match entry.shape:
            case Rectangle(width=width, height=height):
                offcut = _rectangle(entry.id, width, height, f"{at}/shape", checks)
            case Traced(d=data):
                offcut = _traced(entry.id, data, f"{at}/shape/d", checks)
        if offcut is not None:
            by_lot[entry.film, entry.colour] = (*by_lot.get((entry.film, entry.colour), ()), offcut)
    return by_lot


def of_book(book: Book, film: str, colour: str) -> tuple[Offcut, ...]:
    """Return the offcuts that the book has of a film and colour.

    Raises:
        RefusedError: an outline in the book is none.
    """
    checks = Checks()
    lying_ready = [
        _drawn(offcut, checks) for offcut in book.offcuts.values() if (offcut.film, offcut.colour) == (film, colour)
    ]
    checks.settle()
    return tuple(offcut for offcut in lying_ready if offcut is not None)


def _drawn(offcut: records.Offcut, checks: Checks) -> Offcut | None:
    if offcut.outline is None:
        return Offcut(id=offcut.id, width_mm=offcut.width_mm, height_mm=offcut.height_mm)
    return _traced(offcut.id, offcut.outline, "", checks)


def _rectangle(name: str, width: str, height: str, at: str, checks: Checks) -> Offcut | None:
    sides = [checks.value(millimetres, text, f"{at}/{side}") for side, text in (("width", width), ("height", height))]
    if sides[0] is None or sides[1] is None:
        return None
    if max(sides[0], sides[1]) > _LONGEST_MM:
        checks.note(
            at,
            told(
                "offcut.too-long",
                "No offcut is that long: give at most {longest} either way",
                longest=measured(_LONGEST_MM, "mm"),
            ),
        )
        return None
    return Offcut(id=name, width_mm=sides[0], height_mm=sides[1])


def _traced(name: str, data: str, at: str, checks: Checks) -> Offcut | None:
    try:
        if max(paths.extent(data)) > _LONGEST_MM:
            checks.note(
                at,
                told(
                    "offcut.too-long",
                    "The offcut {name} is longer than {longest}: trace it in millimetres",
                    name=name,
                    longest=measured(_LONGEST_MM, "mm"),
                ),
            )
            return None
        outline = _outline(data)
    except DrawingError as error:
        checks.note(
            at, told("offcut.undrawable", "The offcut {name} cannot be drawn. {error}", name=name, error=str(error))
        )
        return None
    if outline is None:
        checks.note(
            at,
            told(
                "offcut.not-one-piece",
                "The offcut {name} is not one piece without holes: trace its outer edge alone",
                name=name,
            ),
        )
        return None
    across, along = zip(*outline, strict=True)
    return Offcut(id=name, width_mm=max(across) - min(across), height_mm=max(along) - min(along), outline=outline)


@cached
def _outline(data: str) -> Outline | None:
    """Return the corners of a drawing that is one piece without holes; None for any other."""
    region = paths.region(data, "nonzero", _TOLERANCE_MM)
    parts = [part for part in shapely.get_parts(region) if part.area > 0.0]
    if len(parts) != 1 or parts[0].interiors:
        return None
    return tuple((float(x), float(y)) for x, y in parts[0].exterior.coords[:-1])
