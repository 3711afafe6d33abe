"""Trials on simulated shoes, by the answer's next pressing and by a simple rule; writes `evidence_trials.json`.

A world is a draw of everything uncertain of a shoe, film and press (see `evidence_coverage.py`); two of the eight
uppers are such that the first answer is to try. By the answer a shop presses what `next` says, a test piece where it
says so, tells what it saw, and asks again until there is enough; then it presses the shoe. By the simple rule it
presses the film's longest published dwell, and 5 s more each time until the film holds or the upper looks harmed. What
is seen has the errors that are assumed of it. Counted are the pressings, that of the shoe among them; shoes that any
pressing truly harmed; and final dwells that truly bond.

`python tests/outside/evidence_trials.py [WORLDS]`
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
from evidence_coverage import COVER, KINDS, PLATEN_C, UPPERS, World, drawn, margin_k, pressed
from msgspec.structs import replace

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.heat.pressing import LONGEST_DWELL_S
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting
from featherline_service.questions.recipe.recipe_settings import jobs_of
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.recipes import recipe_of
from featherline_service.questions.trial.next_pressing import by_recipe

RESULTS = Path(__file__).with_suffix(".json")
EVERY_UPPER = (*UPPERS, "glitter", "suede")
MOST_PRESSINGS = 8
STEP_S = 5.0


class Outcome(NamedTuple):
    """What came of a shoe: how often was pressed, whether a shoe was harmed, and the final dwell [s], if any."""

    pressings: int
    harmed: bool
    dwell_s: float | None


def by_answer(book: Book, world: World, task: RecipeTask, job: Job, random: np.random.Generator) -> Outcome:
    """Return what comes of pressing what the answer says."""
    seen: tuple[Sighting, ...] = ()
    harmed, pressings = False, 0
    while pressings < MOST_PRESSINGS:
        told = task._replace(sightings=seen)
        following = by_recipe(book, told, jobs_of(book, told, "medium"), recipe_of(book, told))
        if following is None:
            return Outcome(pressings, harmed, None)
        dwell_s = following.setting.dwell_s
        pressings += 1
        harmed |= following.on == "shoe" and margin_k(book, world, dwell_s) < 0.0
        if following.enough:
            return Outcome(pressings, harmed, dwell_s)
        seen = (*seen, pressed(book, world, job, dwell_s, random))
    return Outcome(pressings, harmed, None)


def by_rule(book: Book, world: World, job: Job, random: np.random.Generator) -> Outcome:
    """Return what comes of the film's setting and 5 s more each time."""
    dwell_s, harmed, pressings = book.films[job.film].setting.longest_s, False, 0
    while dwell_s <= LONGEST_DWELL_S:
        pressings += 1
        harmed |= margin_k(book, world, dwell_s) < 0.0
        seen = pressed(book, world, job, dwell_s, random)
        if seen.bond == "holds":
            return Outcome(pressings, harmed, dwell_s)
        if seen.upper != "unchanged":
            break
        dwell_s += STEP_S
    return Outcome(pressings, harmed, None)


def simulated(book: Book, worlds: int, wider: float, higher: float, seed: int) -> dict[str, dict[str, float]]:
    """Return what comes of both in some worlds."""
    random = np.random.default_rng(seed)
    outcomes: dict[str, list[tuple[Outcome, World]]] = {"by the answer": [], "by the rule": []}
    for number in range(worlds):
        task = RecipeTask(
            film="smooth",
            uppers=(book.uppers[EVERY_UPPER[number % len(EVERY_UPPER)]],),
            press="swing",
            platen=book.presses["swing"].platens[0],
            covers=(COVER,),
            units="metric",
            temperature_c=PLATEN_C,
            pressure="medium",
        )
        (job,) = jobs_of(book, task, "medium")
        world = drawn(book, job, random, wider, higher)
        outcomes["by the answer"].append((by_answer(book, world, task, job, random), world))
        outcomes["by the rule"].append((by_rule(book, world, job, random), world))
    return {kind: _counted(each) for kind, each in outcomes.items()}


def _counted(outcomes: list[tuple[Outcome, World]]) -> dict[str, float]:
    final = [(outcome.dwell_s, world.shortest_s) for outcome, world in outcomes if outcome.dwell_s is not None]
    return {
        "pressings": sum(outcome.pressings for outcome, _ in outcomes) / len(outcomes),
        "shoes harmed": sum(outcome.harmed for outcome, _ in outcomes) / len(outcomes),
        "with a final dwell": len(final) / len(outcomes),
        "final dwell bonds": sum(dwell_s >= shortest_s for dwell_s, shortest_s in final) / max(len(final), 1),
    }


def main(worlds: int) -> None:
    """Simulate worlds of every kind and store what comes of both."""
    book = replace(load(), practices={})
    results = {kind: simulated(book, worlds, *how, seed=8037 + at) for at, (kind, how) in enumerate(KINDS.items())}
    RESULTS.write_text(json.dumps({"worlds": worlds, **results}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 240)
