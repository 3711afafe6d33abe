"""On what a pressing's `ready` stands, in a line for the bench card."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from featherline.wire.recipes import Recipe
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence.sightings import Sighting


def evidence_line(book: Book, recipe: Recipe, sightings: Sequence[Sighting]) -> str:
    """Return on what a recipe stands that is ready and shows its setting; nothing for any other.

    Args:
        book: The shop book.
        recipe: The recipe.
        sightings: What the book has and what the order observed of pressings, the book's first.
    """
    evidence = recipe.evidence
    if recipe.verdict != "ready" or evidence is None:
        return ""
    share, statements = evidence.needed_share.assumed, len(book.practices)
    parts = [
        f"film assumed to need {share.low:.2f} to {share.high:.2f} of its published dose",
        *([f"{_counted(statements, 'statement')} of the trade"] if statements else []),
        _observed(book, sightings),
    ]
    bonds, unharmed = _percent(evidence.chance_bonds), _percent(evidence.chance_unharmed)
    return f"Evidence: {'; '.join(parts)}. Chance to bond {bonds}, to harm nothing {unharmed}."


def _observed(book: Book, sightings: Sequence[Sighting]) -> str:
    """Return how many readings and outcomes there are, and of which days."""
    readings = sum(len(sighting.readings) for sighting in sightings)
    outcomes = sum(
        seen is not None for sighting in sightings for seen in (sighting.bond, sighting.upper, sighting.beside)
    )
    counts = [_counted(count, name) for count, name in ((readings, "reading"), (outcomes, "outcome")) if count]
    return f"{' and '.join(counts)} ({', '.join(_days(book, sightings))})" if counts else "no readings or outcomes"


def _days(book: Book, sightings: Sequence[Sighting]) -> Iterator[str]:
    """Yield the days of the pressings in the book, and that there are others of the order, which have no day."""
    days = sorted(pressing.date.isoformat() for pressing in book.observations.values())
    if days:
        yield days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
    if len(sightings) > len(days):
        yield "sent with the order"


def _counted(count: int, name: str) -> str:
    return f"{count} {name}{'' if count == 1 else 's'}"


def _percent(chance: float) -> str:
    """Return a chance in percent, rounded down; no chance is certain."""
    percent = min(math.floor(1000.0 * chance), 999) / 10.0
    return f"{percent:.1f} %"
