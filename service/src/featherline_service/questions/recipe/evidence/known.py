"""What is known for each end of a window, and which sightings contradict the others.

Each end listens to the outcomes that are about it: the dwell that bonds to whether films held, the dwell that harms to
how uppers looked. Readings are heard by both. Outcomes are monotone by rule, as a normal distribution alone is not:

- A good outcome can only help: that a film held lets it be known to bond sooner. That an upper looked unchanged does
  not widen a window.
- A bad outcome counts only where it hurts: the worse end of what is known with and without the bad ones. So a window's
  upper end is never later than by the readings.
- What contradicts the rest is named, and bars `ready`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from featherline_service.book.shop_book import Book
from featherline_service.evidence.agreement import LEAST_CHANCE, disagree, pair_chances
from featherline_service.evidence.beliefs import Belief
from featherline_service.evidence.propagation import posterior
from featherline_service.questions.recipe.evidence.gauges import readings_of
from featherline_service.questions.recipe.evidence.outcomes import bond_rows, look_rows
from featherline_service.questions.recipe.evidence.rows import ROUNDS, Rows, belief_of, joined, some, within_step
from featherline_service.questions.recipe.evidence.sightings import Sighting, with_readings
from featherline_service.runtime.cache import cached


class Known(NamedTuple):
    """What is known after some sightings.

    `readings` is what the readings alone tell. `bond` is what is known of the shortest dwell, by readings and films
    that held; `bond_at_worst` by bad outcomes too, None where there are none. `harm_at_worst` is what is known of the
    longest dwell by readings and bad looks, None where there are none: without them it is `readings`. `contradicting`
    are the indices of the sightings that contradict others.
    """

    readings: Belief
    bond: Belief
    bond_at_worst: Belief | None
    harm_at_worst: Belief | None
    contradicting: tuple[int, ...]


@cached
def known_of(book: Book, sightings: tuple[Sighting, ...]) -> Known:
    """Return what is known after sightings."""
    gauges = readings_of(book, with_readings(sightings))
    read = np.array([at for at, sighting in enumerate(sightings) if sighting.readings], dtype=np.intp)
    readings = gauges.rows._replace(sighting=read[gauges.rows.sighting])
    bonds = looks = readings
    bond = harm = before_bond = before_harm = gauges.belief
    for _ in range(ROUNDS):
        # Slopes are taken where what counts for each end puts the parameters, so that nothing else has any effect.
        bonds = joined([readings, bond_rows(book, sightings, gauges.belief, before_bond)])
        looks = joined([readings, look_rows(book, sightings, gauges.belief, before_harm)])
        bond, harm = belief_of(some(bonds, bonds.worth >= 0)), belief_of(some(looks, looks.worth <= 0))
        before_bond, before_harm = within_step(bond, before_bond), within_step(harm, before_harm)
    return Known(
        gauges.belief,
        bond,
        belief_of(bonds) if (bonds.worth < 0).any() else None,
        harm if (looks.worth < 0).any() else None,
        tuple(sorted({*contradicting(bonds, sightings), *contradicting(looks, sightings)})),
    )


def contradicting(rows: Rows, sightings: tuple[Sighting, ...]) -> set[int]:
    """Return the indices of the sightings that contradict others: all others, or one other of the same stack."""
    if not rows.sighting.size:
        return set()
    named = disagree(rows.observations, posterior(rows.observations))
    stacks = [(sightings[at].job, sightings[at].cover) for at in rows.sighting]
    numbers = {stack: number for number, stack in enumerate(dict.fromkeys(stacks))}
    number = np.array([numbers[stack] for stack in stacks])
    outcome = rows.worth != 0
    alike = (number[:, None] == number) & outcome[:, None] & outcome
    named |= ((pair_chances(rows.observations) < LEAST_CHANCE) & alike).any(axis=1)
    return set(rows.sighting[named].tolist())
