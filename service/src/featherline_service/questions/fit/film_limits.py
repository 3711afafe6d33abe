"""The finest detail that a film takes: why an artwork cannot be cut and weeded, or printed, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from featherline.wire.measures import Mend
from featherline.wire.records import Film
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import Quantity, Value, quantity_of, said
from featherline_service.quantities import bound, inches, lengths, plain, told_apart
from featherline_service.questions.fit.mends import made
from featherline_service.questions.order import fine_detail
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.order.fine_detail import Flaw
from featherline_service.questions.reasons import reason

_NEXT_TO_LETTERS: Final = 1.0 + 1e-9


def taken_by(book: Book, artwork: SizedArtwork) -> list[Film]:
    """Return the films of the book that take an artwork."""
    return [film for film in book.films.values() if not fine_detail.flaws(film, artwork.figure, artwork.scale)]


def too_fine(book: Book, film: Film, artwork: SizedArtwork, mends: Sequence[Mend]) -> Iterator[Reason]:
    """Yield the details of an artwork that are too fine for a film, and what mends them; that letters were spaced."""
    flaws = fine_detail.flaws(film, artwork.figure, artwork.scale)
    cures = _cures(book, film, artwork, mends) if flaws else {}
    for flaw in flaws:
        yield reason(
            flaw.code,
            flaw.verdict,
            "/artwork",
            said(flaw.code, **_values(film, artwork, flaw), **cures),
            measure=round(flaw.measure, 4),
            limit=flaw.limit,
            unit="mm2" if flaw.code == "fit.fine-island" else "mm",
            evidence="guess" if flaw.code in {"fit.fine-tip", "fit.fine-notch"} else None,
        )
    lettering = artwork.lettering
    if (
        lettering is not None
        and artwork.letter_spacing_mm
        and lettering.setting.letter_spacing != lettering.asked_spacing
    ):
        yield reason(
            "fit.letters-spaced",
            "ready",
            "/artwork/letter_spacing",
            said(
                "fit.letters-spaced",
                added=bound(artwork.letter_spacing_mm, artwork.units, upwards=True),
                letter_spacing=plain(lettering.setting.letter_spacing),
                film=film,
            ),
            measure=artwork.letter_spacing_mm,
            unit="mm",
        )


def _values(film: Film, artwork: SizedArtwork, flaw: Flaw) -> dict[str, Value]:
    """Return the values of a flaw's message, but for what mends it."""
    units = artwork.units
    match flaw.code:
        case "fit.fine-tip" | "fit.fine-notch":
            width = film.finest.stroke_mm if flaw.code == "fit.fine-tip" else film.finest.gap_mm
            return {
                "longest": bound(flaw.measure, units, upwards=True),
                "count": flaw.count,
                "width": bound(width, units, upwards=True),
                "most": bound(flaw.limit, units),
                "verdict": flaw.verdict,
            }
        case "fit.touch":
            return {
                "what": "outlines" if artwork.lettering is None else "letters",
                "points": flaw.count,
                "apart": bound(flaw.limit, units, upwards=True),
            }
        case "fit.fine-island":
            piece, least = _areas(flaw.measure, flaw.limit, units)
            return {"piece": piece, "film": film, "least": least}
        case _:
            measure, limit = lengths(flaw.measure, flaw.limit, units)
            letters = artwork.figure.letters
            between = flaw.code == "fit.fine-gap" and letters is not None and (
                letters.gap * artwork.scale <= flaw.measure * _NEXT_TO_LETTERS
            )  # fmt: skip
            where: dict[str, Value] = {"where": "letters" if between else "anywhere"}
            return {"width": measure, "film": film, "least": limit, **(where if flaw.code == "fit.fine-gap" else {})}


def _cures(book: Book, film: Film, artwork: SizedArtwork, mends: Sequence[Mend]) -> dict[str, Value]:
    """Return what mends an artwork, as values of messages; what does not fit only if nothing else does."""
    fitting = [mend for mend in mends if mend.fits is not False]
    listed = fitting or mends
    best = {mend.kind: mend for mend in reversed(listed)}
    spacing, height = best.get("spacing"), best.get("height")
    return {
        "mended": "here" if fitting else "elsewhere" if mends else "not",
        "made": made(film),
        "sized": artwork.sized_by,
        "added": None if spacing is None else quantity_of(spacing.parameters, "added"),
        "letter_spacing": None if spacing is None else quantity_of(spacing.parameters, "letter_spacing"),
        "height": None if height is None else quantity_of(height.parameters, "height"),
        "fonts": [book.fonts[str(mend.value)] for mend in listed if mend.kind == "font"],
        "films": [book.films[str(mend.value)] for mend in listed if mend.kind == "film" and mend.verdict == "ready"],
    }


def _areas(measure_mm2: float, limit_mm2: float, units: str) -> tuple[Quantity, Quantity]:
    if units == "us":
        return told_apart(inches(inches(measure_mm2)), inches(inches(limit_mm2)), 4, "in2")
    return told_apart(measure_mm2, limit_mm2, 2, "mm2")
