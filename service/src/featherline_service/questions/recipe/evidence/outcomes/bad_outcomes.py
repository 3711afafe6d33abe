"""What is known at the worst: with some of the bad outcomes of a stack, and with all.

Bad outcomes explain one another: after a second one another parameter may be to blame for the first, and a window that
the first ended sooner would end later. So each end of a window is the worst of what is known with every subset of the
bad outcomes of its own stack; the slopes of a subset's rows are taken where that subset alone puts the parameters.

Guaranteed by construction: one more bad outcome on a stack adds subsets and changes none, and so betters no end, for up
to `EVERY` bad outcomes of either end on that stack, whatever else was observed. Of more there would be thousands of
subsets: up to `MOST` they are none, each one, all but one, and all; beyond, none and all. Bad outcomes of other stacks,
and of statements, count all together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Final

import numpy as np

from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop
from featherline_service.evidence.beliefs import Belief
from featherline_service.questions.recipe.evidence.known import Known, harms_of, known_of, looks_of, moved
from featherline_service.questions.recipe.evidence.rows import beliefs_of, some
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting
from featherline_service.runtime.cache import cached

EVERY: Final = 4
"""Bad outcomes of one stack of which every subset counts: each one more doubles the time that a window takes."""
MOST: Final = 8
"""Bad outcomes of one stack that are also taken one by one: each one more adds two subsets."""


def bond_beliefs(book: Book, known: Known, job: Job) -> tuple[Belief, ...]:
    """Return what is known of a job's shortest dwell, first without bad outcomes.

    Raises:
        ArithmeticError: Nothing follows from some of the outcomes.
    """
    if known.bond_at_worst is None:
        return (known.bond,)
    return (known.bond, known.bond_at_worst, *_bonds(book, *_asked(known), _stack(job)))


def harm_beliefs(book: Book, known: Known, job: Job) -> tuple[Belief, ...]:
    """Return what is known of a job's longest dwell, first without bad outcomes.

    Raises:
        ArithmeticError: As `bond_beliefs`.
    """
    if known.harm_at_worst is None:
        return (known.readings,)
    return (known.readings, known.harm_at_worst, *_harms(book, *_asked(known), _stack(job)))


@by_workshop
@cached
def _bonds(book: Book, stated: tuple[Sighting, ...], sightings: tuple[Sighting, ...], stack: Job) -> tuple[Belief, ...]:
    """Return what is known of the shortest dwell with some of the bad outcomes of a stack, but not with all."""
    known = known_of(book, stated, sightings)
    rows, groups = known.bonds, []
    bad = [seen.bond not in {None, "holds"} for seen in sightings]
    for left_out in _left_out(bad, len(stated), sightings, stack):
        kept = ~np.isin(rows.sighting, left_out) | (rows.worth >= 0)
        if (rows.worth[kept] < 0).any():
            groups.append(some(rows, kept))
    return tuple(moved(belief, known.bond) for belief in beliefs_of(groups))


@by_workshop
@cached
def _harms(book: Book, stated: tuple[Sighting, ...], sightings: tuple[Sighting, ...], stack: Job) -> tuple[Belief, ...]:
    """Return what is known of the longest dwell with some of the bad looks of a stack, but not with all."""
    bad = [not {seen.upper, seen.beside} <= {None, "unchanged"} for seen in sightings]
    # What looks good moves nothing, and its slopes take as long.
    groups = [
        tuple(
            seen if is_bad and at not in left_out else seen._replace(upper=None, beside=None)
            for at, (is_bad, seen) in enumerate(zip(bad, sightings, strict=True), len(stated))
        )
        for left_out in _left_out(bad, len(stated), sightings, stack)
    ]
    every = looks_of(book, stated, groups)
    return tuple(harms_of([looks for looks in every if (looks.worth < 0).any()]))


def _asked(known: Known) -> tuple[tuple[Sighting, ...], tuple[Sighting, ...]]:
    """Return the statements and the sightings that what is known follows from."""
    return known.sightings[: len(known.sightings) - len(known.heard)], known.heard


def _stack(job: Job) -> Job:
    return job._replace(press="", beside=(), sightings=())


def _left_out(
    bad: Sequence[bool], statements: int, sightings: Sequence[Sighting], stack: Job
) -> Iterator[tuple[int, ...]]:
    """Yield which bad sightings of a stack are left out, as indices after the statements, for every subset but all."""
    told = enumerate(zip(bad, sightings, strict=True), statements)
    own = [at for at, (is_bad, seen) in told if is_bad and _stack(seen.job) == stack]
    every = len(own)
    sizes: Sequence[int] = range(1, every + 1)
    if every > EVERY:
        sizes = (1, every - 1, every) if every <= MOST else (every,)
    for size in sizes:
        yield from combinations(own, size)
