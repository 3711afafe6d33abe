"""What readings do to the windows of the book's shoes: before and after, one for each upper."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final, NamedTuple

from featherline.wire.calibrations import WindowChange
from featherline.wire.recipes import Band
from featherline.wire.records import Film, Press
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence.frames import published
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting
from featherline_service.questions.recipe.windows import Span, spans
from featherline_service.questions.shoes.presses import pressure_kpa

_MOST: Final = 12
"""Windows that are compared: one takes about ten milliseconds before and after."""


class Comparison(NamedTuple):
    """Jobs of the book's shoes in a press under a cover sheet, without what is seen of pressings.

    `places` are the shoe and the panel of each; `left_out` is how many more there are.
    """

    press: Press
    cover: str
    jobs: tuple[Job, ...]
    places: tuple[tuple[str, str], ...]
    left_out: int


def comparison(book: Book, film: Film, press: Press, cover: str) -> Comparison:
    """Return a job for each upper of the book's shoes that a film bonds to, up to some."""
    pad = book.platens[press.platens[0]].pad
    kpa = pressure_kpa(press.pressures, film.setting.pressure)
    place_of: dict[str, tuple[str, str]] = {}
    for shoe in sorted(book.shoes.values(), key=lambda shoe: shoe.id):
        for panel in shoe.panels:
            if book.uppers[panel.upper].surface in film.bonds_to:
                place_of.setdefault(panel.upper, (shoe.id, panel.id))
    uppers = list(place_of)[:_MOST]
    return Comparison(
        press,
        cover,
        tuple(Job(film.id, book.uppers[upper], pad, kpa, press=press.id) for upper in uppers),
        tuple(place_of[upper] for upper in uppers),
        len(place_of) - len(uppers),
    )


def changes(
    book: Book, compared: Comparison, before: tuple[Sighting, ...], after: tuple[Sighting, ...]
) -> Iterator[WindowChange]:
    """Yield the window of every job by what was seen of pressings before and after."""
    spread_k = compared.press.platen_spread_k
    for (shoe, panel), job in zip(compared.places, compared.jobs, strict=True):
        platen_c = published(book.films[job.film]).platen_c
        (earlier,), (later,) = (
            spans(
                book,
                job._replace(sightings=seen),
                compared.cover,
                (platen_c,),
                platen_spread_k=spread_k,
                guard_k=0.0,
            )
            for seen in (before, after)
        )
        yield WindowChange(
            shoe=shoe,
            panel=panel,
            film=job.film,
            cover=compared.cover,
            temperature_c=platen_c,
            before=_band(earlier.shortest_s, earlier.longest_s),
            worst_case_before=_sure(earlier),
            after=_band(later.shortest_s, later.longest_s),
            worst_case_after=_sure(later),
        )


def _sure(span: Span) -> Band:
    return _band(span.sure_from_s, span.sure_to_s)


def _band(shortest_s: float, longest_s: float) -> Band:
    return Band(
        shortest_s=shortest_s if math.isfinite(shortest_s) else None,
        longest_s=longest_s if longest_s > 0.0 else None,
    )
