"""The finest detail that a film takes: which artwork can be cut and weeded, or printed, and from which height."""

from __future__ import annotations

import math
from collections.abc import Iterator

from featherline.wire.records import Film
from featherline.wire.verdicts import Reason, ReasonCode
from featherline_service.book.shop_book import Book
from featherline_service.quantities import inches, say_lengths, say_numbers
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.shape.outlines.widths import Detail


def enlargement(film: Film, detail: Detail) -> float:
    """Return the least factor to enlarge an artwork by for a film to take it; one or less: it takes it as it is."""
    finest = film.finest
    return max(
        finest.stroke_mm / detail.stroke,
        0.0 if detail.gap is None else finest.gap_mm / detail.gap,
        math.sqrt(finest.island_mm2 / detail.island),
    )


def taken_by(book: Book, detail: Detail) -> list[Film]:
    """Return the films of the book that take an artwork."""
    return [film for film in book.films.values() if enlargement(film, detail) <= 1.0]


def too_fine(book: Book, film: Film, artwork: SizedArtwork) -> Iterator[Reason]:
    """Yield the details of an artwork that are too fine for a film, and the height or the films that they need."""
    detail, finest = artwork.detail, film.finest
    widths: tuple[tuple[ReasonCode, str, float | None, float], ...] = (
        ("fit.fine-stroke", "narrowest stroke", detail.stroke, finest.stroke_mm),
        ("fit.fine-gap", "narrowest gap", detail.gap, finest.gap_mm),
    )
    for code, what, measure, limit in widths:
        if measure is not None and measure < limit:
            found, needed = say_lengths(measure, limit, artwork.units)
            yield Reason(
                code=code,
                verdict="decline",
                subject="/artwork",
                sentence=f"The {what} is {found}; {film.name} takes {needed}. {_cure(book, film, artwork)}",
                measure=round(measure, 4),
                limit=limit,
                unit="mm",
            )
    if detail.island < finest.island_mm2:
        found, needed = _say_areas(detail.island, finest.island_mm2, artwork.units)
        yield Reason(
            code="fit.fine-island",
            verdict="decline",
            subject="/artwork",
            sentence=f"The smallest piece has {found}; {film.name} takes {needed}. {_cure(book, film, artwork)}",
            measure=round(detail.island, 4),
            limit=finest.island_mm2,
            unit="mm2",
        )


def _cure(book: Book, film: Film, artwork: SizedArtwork) -> str:
    """Return from which height the film takes the artwork, and which other films take it as it is."""
    made = "cut and weeded" if film.cutting is not None else "printed"
    larger = artwork.high(artwork.scale * enlargement(film, artwork.detail), upwards=True)
    others = [other.name for other in taken_by(book, artwork.detail)]
    also = f" At this size these films take it: {'; '.join(others)}." if others else ""
    return f"It can be {made} from {larger}.{also}"


def _say_areas(area_mm2: float, limit_mm2: float, units: str) -> tuple[str, str]:
    if units == "us":
        area, limit = say_numbers(inches(inches(area_mm2)), inches(inches(limit_mm2)), 4)
        return f"{area} in²", f"{limit} in²"
    area, limit = say_numbers(area_mm2, limit_mm2, 2)
    return f"{area} mm²", f"{limit} mm²"
