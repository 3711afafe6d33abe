"""The settings that a press can be given for a film on an upper, the best first."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from featherline.wire.recipes import Units
from featherline.wire.records import Film, Press, PressureLevel
from featherline_service.book.shop_book import Book
from featherline_service.quantities import fahrenheit, from_fahrenheit
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, best_first, candidates, sureness
from featherline_service.questions.shoes.old_marks import marked_upper
from featherline_service.questions.shoes.presses import pressure_kpa

_MOST_TEMPERATURES: Final = 3
"""Platen temperatures to try in a film's range, its ends and its middle: a kelvin decides nothing."""
_ROUNDING: Final = 1e-4
"""[steps] A limit in the book, in few decimals of one scale, may be so far off a step of the other."""


def jobs_of(book: Book, task: RecipeTask, pressure: PressureLevel) -> list[Job]:
    """Return the stacks that one setting has to suit, one for each possible upper, at a level of pressure."""
    pad, kpa = book.platens[task.platen].pad, pressure_kpa(book.presses[task.press].pressures, pressure)
    jobs = []
    for upper in task.uppers:
        under = upper
        for mark, is_new in task.marks_there:
            under = marked_upper(book, under, mark.film, is_new=is_new) if mark.under else under
        old = [marked_upper(book, upper, mark.film, is_new=is_new) for mark, is_new in task.marks_there]
        jobs.append(
            Job(task.film, under, pad, kpa, (upper, *old) if old else (), press=task.press, sightings=task.sightings)
        )
    return jobs


def bonds(book: Book, task: RecipeTask) -> bool:
    """Return whether the film bonds to the film under it, or, without one, to any possible upper."""
    if task.under is not None:
        return book.films[task.under].takes_film
    film = book.films[task.film]
    return any(upper.surface in film.bonds_to for upper in task.uppers)


def temperatures_of(film: Film, press: Press, task: RecipeTask) -> tuple[float, ...]:
    """Return the platen temperatures [degC] to try: the chosen one, or some of the press's in the film's range."""
    if task.temperature_c is not None:
        return (task.temperature_c,)
    return temperatures_in_range(film, press, task.units, _MOST_TEMPERATURES)


def temperatures_in_range(film: Film, press: Press, units: Units, most: int) -> tuple[float, ...]:
    """Return at most so many platen temperatures [degC] in a film's range that a press can be set to, the ends too."""
    published = film.setting
    there = settable(press, max(published.coolest_c, press.coolest_c), min(published.hottest_c, press.hottest_c), units)
    if len(there) <= most:
        return there
    return tuple(there[at] for at in np.linspace(0, len(there) - 1, most).round().astype(int).tolist())


def settable(press: Press, low_c: float, high_c: float, units: Units) -> tuple[float, ...]:
    """Return the platen temperatures [degC] between two that a press can be set to, in a scale's whole steps."""
    step, first, last = press.step_c, low_c, high_c
    if units == "us":
        step, first, last = press.step_f, fahrenheit(low_c), fahrenheit(high_c)
    steps = range(math.ceil(first / step - _ROUNDING), math.floor(last / step + _ROUNDING) + 1)
    return tuple(from_fahrenheit(count * step) if units == "us" else count * step for count in steps)


def levels_of(film: Film, task: RecipeTask) -> tuple[PressureLevel, ...]:
    """Return the levels of pressure to try: the chosen one, or the published one and others that the maker allows."""
    if task.pressure is not None:
        return (task.pressure,)
    return (film.setting.pressure, *film.setting.also)


def ranked(book: Book, task: RecipeTask) -> tuple[Candidate, ...]:
    """Return every setting to consider, the best first; none where the film does not bond or no temperature suits."""
    film, press = book.films[task.film], book.presses[task.press]
    temperatures = temperatures_of(film, press, task)
    if not temperatures or not bonds(book, task):
        return ()
    settings: list[Candidate] = []
    for level in levels_of(film, task):
        jobs = jobs_of(book, task, level)
        settings += candidates(book, jobs, task.covers, temperatures, pressure=level, press=press, guard_k=task.guard_k)
        if max(map(sureness, settings)) >= 0.0:
            break  # a published level that is sure is preferred to any other
    return tuple(best_first(book, film, settings))


def best_ranked(book: Book, task: RecipeTask) -> Candidate | None:
    """Return the first of the `ranked`; None where there are none.

    Under the bench's own cover sheet and at the published pressure a sure setting ranks before all others: where there
    is one, no other sheet is solved.
    """
    usual, (level, *_) = book.bench.cover, levels_of(book.films[task.film], task)
    if usual in task.covers:
        settings = ranked(book, task._replace(covers=(usual,), pressure=level))
        if not settings or sureness(settings[0]) >= 0.0:
            return settings[0] if settings else None
    return next(iter(ranked(book, task)), None)


def best_of(book: Book, task: RecipeTask) -> Candidate | None:
    """Return the best setting for a task, or None where none has a dwell."""
    film = book.films[task.film]
    # The bond line is the upper's face: where that may not get as hot as the adhesive softens, nothing need be solved.
    faces = [
        book.materials[job.upper.layers[0].material].limit.peak_c for job in jobs_of(book, task, film.setting.pressure)
    ]
    if min(faces) - task.guard_k <= film.adhesive.onset_c:
        return None
    best = best_ranked(book, task)
    return None if best is None or best.dwell_s is None else best
