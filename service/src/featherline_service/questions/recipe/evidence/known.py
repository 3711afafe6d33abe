"""What is known for each end of a window, and which sightings contradict the others.

Each end listens to the outcomes that are about it: the dwell that bonds to whether films held, the dwell that harms to
how uppers looked. Readings are heard by both. Outcomes are monotone by rule, as a normal distribution alone is not:

- A good outcome can only help: that a film held lets it be known to bond sooner. That an upper looked unchanged does
  not widen a window.
- A bad outcome counts only where it hurts: the worse end of what is known with and without the bad ones, which move
  what is expected and make nothing surer. So a window's upper end is never later than by the readings. What is known
  with some of them only is in `bad_outcomes.py`.
- What contradicts the rest is named, and bars `ready`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop
from featherline_service.evidence.agreement import LEAST_CHANCE, disagree, pair_chances
from featherline_service.evidence.beliefs import Belief, prior
from featherline_service.evidence.propagation import Posterior, posterior
from featherline_service.questions.recipe.evidence.gauges import Readings, readings_of
from featherline_service.questions.recipe.evidence.outcomes.outcome_rows import bond_rows, job_of, look_rows
from featherline_service.questions.recipe.evidence.practices import practices_of, recorded_of
from featherline_service.questions.recipe.evidence.rows import (
    ROUNDS,
    Rows,
    belief_of,
    beliefs_of,
    joined,
    nothing,
    some,
    within_step,
)
from featherline_service.questions.recipe.evidence.sightings import Sighting, with_readings
from featherline_service.questions.recipe.evidence.solved import solve
from featherline_service.runtime.cache import cached


class Known(NamedTuple):
    """What is known after some sightings.

    `sightings` are all that were taken in. `readings` is what the readings alone tell. `bond` is what is known of the
    shortest dwell, by readings and films that held; `bond_at_worst` by all bad outcomes too, None where there are none.
    `harm_at_worst` is what is known of the longest dwell by readings and all bad looks, None where there are none:
    without them it is `readings`. `bonds` and `weights` are the observations of all bonds and how much each moves the
    parameters. `contradicting` are the indices of the sightings that contradict others.

    The sightings begin with the book's statements; `heard` is what the others were taken to say.
    """

    sightings: tuple[Sighting, ...]
    heard: tuple[Sighting, ...]
    readings: Belief
    bond: Belief
    bond_at_worst: Belief | None
    harm_at_worst: Belief | None
    bonds: Rows
    weights: NDArray[np.float64]
    contradicting: tuple[int, ...]


class _Statements(NamedTuple):
    """Sightings as linear observations, and what is known by them where their slopes were taken."""

    bonds: Rows
    looks: Rows
    bond: Belief
    harm: Belief


def prepare(*books: Book) -> Iterator[None]:
    """Compute what is known where a request observed nothing, which most recipes need; yield after each book."""
    for book in books:
        with suppress(ArithmeticError):  # of statements that contradict one another a recipe tells
            known_for(book, recorded_of(book))
        yield


@by_workshop
@cached
def known_for(book: Book, sightings: tuple[Sighting, ...]) -> Known:
    """Return what is known after the book's statements of the trade and sightings, those that it records among them.

    Where nothing follows from the outcomes that the book records, all of them are named as contradicting, and what is
    known is what their readings tell.

    Raises:
        ArithmeticError: Nothing follows from sightings that are not all of the book.
    """
    stated, recorded = practices_of(book), recorded_of(book)
    try:
        return known_of(book, stated, sightings)
    except ArithmeticError:
        if sightings != recorded:
            raise
    read = tuple(sighting._replace(bond=None, upper=None, beside=None) for sighting in recorded)
    every = range(len(stated), len(stated) + len(recorded))
    return known_of(book, stated, read)._replace(sightings=(*stated, *recorded), contradicting=tuple(every))


@by_workshop
@cached
def known_of(book: Book, stated: tuple[Sighting, ...], sightings: tuple[Sighting, ...]) -> Known:
    """Return what is known after statements, whose slopes are taken by themselves, and sightings."""
    every, base = (*stated, *sightings), _statements(book, stated)
    if not sightings:
        held = posterior(some(base.bonds, base.bonds.worth >= 0).observations)
        return _known(every, (), prior(()), base.bonds, base.looks, held)
    gauges = _readings(book, every)
    _solve(book, sightings)
    bonds, bond = nothing(), base.bond
    held = posterior(bonds.observations)
    for _ in range(ROUNDS):
        # Slopes are taken where what counts for each end puts the parameters, so that nothing else has any effect.
        bonds = joined([gauges.rows, base.bonds, _after(stated, bond_rows(book, sightings, gauges.belief, bond))])
        held = posterior(some(bonds, bonds.worth >= 0).observations)
        bond = within_step(belief_of(bonds, held), bond)
    (looks,) = looks_of(book, stated, [sightings])
    return _known(every, sightings, gauges.belief, bonds, looks, held)


def looks_of(book: Book, stated: tuple[Sighting, ...], groups: Sequence[tuple[Sighting, ...]]) -> list[Rows]:
    """Return readings and looks, with slopes taken where readings and the bad looks among them put the parameters.

    Each group of sightings is taken by itself.
    """
    base, gauges = _statements(book, stated), [_readings(book, (*stated, *sightings)) for sightings in groups]
    every, harms = [nothing()] * len(groups), [base.harm] * len(groups)
    for at in range(ROUNDS):
        # What looks good moves nothing: without bad ones slopes are taken once.
        some_bad = [number for number, looks in enumerate(every) if at == 0 or (looks.worth < 0).any()]
        known = beliefs_of([some(every[number], every[number].worth <= 0) for number in some_bad])
        for number, belief in zip(some_bad, known, strict=True):
            harms[number] = within_step(belief, harms[number]) if at > 0 else base.harm
            new = look_rows(book, groups[number], gauges[number].belief, harms[number])
            every[number] = joined([gauges[number].rows, base.looks, _after(stated, new)])
    return every


def harms_of(every: Sequence[Rows]) -> list[Belief]:
    """Return what readings tell of the longest dwell, moved by the bad ones of some looks, for each of some groups."""
    after = beliefs_of([some(looks, looks.worth <= 0) for looks in every])
    before = beliefs_of([some(looks, looks.worth == 0) for looks in every])
    return list(map(moved, after, before))


def moved(belief: Belief, before: Belief) -> Belief:
    """Return a belief before bad outcomes, moved by them: they make nothing surer."""
    return before._replace(mean=belief.mean)


def _readings(book: Book, sightings: tuple[Sighting, ...]) -> Readings:
    """Return what readings tell, with their rows' sightings as indices among all of them."""
    gauges = readings_of(book, with_readings(sightings))
    read = np.array([at for at, sighting in enumerate(sightings) if sighting.readings], dtype=np.intp)
    return gauges._replace(rows=gauges.rows._replace(sighting=read[gauges.rows.sighting]))


@by_workshop
@cached
def _statements(book: Book, sightings: tuple[Sighting, ...]) -> _Statements:
    _solve(book, sightings)
    nobody, bonds, looks = prior(()), nothing(), nothing()
    bond = harm = nobody
    for _ in range(ROUNDS if sightings else 0):
        bonds, looks = bond_rows(book, sightings, nobody, bond), look_rows(book, sightings, nobody, harm)
        bond = within_step(belief_of(some(bonds, bonds.worth >= 0)), bond)
        harm = within_step(belief_of(some(looks, looks.worth <= 0)), harm)
    return _Statements(bonds, looks, bond, harm)


def _solve(book: Book, sightings: tuple[Sighting, ...]) -> None:
    """Solve the stacks of sightings' outcomes together."""
    told = [seen for seen in sightings if (seen.bond, seen.upper, seen.beside) != (None, None, None)]
    solve(book, [(job_of(seen, sightings), seen.cover) for seen in told])


def _after(stated: tuple[Sighting, ...], rows: Rows) -> Rows:
    return rows._replace(sighting=rows.sighting + len(stated))


def _known(  # noqa: PLR0917 - what was seen, and what it tells of each end
    sightings: tuple[Sighting, ...],
    heard: tuple[Sighting, ...],
    readings: Belief,
    bonds: Rows,
    looks: Rows,
    held: Posterior,
) -> Known:
    """Return what is known by rows, and by the posterior of those of the bonds that are not bad."""
    bad_bonds, bad_looks = bool((bonds.worth < 0).any()), bool((looks.worth < 0).any())
    by_bonds = posterior(bonds.observations) if bad_bonds else held
    by_looks = posterior(looks.observations)
    return Known(
        sightings,
        heard,
        readings,
        belief_of(bonds, held),
        moved(belief_of(bonds, by_bonds), belief_of(bonds, held)) if bad_bonds else None,
        harms_of([looks])[0] if bad_looks else None,
        bonds,
        by_bonds.weight,
        tuple(sorted({*_contradicting(bonds, by_bonds, sightings), *_contradicting(looks, by_looks, sightings)})),
    )


def _contradicting(rows: Rows, known: Posterior, sightings: tuple[Sighting, ...]) -> set[int]:
    """Return the indices of the sightings that contradict others: all others, or one other of the same stack."""
    if not rows.sighting.size:
        return set()
    named = disagree(rows.observations, known)
    stacks = [(sightings[at].job, sightings[at].cover) for at in rows.sighting]
    numbers = {stack: number for number, stack in enumerate(dict.fromkeys(stacks))}
    number = np.array([numbers[stack] for stack in stacks])
    outcome = rows.worth != 0
    alike = (number[:, None] == number) & outcome[:, None] & outcome
    named |= ((pair_chances(rows.observations) < LEAST_CHANCE) & alike).any(axis=1)
    return set(rows.sighting[named].tolist())
