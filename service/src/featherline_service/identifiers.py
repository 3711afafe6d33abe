"""Ids in messages: those most like one that is unknown."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

MOST: Final = 5
_LONGEST: Final = 48  # characters of an id; of a longer text the beginning is compared


def listed(wanted: str, ids: Iterable[str]) -> str:
    """Return ids for a message: all of up to five, in their order; of more the five most like `wanted`, and a count.

    Likeness is by optimal string alignment: letters added, dropped, changed, or swapped with their neighbour.
    """
    every = tuple(ids)
    if len(every) <= MOST:
        return ", ".join(every) or "none"
    from rapidfuzz import distance, process  # noqa: PLC0415 - needed by faults alone

    alike = process.extract(wanted[:_LONGEST], every, scorer=distance.OSA.normalized_similarity, limit=MOST)
    return f"{', '.join(id_ for id_, _, _ in alike)} and {len(every) - MOST:,} more"
