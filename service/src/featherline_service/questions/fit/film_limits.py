"""The finest detail that a film takes: why an artwork cannot be cut and weeded, or printed, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from featherline.wire.measures import Mend
from featherline.wire.records import Film
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.quantities import inches, say_bound, say_lengths, say_numbers
from featherline_service.questions.order import fine_detail
from featherline_service.questions.order.artwork_sizes import SizedArtwork
from featherline_service.questions.order.fine_detail import Flaw

_WIDTHS: Final = {"fit.fine-stroke": "The narrowest stroke", "fit.fine-gap": "The narrowest gap"}
_ADVISED: Final = frozenset({"fit.touch", "fit.fine-tip", "fit.fine-notch"})
"""Flaws whose sentences say what to change in the artwork."""
_NEXT_TO_LETTERS: Final = 1.0 + 1e-9


def taken_by(book: Book, artwork: SizedArtwork) -> list[Film]:
    """Return the films of the book that take an artwork."""
    return [film for film in book.films.values() if not fine_detail.flaws(film, artwork.figure, artwork.scale)]


def too_fine(book: Book, film: Film, artwork: SizedArtwork, mends: Sequence[Mend]) -> Iterator[Reason]:
    """Yield the details of an artwork that are too fine for a film, and what mends them; that letters were spaced."""
    cure = _cure(book, mends) if mends else ""
    uncured = " No letter spacing, height, font or film of the book mends all of it here: change the artwork."
    for flaw in fine_detail.flaws(film, artwork.figure, artwork.scale):
        yield Reason(
            code=flaw.code,
            verdict=flaw.verdict,
            subject="/artwork",
            sentence=f"{_say(film, artwork, flaw)}{cure if mends or flaw.code in _ADVISED else uncured}",
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
        spacing = say_bound(artwork.letter_spacing_mm, artwork.units, upwards=True)
        yield Reason(
            code="fit.letters-spaced",
            verdict="ready",
            subject="/artwork/letter_spacing",
            sentence=f"The letters are set {spacing} further apart than the font has them (letter spacing "
            f"{lettering.setting.letter_spacing:g}), so that {film.name} can be weeded between them.",
            measure=artwork.letter_spacing_mm,
            unit="mm",
        )


def _say(film: Film, artwork: SizedArtwork, flaw: Flaw) -> str:
    if flaw.code in {"fit.fine-tip", "fit.fine-notch"}:
        return _say_tip(film, artwork, flaw)
    if flaw.code == "fit.touch":
        return _say_touch(artwork, flaw)
    if flaw.code == "fit.fine-island":
        piece, least = _say_areas(flaw.measure, flaw.limit, artwork.units)
        return f"The smallest piece has {piece}; {film.name} takes {least}."
    measure, limit = say_lengths(flaw.measure, flaw.limit, artwork.units)
    letters = artwork.figure.letters
    between = flaw.code == "fit.fine-gap" and letters is not None and (
        letters.gap * artwork.scale <= flaw.measure * _NEXT_TO_LETTERS
    )  # fmt: skip
    return f"{_WIDTHS[flaw.code]}{' between letters' if between else ''} is {measure}; {film.name} takes {limit}."


def _say_touch(artwork: SizedArtwork, flaw: Flaw) -> str:
    subject = "Letters touch" if artwork.lettering is not None else "Outlines touch"
    where = "in a point" if flaw.count == 1 else f"in {flaw.count} points"
    apart = say_bound(flaw.limit, artwork.units, upwards=True)
    return f"{subject} {where}, neither joined nor apart: let them overlap, or part them by {apart}."


def _say_tip(film: Film, artwork: SizedArtwork, flaw: Flaw) -> str:
    longest = say_bound(flaw.measure, artwork.units, upwards=True)
    most = say_bound(flaw.limit, artwork.units)
    if flaw.code == "fit.fine-tip":
        feature, width, risk, advice = "tip", film.finest.stroke_mm, "lifts", "blunt it"
    else:
        feature, width, risk, advice = "notch", film.finest.gap_mm, "does not weed clean", "open it"
    many = "" if flaw.count == 1 else f" of {flaw.count}"
    tried = "try it first, or " if flaw.verdict == "trial" else ""
    return (
        f"The longest {feature}{many} is {longest} long where it is narrower than "
        f"{say_bound(width, artwork.units, upwards=True)}; a {feature} longer than {most} {risk} (a guess, no source): "
        f"{tried}{advice}."
    )


def _cure(book: Book, mends: Sequence[Mend]) -> str:
    """Return sentences of what mends an artwork, the films in one; of what does not fit only if nothing else does."""
    fitting = [mend for mend in mends if mend.fits is not False]
    mends = fitting or mends
    said = [mend.sentence for mend in mends if mend.kind != "film"]
    films = [book.films[str(mend.value)].name for mend in mends if mend.kind == "film" and mend.verdict == "ready"]
    if films:
        said.append(f"At this size these films take it: {'; '.join(films)}.")
    if not fitting:
        said.append("So it does not fit where it is asked for: move it, or take another panel.")
    return "".join(f" {sentence}" for sentence in said)


def _say_areas(measure_mm2: float, limit_mm2: float, units: str) -> tuple[str, str]:
    if units == "us":
        measure, limit = say_numbers(inches(inches(measure_mm2)), inches(inches(limit_mm2)), 4)
        return f"{measure} in²", f"{limit} in²"
    measure, limit = say_numbers(measure_mm2, limit_mm2, 2)
    return f"{measure} mm²", f"{limit} mm²"
