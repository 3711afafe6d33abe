"""The statements of the trade in the book, as sightings."""

from __future__ import annotations

import math
from functools import lru_cache

from featherline.wire.records import Practice
from featherline_service.book.shop_book import Book
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting
from featherline_service.questions.shoes.presses import pressure_kpa


@lru_cache(maxsize=16)
def practices_of(book: Book) -> tuple[Sighting, ...]:
    """Return what the book's statements of the trade say."""
    return tuple(_sighting(book, practised.film, practised.statement) for practised in book.practices.values())


def _sighting(book: Book, film: str, practice: Practice) -> Sighting:
    bench = book.bench
    return Sighting(
        name=practice.name,
        job=Job(
            film,
            book.uppers[practice.upper],
            bench.reference_pad,
            pressure_kpa(bench.reference_pressures, practice.pressure),
        ),
        cover=practice.cover,
        press=None,
        platen_c=practice.temperature_c,
        dwell_s=practice.dwell_s,
        bond=practice.bond,
        upper=practice.upper_looks,
        beside=practice.upper_looks,
        bond_noise=math.log1p(practice.dwell_spread) / SIGMAS_95,
        look_noise_k=practice.limit_spread_k / SIGMAS_95,
        habit=practice.habit or "",
        habit_noise=math.log1p(practice.habit_spread) / SIGMAS_95,
    )
