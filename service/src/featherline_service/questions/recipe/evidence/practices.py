"""The statements of the trade and the shop's own pressings in the book, as sightings."""

from __future__ import annotations

import math
from functools import lru_cache

from featherline.wire.records import Practice, RecordedPressing, Upper
from featherline_service.book.shop_book import Book
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.questions.recipe.evidence.gauges import gauged
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting
from featherline_service.questions.shoes.presses import pressure_kpa


@lru_cache(maxsize=16)
def practices_of(book: Book) -> tuple[Sighting, ...]:
    """Return what the book's statements of the trade say."""
    return tuple(_sighting(book, practised.film, practised.statement) for practised in book.practices.values())


@lru_cache(maxsize=16)
def recorded_of(book: Book) -> tuple[Sighting, ...]:
    """Return what the shop observed of its own pressings, as the book has it."""
    return tuple(_recorded(book, pressing) for pressing in book.observations.values())


def _recorded(book: Book, pressing: RecordedPressing) -> Sighting:
    press = book.presses[pressing.press]
    return Sighting(
        name=pressing.id,
        job=Job(
            pressing.film or "",
            _scrap(pressing) if pressing.upper is None else book.uppers[pressing.upper],
            book.platens[press.platens[0]].pad,
            pressure_kpa(press.pressures, pressing.pressure),
        ),
        cover=pressing.cover,
        press=press.id,
        platen_c=pressing.temperature_c,
        dwell_s=pressing.dwell_s,
        bond=pressing.bond,
        upper=pressing.upper_looks,
        beside=pressing.beside_looks,
        readings=tuple(
            gauged(
                reading.kind,
                reading.gauge,
                above=reading.above,
                at_s=reading.at_s,
                low_c=reading.value_c,
                high_c=reading.value_c if reading.below_c is None else reading.below_c,
            )
            for reading in pressing.readings
        ),
    )


def _scrap(pressing: RecordedPressing) -> Upper:
    """Return the layers that were pressed on as an upper; which surface they have makes no difference to heat."""
    return Upper(
        id="scrap",
        name=f"the scrap of {pressing.id}",
        labels=("other",),
        surface="leather",
        layers=pressing.layers,
        cites=(),
    )


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
