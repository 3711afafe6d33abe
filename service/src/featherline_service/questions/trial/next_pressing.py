"""The next pressing of a trial: the dwell that is recommended by what is known so far, or that this is enough.

A pressing at the recommended dwell teaches as much as any: whether it holds tells most where that is least sure. Where
what the upper stands is a guess, or it is not sure to stand it, a test piece is pressed before any shoe, and as long as
is sure to bond: no outcome makes an upper surer to stand more, so that one that looked unchanged there is all that can
be had, and a shorter dwell would only leave the bond open.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

from msgspec.structs import replace

from featherline.wire.recipes import Recipe, Setting
from featherline.wire.trials import NextPressing, TrialObservation
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import Quantity, said
from featherline_service.quantities import plain_seconds, temperature
from featherline_service.questions.recipe.evidence.account import Dwells, Pressing, chance_bonds, chance_unharmed
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.recipe_reasons import UNSURE
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, spans

_TAUGHT: Final = UNSURE | {"heat.weak-evidence"}
"""Codes of reasons that a pressing may take away."""
_ROUNDING: Final = 1e-4
"""[K] and [s] A setting in few decimals may be so far off."""
_SURE: Final = 0.975
"""[-] Chance with which a layer must stand a pressing on a shoe."""


def by_recipe(book: Book, task: RecipeTask, jobs: Sequence[Job], recipe: Recipe) -> NextPressing | None:
    """Return the next pressing on an upper that is known, or that this is enough; None for a declined recipe."""
    if recipe.setting is None or recipe.evidence is None:
        return None
    setting, chances = recipe.setting, (recipe.evidence.chance_bonds, recipe.evidence.chance_unharmed)
    doubts = [reason for reason in recipe.reasons if reason.verdict == "trial"]
    of_upper = any(map(_is_of_upper, doubts))
    sure_s = _sure_to_bond(book, task, recipe) if of_upper else None
    if sure_s is not None:
        setting = replace(setting, dwell_s=sure_s)
        chances = _chances(book, task, jobs, setting)
    # At a dwell that is sure to bond, that the recommended one is not is no doubt.
    ends = {"bond line"} if sure_s is not None else set()
    stood = _stood(task, setting)
    enough = all(
        doubt.code not in _TAUGHT or (stood and (_is_of_upper(doubt) or doubt.subject in ends)) for doubt in doubts
    )
    on: Literal["shoe", "test-piece"] = "test-piece" if of_upper and not enough else "shoe"
    return _pressing(task, setting, chances, on=on, enough=enough, film=True)


def _is_of_upper(doubt: Reason) -> bool:
    """Return whether a doubt is whether the upper stands the pressing."""
    return doubt.code == "heat.weak-evidence" or (doubt.code == "heat.worst-case" and doubt.subject != "bond line")


def _sure_to_bond(book: Book, task: RecipeTask, recipe: Recipe) -> float | None:
    """Return the first dwell [s] of the press that is sure to bond, None where the window ends before it."""
    window, step_s = recipe.window, book.presses[task.press].step_s
    if window is None or window.longest_s is None or window.worst_case.shortest_s is None:
        return None
    sure_s = step_s * math.ceil(window.worst_case.shortest_s / step_s - _ROUNDING)
    return sure_s if sure_s <= window.longest_s else None


def _stood(task: RecipeTask, setting: Setting) -> bool:
    """Return whether the upper looked unchanged after a pressing as hot and as long, under the same cover sheet."""
    return any(
        sighting.upper == "unchanged"
        and sighting.cover == setting.cover
        and sighting.job.upper in task.uppers
        and sighting.job.film == task.film
        and sighting.platen_c >= setting.temperature_c - _ROUNDING
        and sighting.dwell_s >= setting.dwell_s - _ROUNDING
        for sighting in task.sightings
    )


def by_rung(book: Book, task: RecipeTask, jobs: Sequence[Job], setting: Setting, *, film: bool) -> NextPressing:
    """Return the first rung of a ladder as the next pressing: it is not known which upper the shoe has."""
    chances = _chances(book, task, jobs, setting)
    on: Literal["shoe", "test-piece"] = "shoe" if chances[1] >= _SURE else "test-piece"
    return _pressing(task, setting, chances, on=on, enough=False, film=film)


def _chances(book: Book, task: RecipeTask, jobs: Sequence[Job], setting: Setting) -> tuple[float, float]:
    """Return how likely a setting bonds the film and harms nothing: of the job for which it is least."""
    spread_k, bonds, unharmed = book.presses[task.press].platen_spread_k, 1.0, 1.0
    for job in jobs:
        known = known_for(book, job.sightings)
        (span,) = spans(
            book, job, setting.cover, (setting.temperature_c,), platen_spread_k=spread_k, guard_k=0.0, known=known
        )
        chosen = Candidate(setting.cover, setting.temperature_c, setting.pressure, span, setting.dwell_s)
        pressed = Pressing(job, chosen, setting.dwell_s, spread_k, 0.0)
        unharmed = min(unharmed, chance_unharmed(book, pressed, known))
        dwells = Dwells(span.shortest_s, span.sure_from_s)
        takes_film = job.upper.surface in book.films[job.film].bonds_to
        bonds = min(bonds, chance_bonds(book, pressed, dwells, known) if takes_film else 0.0)
    return bonds, unharmed


def _pressing(
    task: RecipeTask,
    setting: Setting,
    chances: tuple[float, float],
    *,
    on: Literal["shoe", "test-piece"],
    enough: bool,
    film: bool,
) -> NextPressing:
    bonds, unharmed = chances
    values = {
        "dwell": plain_seconds(setting.dwell_s),
        "temperature": temperature(setting.temperature_c, task.units),
        "bonds": Quantity(round(100.0 * bonds) + 0.0, "percent", 0),
        "unharmed": Quantity(round(100.0 * unharmed) + 0.0, "percent", 0),
    }
    words = said("try.next.enough", **values) if enough else said("try.next", **values, on=on)
    return NextPressing(
        enough=enough,
        on=on,
        setting=setting,
        film=film,
        chance_bonds=bonds,
        chance_unharmed=unharmed,
        observation=None if enough else _observation(task, setting),
        **words._asdict(),
    )


def _observation(task: RecipeTask, setting: Setting) -> TrialObservation:
    """Return a setting as a request takes it."""
    celsius = "degC" in setting.settable_in
    temperature = f"{setting.temperature_c:.9g} degC" if celsius else f"{setting.temperature_f:.9g} degF"
    return TrialObservation(
        film=task.film,
        press=task.press,
        cover=setting.cover,
        temperature=temperature,
        pressure=setting.pressure,
        dwell=f"{setting.dwell_s:.9g} s",
    )
