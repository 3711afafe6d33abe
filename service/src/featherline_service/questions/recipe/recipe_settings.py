"""The settings that a press can be given for a film on an upper, the best first."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from featherline.wire.records import Film, Press, PressureLevel
from featherline_service.book.shop_book import Book
from featherline_service.quantities import (
    celsius,
    fahrenheit,
)
from featherline_service.questions.recipe.recipe_tasks import SAME_SCALE, Asked
from featherline_service.questions.recipe.windows import Candidate, Job, best_first, candidates, pressure_kpa, sureness
from featherline_service.questions.shoes.old_marks import marked_upper

_MOST_TEMPERATURES: Final = 3
"""Platen temperatures tried of a film's range, its ends and its middle among them: a kelvin decides nothing."""


def jobs_of(book: Book, asked: Asked, pressure: PressureLevel) -> list[Job]:
    """Return the stacks that one setting has to suit, one for each upper that it may be, at a level of pressure."""
    pad, kpa = book.platens[asked.platen].pad, pressure_kpa(book.presses[asked.press].pressures, pressure)
    jobs = []
    for upper in asked.uppers:
        under = upper if asked.under is None else marked_upper(book, upper, asked.under)
        old = [marked_upper(book, upper, mark.film) for mark in asked.old_marks]
        jobs.append(Job(asked.film, under, pad, kpa, beside=(upper, *old) if old else ()))
    return jobs


def bonds(book: Book, asked: Asked) -> bool:
    """Return whether the film bonds to what it is pressed on: any upper that it may be, or the film that is there."""
    if asked.under is not None:
        return book.films[asked.under].takes_film
    film = book.films[asked.film]
    return any(upper.surface in film.bonds_to for upper in asked.uppers)


def temperatures_of(film: Film, press: Press, asked: Asked) -> tuple[float, ...]:
    """Return the platen temperatures [degC] to try: the one held, or some of the press's steps in the film's range."""
    if asked.held_c is not None:
        return (asked.held_c,)
    low = max(film.setting.coolest_c, press.coolest_c)
    high = min(film.setting.hottest_c, press.hottest_c)
    step, first, last = press.step_c, low, high
    if asked.units == "us":
        step, first, last = press.step_f, fahrenheit(low), fahrenheit(high)
    count = np.arange(math.ceil(first / step - SAME_SCALE), math.floor(last / step + SAME_SCALE) + 1)
    if count.size > _MOST_TEMPERATURES:
        count = count[np.linspace(0, count.size - 1, _MOST_TEMPERATURES).round().astype(int)]
    settings = [float(value) * step for value in count]
    return tuple(celsius(f"{value:.6f} degF") if asked.units == "us" else value for value in settings)


def levels_of(film: Film, asked: Asked) -> tuple[PressureLevel, ...]:
    """Return the levels of pressure to try: the one held, or the published one and what else the maker allows."""
    if asked.pressure is not None:
        return (asked.pressure,)
    return (film.setting.pressure, *film.setting.also)


def ranked(book: Book, asked: Asked) -> tuple[Candidate, ...]:
    """Return every setting to consider, the best first; none where there can be none."""
    film, press = book.films[asked.film], book.presses[asked.press]
    temperatures = temperatures_of(film, press, asked)
    if not temperatures or not bonds(book, asked):
        return ()
    found: list[Candidate] = []
    for level in levels_of(film, asked):
        jobs = jobs_of(book, asked, level)
        found += candidates(book, jobs, asked.covers, temperatures, pressure=level, press=press, guard_k=asked.guard_k)
        if max(map(sureness, found)) >= 0.0:
            break  # a published level that is sure is preferred to any other
    return tuple(best_first(book, film, found))


def best_of(book: Book, asked: Asked) -> Candidate | None:
    """Return the best setting for a question, or None where none has a dwell."""
    film = book.films[asked.film]
    # The bond line is the upper's face: where that may not get as hot as the adhesive softens, nothing need be solved.
    faces = [
        book.materials[job.upper.layers[0].material].limit.peak_c for job in jobs_of(book, asked, film.setting.pressure)
    ]
    if min(faces) - asked.guard_k <= film.adhesive.onset_c:
        return None
    settings = ranked(book, asked)
    return settings[0] if settings and settings[0].dwell_s is not None else None
