"""Mislabelled observations in simulated worlds: how often they are named; writes `evidence_swaps.json`.

In each world a shop presses its stack four times, from well too short to amply long, and notes whether the film holds,
with the errors that are assumed of that. As noted, nothing should be named; with the labels of the shortest and the
longest pressing swapped, one of the two should.

`python tests/outside/evidence_swaps.py [WORLDS]`
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
from evidence_coverage import UPPERS, drawn, pressed
from msgspec.structs import replace

from featherline_service.book.loader import load
from featherline_service.heat.pressing import LONGEST_DWELL_S
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Job

RESULTS = Path(__file__).with_suffix(".json")
SHARES = (0.4, 0.6, 1.6, 2.2)
"""Dwells of the pressings, by the shortest that truly bonds."""


def main(worlds: int) -> None:
    """Simulate worlds and store how often an alarm is false, and how often a swap is named."""
    book = replace(load(), practices={})
    random = np.random.default_rng(8037)
    false = named = swapped = 0
    for number in range(worlds):
        kpa = book.bench.reference_pressures.medium_kpa
        upper = book.uppers[UPPERS[number % len(UPPERS)]]
        job = Job("smooth", upper, book.bench.reference_pad, kpa, press="swing")
        world = drawn(book, job, random, 1.0, 0.0)
        dwells = [min(max(share * world.shortest_s, 1.0), LONGEST_DWELL_S) for share in SHARES]
        seen = [
            pressed(book, world, job, dwell_s, random)._replace(name=str(at), upper=None)
            for at, dwell_s in enumerate(dwells)
        ]
        false += bool(known_for(book, tuple(seen)).contradicting)
        first, *others, last = seen
        if first.bond != last.bond:
            swapped += 1
            mixed = (first._replace(bond=last.bond), *others, last._replace(bond=first.bond))
            named += bool({0, len(seen) - 1} & set(known_for(book, mixed).contradicting))
    results = {"worlds": worlds, "false alarms": false / worlds, "swapped": swapped, "swaps named": named / swapped}
    RESULTS.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
