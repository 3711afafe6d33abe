"""What outcomes of pressings tell: whether the film held, and how the upper looked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from featherline.wire.records import UpperOutcome
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Belief, mean_of
from featherline_service.evidence.observations import Observations
from featherline_service.heat.variation import bond_margins, margins_of_pressings
from featherline_service.questions.recipe.evidence.frames import FramedHeating, bonding_of, heatings_of
from featherline_service.questions.recipe.evidence.rows import Rows, joined, nothing
from featherline_service.questions.recipe.evidence.sightings import BONDS, LOOKS, Job, Sighting

Floats = NDArray[np.float64]


def bond_rows(book: Book, sightings: tuple[Sighting, ...], readings: Belief, before: Belief) -> Rows:
    """Return whether films held, linear at the mean of what is known before; pressings of one stack are taken together.

    Args:
        book: The shop book.
        sightings: All sightings; those without a bond tell nothing here.
        readings: What the readings tell; the stacks are solved at its mean.
        before: What is known before.
    """
    stacks: dict[tuple[Job, str | None], list[int]] = {}
    for at, sighting in enumerate(sightings):
        if sighting.bond is not None:
            stacks.setdefault((job_of(sighting, sightings), sighting.cover), []).append(at)
    groups = []
    for (job, cover), places in stacks.items():
        seen = [sightings[at] for at in places]
        parameters, bonding = bonding_of(book, job, cover, readings, spread_of(book, job.press))
        point = mean_of(before, parameters)
        value, slopes = bond_margins(
            bonding, point, np.array([one.platen_c for one in seen]), np.array([one.dwell_s for one in seen])
        )
        habits = dict.fromkeys(("habit", one.habit) for one in seen if one.habit)
        by_habit = np.array([[one.habit_noise * (("habit", one.habit) == name) for name in habits] for one in seen])
        parameters, point = (*parameters, *habits), np.concatenate((point, mean_of(before, tuple(habits))))
        slopes = np.concatenate((slopes, by_habit.reshape(len(seen), -1)), axis=1)
        value = value + by_habit.reshape(len(seen), -1) @ point[point.size - len(habits) :]
        low, high = np.array([BONDS[one.bond] for one in seen if one.bond is not None]).T
        # Summed row by row, as the last bit of a product of matrices depends on how many rows there are.
        offset = value - (np.ascontiguousarray(slopes) * point).sum(axis=1)
        groups.append(
            Rows(
                parameters,
                Observations(offset, slopes, np.array([one.bond_noise for one in seen]), low, high),
                np.array(places, dtype=np.intp),
                np.array([1 if one.bond == "holds" else -1 for one in seen], dtype=np.intp),
            )
        )
    return joined(groups) if groups else nothing()


def look_rows(book: Book, sightings: tuple[Sighting, ...], readings: Belief, before: Belief) -> Rows:
    """Return how uppers looked, linear at the mean of what is known before; arguments as of `bond_rows`.

    What is seen under the film, or beside it, tells of the layer of the upper there that is nearest to its limit for
    how well both are known.
    """
    stacks: dict[tuple[Job, str | None], list[int]] = {}
    for at, sighting in enumerate(sightings):
        if sighting.upper is not None or sighting.beside is not None:
            stacks.setdefault((job_of(sighting, sightings), sighting.cover), []).append(at)
    groups: dict[int, list[Rows]] = {}
    for (job, cover), pressed in stacks.items():
        under, *bare = heatings_of(book, job, cover, readings, spread_of(book, job.press))
        for part, places in (("upper", [under]), ("beside", bare)):
            seen = [at for at in pressed if getattr(sightings[at], part) is not None]
            for place in places if seen else ():
                looks = [getattr(sightings[at], part) for at in seen]
                for at, row in zip(
                    seen, _rows_of_looks(place, [sightings[at] for at in seen], looks, before), strict=True
                ):
                    groups.setdefault(at, []).append(row._replace(sighting=np.array([at], dtype=np.intp)))
    return joined([row for at in sorted(groups) for row in groups[at]]) if groups else nothing()


def _rows_of_looks(
    place: FramedHeating, pressings: Sequence[Sighting], looks: Sequence[UpperOutcome], before: Belief
) -> Iterator[Rows]:
    """Yield how an upper looked in one place of a stack after each of some pressings."""
    parameters, stack, heating = place
    point = mean_of(before, parameters)
    setting = np.array([one.platen_c for one in pressings]), np.array([one.dwell_s for one in pressings])
    margins = margins_of_pressings(heating, point, *setting)
    # Chosen where the stack was solved, so that it is the same layer whenever slopes are taken again.
    solved = margins if (point == heating.at).all() else margins_of_pressings(heating, heating.at, *setting)
    shoe = np.flatnonzero(np.array(stack.roles) == "upper")
    for at, (sighting, look) in enumerate(zip(pressings, looks, strict=True)):
        spread = np.maximum(np.linalg.norm(margins.slopes[at, shoe], axis=1), sighting.look_noise_k)
        weakest = int(shoe[np.argmin(solved.value_k[at, shoe] / spread)])
        slopes = margins.slopes[at, [weakest]]
        low, high = (np.array([end]) for end in LOOKS[look])
        offset = margins.value_k[at, [weakest]] - slopes @ point
        yield Rows(
            parameters,
            Observations(offset, slopes, np.array([sighting.look_noise_k]), low, high),
            np.zeros(1, dtype=np.intp),
            np.array([1 if look == "unchanged" else -1], dtype=np.intp),
        )


def job_of(sighting: Sighting, sightings: tuple[Sighting, ...]) -> Job:
    """Return the job of a sighting on its press, solved with the readings of all sightings."""
    return sighting.job._replace(press=sighting.press or "", sightings=sightings)


def spread_of(book: Book, press: str) -> float:
    """Return how far the platen of a press strays [K], 95 %; zero for none, of which the noise has it."""
    return book.presses[press].platen_spread_k if press else 0.0
