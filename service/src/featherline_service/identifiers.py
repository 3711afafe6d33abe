"""Ids in messages: those most like one that is unknown."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, NamedTuple

MOST: Final = 5
_LONGEST: Final = 48  # characters of an id; of a longer text the beginning is compared


def listed(wanted: str, ids: Iterable[str]) -> str:
    """Return ids as `alike` does, in words."""
    every = alike(wanted, ids)
    return f"{', '.join(every.ids) or 'none'}{f' and {every.more:,} more' if every.more else ''}"


class Alike(NamedTuple):
    """Ids that are most like another, and how many more there are."""

    ids: tuple[str, ...]
    more: int


def alike(wanted: str, ids: Iterable[str]) -> Alike:
    """Return all of up to five ids, in their order; of more the five most like `wanted`, and how many are left.

    Likeness is by optimal string alignment: letters added, dropped, changed, or swapped with their neighbour.
    """
    every = tuple(ids)
    if len(every) <= MOST:
        return Alike(every, 0)
    from rapidfuzz import distance, process  # noqa: PLC0415 - needed by faults alone

    nearest = process.extract(wanted[:_LONGEST], every, scorer=distance.OSA.normalized_similarity, limit=MOST)
    return Alike(tuple(id_ for id_, _, _ in nearest), len(every) - MOST)
