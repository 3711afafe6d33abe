"""The question "what is this artwork like, and which films take it?"."""

from __future__ import annotations

import math
from collections.abc import Sequence

from featherline.wire.artworks import TextArtwork
from featherline.wire.measures import ArtworkAnswer, ArtworkRequest, FilmVerdict, Proportions, Smallest
from featherline.wire.records import Film
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.questions.fit.film_limits import taken_by, too_fine
from featherline_service.questions.fit.mends import mends
from featherline_service.questions.fit.reach import largest_held
from featherline_service.questions.order import fine_detail, letter_spacing
from featherline_service.questions.order.artwork_sizes import LARGEST_ARTWORK_MM, SizedArtwork, find_artwork, measures
from featherline_service.questions.verdicts import worst, worst_first
from featherline_service.runtime.engine import ENGINE
from featherline_service.shape.outlines.curves import DrawingError


def measure(book: Book, request: ArtworkRequest) -> ArtworkAnswer:
    """Return what an artwork is like at its height, and which films can be cut and weeded to it from which height.

    Raises:
        RefusedError: The request names what the book has not, or an artwork that cannot be drawn; with all its faults.
    """
    checks = Checks()
    films: Sequence[Film] = tuple(book.films.values())
    if request.film is not None:
        named = checks.record(book.films, "film", request.film, "/film")
        films = () if named is None else (named,)
    artwork = find_artwork(book, request.artwork, request.units, checks)
    if artwork is not None and artwork.largest is not None:
        checks.note(
            "/artwork/letter_height",
            told(
                "artwork.largest-without-place",
                "How large it fits depends on its place: give a height, or ask for a fit",
            ),
        )
    if isinstance(request.artwork, TextArtwork) and request.artwork.fit_letters == "space" and request.film is None:
        checks.note(
            "/artwork/fit_letters",
            told("artwork.fit-letters-without-film", "Name the `film` whose finest gap the letters are spaced for"),
        )
    checks.settle()
    assert artwork is not None  # noqa: S101 - settle has raised where there is none
    if request.film is not None:
        artwork = letter_spacing.fitted(films[0], artwork)
    most = _most_enlarged(book, artwork)
    smallest = {film.id: _smallest_scale(film, artwork, most) for film in films}
    return ArtworkAnswer(
        artwork=measures(artwork),
        proportions=_proportions(artwork),
        films=tuple(
            _verdict(book, film, artwork, smallest[film.id], most)
            for film in sorted(films, key=lambda film: smallest[film.id] or math.inf)
        ),
        taken_by=tuple(film.id for film in taken_by(book, artwork)),
        book=book.revision,
        book_until=book.until,
        engine=ENGINE,
    )


def _proportions(artwork: SizedArtwork) -> Proportions:
    figure, detail = artwork.figure, artwork.figure.detail.scaled(1.0 / artwork.figure.height)
    return Proportions(
        width=_significant(figure.width / figure.height),
        letter_height=None if figure.capital is None else _significant(figure.capital / figure.height),
        area=_significant(detail.area),
        cut_length=_significant(detail.cut_length),
        narrowest_stroke=_significant(detail.stroke),
        narrowest_gap=None if detail.gap is None else _significant(detail.gap),
        narrowest_counter=None if detail.counter is None else _significant(detail.counter),
        smallest_island=_significant(detail.island),
    )


def _significant(share: float) -> float:
    """Return a share to the six digits that outlines known to 1 in 8,192 deserve at most."""
    return float(f"{share:.6g}")


def _most_enlarged(book: Book, artwork: SizedArtwork) -> float:
    """Return by how much an artwork may be enlarged for some platen of the book to hold it."""
    figure = artwork.figure
    held = largest_held(book.platens.values(), figure.width * artwork.scale, figure.height * artwork.scale)
    return math.inf if held is None else held


def _smallest_scale(film: Film, artwork: SizedArtwork, enlarged: float) -> float | None:
    """Return the scale of the smallest copy that a film does not decline, where a request may ask for it."""
    figure = artwork.figure
    most = min(LARGEST_ARTWORK_MM / max(figure.width, figure.height), enlarged * artwork.scale)
    try:
        return fine_detail.smallest_scale(
            film, figure, artwork.scale, most, lambda flaws: fine_detail.verdict(flaws) != "decline"
        )
    except DrawingError:
        return None


def _verdict(book: Book, film: Film, artwork: SizedArtwork, smallest: float | None, enlarged: float) -> FilmVerdict:
    mended = mends(book, film, artwork, most=enlarged)
    reasons = tuple(too_fine(book, film, artwork, mended))
    return FilmVerdict(
        film=film.id,
        name=film.name,
        is_cut=film.cutting is not None,
        verdict=worst(reason.verdict for reason in reasons),
        reasons=worst_first(reasons),
        smallest=None if smallest is None else _copy(artwork, smallest),
        mends=mended,
    )


def _copy(artwork: SizedArtwork, scale: float) -> Smallest:
    """Return a copy's size, its heights rounded up, so that the film takes an artwork of that height."""
    figure = artwork.figure
    return Smallest(
        scale=scale / artwork.scale,
        width_mm=_up(figure.width * scale),
        height_mm=_up(figure.height * scale),
        letter_height_mm=None if figure.capital is None else _up(figure.capital * scale),
    )


def _up(length_mm: float) -> float:
    return math.ceil(length_mm * 1e4) / 1e4
