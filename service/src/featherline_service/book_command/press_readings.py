"""How well the presses of a book are known: readings that are old, and pressings that contradict others."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from operator import attrgetter
from typing import Final

from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.practices import recorded_of

OLD_DAYS: Final = 180
"""Days after which a press is measured anew: half a year, from memory. Heaters age, and sensors drift."""


def notes(book: Book, today: date) -> Iterator[str]:
    """Yield the presses whose last reading is old, or which have none, and the pressings that contradict others."""
    if not book.observations:
        return
    for press in book.presses.values():
        days = [one.date for one in book.observations.values() if one.press == press.id and one.readings]
        if not days:
            yield f"Note: no reading of the press {press.id} is in the book; press with a thermocouple or a strip."
        elif (today - max(days)).days > OLD_DAYS:
            yield (
                f"Note: the last reading of the press {press.id} is of {max(days)}, {(today - max(days)).days} days "
                "ago; measure it anew."
            )
    known = known_for(book, recorded_of(book))
    named = {known.sightings[at].name for at in known.contradicting}
    contradicting = [one for one in book.observations.values() if one.id in named]
    for pressing in sorted(contradicting, key=attrgetter("date", "id")):
        newer = sorted(
            (one for one in book.observations.values() if one.press == pressing.press and one.date > pressing.date),
            key=attrgetter("date", "id"),
        )
        since = f"; of the same press the newest is {newer[-1].id}, of {newer[-1].date}" if newer else ""
        yield (
            f"Note: observations/{pressing.id}, of {pressing.date}, contradicts the others{since}. Press it again, and "
            "leave out what no longer holds."
        )
