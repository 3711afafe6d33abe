"""Mends: changes of a request with which a film takes an artwork that is too fine for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from msgspec.structs import replace

from featherline.wire.measures import Mend
from featherline.wire.records import Film
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import said
from featherline_service.quantities import bound, millimetres, plain, say
from featherline_service.questions.order import fine_detail, letter_spacing
from featherline_service.questions.order.artwork_sizes import LARGEST_ARTWORK_MM, SizedArtwork
from featherline_service.questions.order.fine_detail import Flaw
from featherline_service.questions.verdicts import SEVERITY
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import text_outlines
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.figures import Figure

Fits = Callable[[SizedArtwork], bool]
"""Whether an artwork fits the panel where another is asked for."""
_Change = tuple[int, float]
"""How much a mend changes: whether letters, font or film, and by how much."""


def mends(
    book: Book, film: Film, artwork: SizedArtwork, fits: Fits | None = None, *, most: float = math.inf
) -> tuple[Mend, ...]:
    """Return what mends an artwork for a film, in the order of `featherline.wire.measures.Mends`.

    Args:
        book: The shop book.
        film: The film asked for.
        artwork: The artwork asked for.
        fits: Whether a changed artwork fits the panel; None without a panel.
        most: By how much the artwork may be enlarged for panel and press to take it anywhere.
    """
    now = fine_detail.verdict(fine_detail.flaws(film, artwork.figure, artwork.scale))
    if now == "ready":
        return ()
    listed = [
        *_spacing(film, artwork, fits),
        *_height(film, artwork, now, fits, most),
        *_fonts(book, film, artwork, now, fits),
        *_films(book, film, artwork, now, fits),
    ]
    listed.sort(key=lambda entry: (SEVERITY[entry[1].verdict], entry[1].fits is False, entry[0]))
    return tuple(mend for _, mend in listed)


def _spacing(film: Film, artwork: SizedArtwork, fits: Fits | None) -> Iterator[tuple[_Change, Mend]]:
    wider = letter_spacing.spaced(film, artwork)
    if wider is None or wider.lettering is None or artwork.lettering is None:
        return
    spacing = wider.lettering.setting.letter_spacing
    added = (spacing - artwork.lettering.setting.letter_spacing) * (wider.figure.capital or 0.0) * wider.scale
    yield (
        (0, wider.figure.width * wider.scale / artwork.figure.width / artwork.scale - 1.0),
        Mend(
            kind="spacing",
            subject="/artwork/letter_spacing",
            value=spacing,
            verdict=fine_detail.verdict(fine_detail.flaws(film, wider.figure, wider.scale)),
            fits=None if fits is None else fits(wider),
            **said(
                "mend.spacing",
                added=bound(added, artwork.units, upwards=True),
                letter_spacing=plain(spacing),
                made=made(film),
            )._asdict(),
        ),
    )


def _height(
    film: Film, artwork: SizedArtwork, now: Verdict, fits: Fits | None, most: float
) -> Iterator[tuple[_Change, Mend]]:
    figure = artwork.figure
    largest = min(LARGEST_ARTWORK_MM / max(figure.width, figure.height), most * artwork.scale)

    def better(flaws: tuple[Flaw, ...]) -> bool:
        return _is_better(fine_detail.verdict(flaws), now)

    try:
        scale = fine_detail.smallest_scale(film, figure, artwork.scale, largest, better)
        if scale is None:
            return
        by_letters = artwork.by_letters and figure.capital is not None
        unit = figure.capital if by_letters and figure.capital is not None else figure.height
        height = bound(unit * scale, artwork.units, upwards=True)
        larger = artwork.sized(millimetres(say(height)) / unit)
        flaws = fine_detail.flaws(film, figure, larger.scale)
        if not better(flaws) or larger.scale > largest:
            return
        still_fits = None if fits is None else fits(larger)
    except DrawingError:  # a larger drawing has finer curves
        return
    yield (
        (0, larger.scale / artwork.scale - 1.0),
        Mend(
            kind="height",
            subject="/artwork/letter_height" if artwork.by_letters else "/artwork/height",
            value=say(height),
            verdict=fine_detail.verdict(flaws),
            fits=still_fits,
            **said("mend.height", made=made(film), sized=artwork.sized_by, height=height)._asdict(),
        ),
    )


def _fonts(
    book: Book, film: Film, artwork: SizedArtwork, now: Verdict, fits: Fits | None
) -> Iterator[tuple[_Change, Mend]]:
    lettering = artwork.lettering
    if lettering is None:
        return
    for font, record in book.fonts.items():
        if font == lettering.font:
            continue
        try:
            face = text_outlines.typeface(book.font_files[font])
            other = artwork.lettered(replace(lettering, font=font, face=face))
            if other is None:
                continue
            other_verdict = fine_detail.verdict(fine_detail.flaws(film, other.figure, other.scale))
        except DrawingError:  # the font lacks a character
            continue
        if _is_better(other_verdict, now):
            width = other.figure.width * other.scale / artwork.figure.width / artwork.scale
            yield (
                (1, abs(width - 1.0)),
                Mend(
                    kind="font",
                    subject="/artwork/font",
                    value=font,
                    verdict=other_verdict,
                    fits=None if fits is None else fits(other),
                    **said("mend.font", font=record, made=made(film))._asdict(),
                ),
            )


def _films(
    book: Book, film: Film, artwork: SizedArtwork, now: Verdict, fits: Fits | None
) -> Iterator[tuple[_Change, Mend]]:
    still_fits = None if fits is None else fits(artwork)
    for change, mend in _better_films(book, film, artwork.figure, artwork.scale, now):
        yield change, replace(mend, fits=still_fits)


@cached
def _better_films(
    book: Book, film: Film, figure: Figure, scale: float, now: Verdict
) -> tuple[tuple[_Change, Mend], ...]:
    """Return the films that take a figure better, whatever panel it is for."""
    better = []
    for other in book.films.values():
        verdict = fine_detail.verdict(fine_detail.flaws(other, figure, scale))
        if _is_better(verdict, now):
            change = 2, abs(math.log(other.finest.stroke_mm / film.finest.stroke_mm))
            words = said("mend.film", film=other)._asdict()
            mend = Mend(kind="film", subject="/film", value=other.id, verdict=verdict, fits=None, **words)
            better.append((change, mend))
    return tuple(better)


def _is_better(verdict: Verdict, now: Verdict) -> bool:
    return SEVERITY[verdict] < SEVERITY[now]


def made(film: Film) -> str:
    """Return the word of messages for how an artwork is made of a film."""
    return "cut" if film.cutting is not None else "printed"
