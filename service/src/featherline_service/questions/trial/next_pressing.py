"""The next pressing of a trial: the dwell that is recommended by what is known so far, or that this is enough.

A pressing at the recommended dwell teaches as much as any: whether it holds tells most where that is least sure. Where
what the upper stands is a guess, or it is not sure to stand it, a test piece is pressed before any shoe.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from featherline.wire.recipes import Recipe, Setting
from featherline.wire.trials import NextPressing, TrialObservation
from featherline_service.book.shop_book import Book
from featherline_service.quantities import say_temperature
from featherline_service.questions.recipe.evidence.account import Dwells, Pressing, chance_bonds, chance_unharmed
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.recipe_reasons import UNSURE
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, spans

_TAUGHT: Final = UNSURE | {"heat.weak-evidence"}
"""Codes of reasons that a pressing can take away."""
_SURE: Final = 0.975
"""[-] Chance with which a layer must stand a pressing on a shoe."""


def by_recipe(task: RecipeTask, recipe: Recipe) -> NextPressing | None:
    """Return the next pressing on an upper that is known, or that this is enough; None for a declined recipe."""
    if recipe.setting is None or recipe.evidence is None:
        return None
    codes = {reason.code for reason in recipe.reasons if reason.verdict == "trial"}
    chances = recipe.evidence.chance_bonds, recipe.evidence.chance_unharmed
    sure = "heat.weak-evidence" not in codes and recipe.evidence.chance_unharmed >= _SURE
    return _pressing(
        task,
        recipe.setting,
        chances,
        on="shoe" if sure else "test-piece",
        enough=not codes & _TAUGHT,
        film=True,
    )


def by_rung(book: Book, task: RecipeTask, jobs: Sequence[Job], setting: Setting, *, film: bool) -> NextPressing:
    """Return the first rung of a ladder as the next pressing: it is not known which upper the shoe has.

    The chances are those of the upper for which they are least.
    """
    press, bonds, unharmed = book.presses[task.press], 1.0, 1.0
    for job in jobs:
        known = known_for(book, job.sightings)
        spread_k = press.platen_spread_k
        (span,) = spans(
            book, job, setting.cover, (setting.temperature_c,), platen_spread_k=spread_k, guard_k=0.0, known=known
        )
        chosen = Candidate(setting.cover, setting.temperature_c, setting.pressure, span, setting.dwell_s)
        pressed = Pressing(job, chosen, setting.dwell_s, spread_k, 0.0)
        unharmed = min(unharmed, chance_unharmed(book, pressed, known))
        if job.upper.surface in book.films[job.film].bonds_to:
            bonds = min(bonds, chance_bonds(book, pressed, Dwells(span.shortest_s, span.sure_from_s), known))
        else:
            bonds = 0.0
    on: Literal["shoe", "test-piece"] = "shoe" if unharmed >= _SURE else "test-piece"
    return _pressing(task, setting, (bonds, unharmed), on=on, enough=False, film=film)


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
    at = f"{setting.dwell_s:g} s at {say_temperature(setting.temperature_c, task.units)}"
    risk = f"it bonds with a chance of {bonds:.0%} and harms nothing with {unharmed:.0%}"
    where = "on the shoe, at the first of the places" if on == "shoe" else "on a test piece of the same upper"
    sentence = (
        f"Enough is known: press {at}; {risk}."
        if enough
        else f"Press {at}, {where}: {risk}. Add to `observations` what came of it (`bond`, `upper`, `beside`), and ask "
        "again."
    )
    return NextPressing(
        enough=enough,
        on=on,
        setting=setting,
        film=film,
        chance_bonds=bonds,
        chance_unharmed=unharmed,
        observation=None if enough else _observation(task, setting),
        sentence=sentence,
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
