"""Pressings of the demo book's stacks that the tests of what is known share."""

from __future__ import annotations

from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence.sightings import Bonded, Job, Looks, Sighting


def job_on(book: Book, upper: str = "leather-lined", film: str = "smooth") -> Job:
    """Return a film on an upper over the reference pad at the reference pressure."""
    bench = book.bench
    return Job(film, book.uppers[upper], bench.reference_pad, bench.reference_pressures.medium_kpa)


def pressed(
    book: Book,
    *,
    upper: str = "leather-lined",
    film: str = "smooth",
    platen_c: float = 160.0,
    dwell_s: float = 30.0,
    bond: Bonded | None = None,
    looks: Looks | None = None,
    press: str | None = "swing",
) -> Sighting:
    """Return a pressing under the thin sheet, and what was seen of it."""
    return Sighting(
        "a pressing", job_on(book, upper, film), "silicone-thin", press, platen_c, dwell_s, bond, looks, looks
    )
