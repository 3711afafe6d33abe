"""Coverage of windows in simulated worlds; writes `evidence_coverage.json`.

A world is a draw of every uncertain parameter of a stack. What truly happens in it is computed by the full solver: the
stack, the one beside the film and the reference are solved anew with the drawn properties, and kinetics, needed share,
platen and limits are those drawn. A shop presses what the recipe sets, up to three times, sees whether the film holds
and how the upper looks, with the errors that are assumed of that, and tells it to the next recipe. Then the windows are
set beside the truth: also where the world's spreads are 1.5 times those assumed, and where films need one sigma more of
their published dose. The trade's statements are left out, as they are true of our world.

`python tests/outside/evidence_coverage.py [WORLDS]`
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from msgspec.structs import replace

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import prior
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.pressing import AFTER_S, bond_line_response, pressing_response
from featherline_service.heat.variation import Line, shortest_dwells, stack_at
from featherline_service.heat.window import choose_dwell
from featherline_service.questions.recipe.evidence.frames import bonding_of, heatings_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import BOND_NOISE, LOOK_NOISE_K, Job, Sighting
from featherline_service.questions.recipe.evidence.solved import reference
from featherline_service.questions.recipe.windows import Span, spans

RESULTS = Path(__file__).with_suffix(".json")
UPPERS = ("leather-lined", "coated-leather", "glossy", "polyester-knit", "soft-leather", "canvas")
COVER, PLATEN_C, SPREAD_K, PRESSINGS = "silicone-thin", 160.0, 3.0, 3
KINDS = {"as assumed": (1.0, 0.0), "spreads 1.5 times wider": (1.5, 0.0), "needed share one sigma higher": (1.0, 1.0)}


class World(NamedTuple):
    """What truly is: the shortest dwell [s] that bonds, and what is needed to know how hot the upper gets."""

    shortest_s: float
    places: list[tuple[Any, np.ndarray[Any, Any], float]]


def drawn(book: Book, job: Job, random: np.random.Generator, wider: float, higher: float) -> World:
    """Return a world of a job."""
    z: dict[tuple[str, ...], float] = {}

    def values(parameters: tuple[tuple[str, ...], ...]) -> np.ndarray[Any, Any]:
        for name in parameters:
            if name not in z:
                z[name] = wider * float(random.standard_normal()) + (higher if name[0] == "needed-share" else 0.0)
        return np.array([z[name] for name in parameters])

    parameters, bonding = bonding_of(book, job, COVER, prior(()), SPREAD_K)
    at = values(parameters)
    cloth = reference(book, job.film).stack
    cotton = bond_line_response(stack_at(cloth.closed, bonding.reference.logs, at), cloth.upper)
    places = []
    line = None
    for names, stack, heating in heatings_of(book, job, COVER, prior(()), SPREAD_K):
        there = values(names)
        closed = stack_at(stack.closed, heating.logs, there)
        opened = stack_at(stack.opened, heating.logs, there, platen=False)
        solved = pressing_response(closed, opened, stack.upper)
        line = line or Line(solved.bond, solved.bond_slopes, bonding.job.logs)
        shoe = np.array(stack.roles) == "upper"
        limits_c = (heating.limits.peak_c + heating.limit_k @ there)[shoe]
        places.append(((solved, shoe), limits_c, PLATEN_C + float(there @ heating.platen_k)))
    assert line is not None
    true = bonding._replace(job=line, reference=Line(*cotton, bonding.reference.logs), at=at)
    return World(float(shortest_dwells(true, at[None], np.array([PLATEN_C]))[0, 0]), places)


def margin_k(book: Book, world: World, dwell_s: float) -> float:
    """Return how far below its limit the upper's weakest layer stays [K]."""
    least = math.inf
    for (solved, shoe), limits_c, platen_c in world.places:
        rise = step_peaks(solved.pressed, solved.opened, np.array([dwell_s]), AFTER_S).rise[shoe, 0]
        least = min(least, float((limits_c - book.bench.room_c - (platen_c - book.bench.room_c) * rise).min()))
    return least


def pressed(book: Book, world: World, job: Job, dwell_s: float, random: np.random.Generator) -> Sighting:
    """Return what is seen of a pressing."""
    late = math.log(dwell_s / max(world.shortest_s, 1e-6)) + BOND_NOISE * float(random.standard_normal())
    cool = margin_k(book, world, dwell_s) + LOOK_NOISE_K * float(random.standard_normal())
    looks = "unchanged" if cool > 0.0 else "shiny" if cool > -10.0 else "marked" if cool > -20.0 else "deformed"
    return Sighting(
        "pressing",
        job._replace(press="", sightings=()),
        COVER,
        "swing",
        PLATEN_C,
        dwell_s,
        "holds" if late > 0.0 else "edges-lift" if late > -math.log(1.25) else "lifts",
        looks,
    )


def window(book: Book, job: Job, sightings: tuple[Sighting, ...]) -> tuple[Span, float | None, bool]:
    """Return a job's window, the dwell to set, and whether it is ready."""
    (span,) = spans(book, job._replace(sightings=sightings), COVER, [PLATEN_C], platen_spread_k=SPREAD_K, guard_k=0.0)
    dwell = choose_dwell(span.shortest_s, span.longest_s, span.sure_from_s, span.sure_to_s, 1.0)
    sure = dwell is not None and span.sure_from_s <= dwell <= span.sure_to_s
    return span, dwell, sure and not known_for(book, sightings).contradicting


def simulated(book: Book, worlds: int, wider: float, higher: float, seed: int) -> dict[str, float]:
    """Return how often windows are right in some worlds."""
    random = np.random.default_rng(seed)
    counts = dict.fromkeys(("band", "sure", "ready", "bonds", "unharmed"), 0)
    for number in range(worlds):
        upper = UPPERS[number % len(UPPERS)]
        job = Job(
            "smooth",
            book.uppers[upper],
            book.bench.reference_pad,
            book.bench.reference_pressures.medium_kpa,
            press="swing",
        )
        world = drawn(book, job, random, wider, higher)
        seen: tuple[Sighting, ...] = ()
        for _ in range(int(random.integers(0, PRESSINGS + 1))):
            _, dwell, _ = window(book, job, seen)
            if dwell is None:
                break
            seen = (*seen, pressed(book, world, job, dwell, random))
        span, dwell, ready = window(book, job, seen)
        low = span.shortest_s**2 / span.sure_from_s
        counts["band"] += low <= world.shortest_s <= span.sure_from_s
        counts["sure"] += world.shortest_s <= span.sure_from_s
        if ready and dwell is not None:
            counts["ready"] += 1
            counts["bonds"] += world.shortest_s <= dwell
            counts["unharmed"] += margin_k(book, world, dwell) >= 0.0
    ready = max(counts["ready"], 1)
    return {
        "worlds": worlds,
        "shortest dwell within its 95 % band": counts["band"] / worlds,
        "shortest dwell below the sure one": counts["sure"] / worlds,
        "ready": counts["ready"] / worlds,
        "ready bonds": counts["bonds"] / ready,
        "ready is unharmed": counts["unharmed"] / ready,
    }


def main(worlds: int) -> None:
    """Simulate worlds of every kind and store how often windows are right."""
    book = replace(load(), practices={})
    results = {kind: simulated(book, worlds, *how, seed=8037 + at) for at, (kind, how) in enumerate(KINDS.items())}
    RESULTS.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
