"""On what a pressing's `ready` stands, in a line for the bench card."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from featherline.wire.recipes import Recipe
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import Quantity, Speaker
from featherline_service.questions.recipe.evidence.sightings import Sighting


def evidence_line(book: Book, recipe: Recipe, sightings: Sequence[Sighting], tell: Speaker) -> str:
    """Return on what a recipe stands that is ready and shows its setting; nothing for any other.

    Args:
        book: The shop book.
        recipe: The recipe.
        sightings: What the book has and what the order observed of pressings, the book's first.
        tell: Who tells it.
    """
    evidence = recipe.evidence
    if recipe.verdict != "ready" or evidence is None:
        return ""
    share = evidence.needed_share.assumed
    return tell(
        "card.evidence",
        low=Quantity(round(share.low, 2), None, 2),
        high=Quantity(round(share.high, 2), None, 2),
        statements=len(book.practices),
        observed=_observed(book, sightings, tell),
        bonds=_percent(evidence.chance_bonds),
        unharmed=_percent(evidence.chance_unharmed),
    )


def _observed(book: Book, sightings: Sequence[Sighting], tell: Speaker) -> str:
    """Return how many readings and outcomes there are, and of which days."""
    readings = sum(len(sighting.readings) for sighting in sightings)
    outcomes = sum(
        seen is not None for sighting in sightings for seen in (sighting.bond, sighting.upper, sighting.beside)
    )
    counted = {
        name: tell(f"card.evidence.{name}", count=count)
        for name, count in (("readings", readings), ("outcomes", outcomes))
        if count
    }
    if not counted:
        return tell("card.evidence.none")
    observed = tell("card.evidence.both", **counted) if readings and outcomes else "".join(counted.values())
    return tell("card.evidence.observed", observed=observed, days=", ".join(_days(book, sightings, tell)))


def _days(book: Book, sightings: Sequence[Sighting], tell: Speaker) -> Iterator[str]:
    """Yield the days of the pressings in the book, and that there are others of the order, which have no day."""
    days = sorted(pressing.date for pressing in book.observations.values())
    if days:
        first, last = days[0], days[-1]
        same = first == last
        yield tell("card.evidence.day", day=first) if same else tell("card.evidence.days", first=first, last=last)
    if len(sightings) > len(days):
        yield tell("card.evidence.of-order")


def _percent(chance: float) -> Quantity:
    """Return a chance in percent, rounded down; no chance is certain."""
    return Quantity(min(math.floor(1000.0 * chance), 999) / 10.0, "%", 1)
