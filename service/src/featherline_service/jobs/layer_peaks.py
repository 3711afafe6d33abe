"""How hot every layer gets in one pressing, nominal and at the worst case."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from featherline.wire.recipes import (
    LayerPeak,
)
from featherline_service.book.shelves import Book
from featherline_service.heat.damage import peaks
from featherline_service.heat.pressing import AFTER_S, Followed
from featherline_service.heat.window import FINE_DWELLS_S, rises
from featherline_service.jobs.recipe_requests import Asked
from featherline_service.jobs.stacks import Pile, influence
from featherline_service.jobs.windows import (
    Candidate,
    Job,
    beside,
    followed,
)


def layer_peaks(book: Book, asked: Asked, job: Job, chosen: Candidate, dwell_s: float) -> tuple[LayerPeak, ...]:
    """Return how hot every layer gets in one pressing, from the platen down, under the film or beside it."""
    places = [followed(book, job, chosen.cover)] + ([] if chosen.cover is None else [beside(book, job, chosen.cover)])
    spread_k = book.presses[asked.press].platen_spread_k
    return merged(
        [
            _peaks_of(stack, pressing, dwell_s, room_c=book.bench.room_c, platen_c=chosen.platen_c, spread_k=spread_k)
            for stack, pressing in places
        ]
    )


def _peaks_of(
    stack: Pile, pressing: Followed, dwell_s: float, *, room_c: float, platen_c: float, spread_k: float
) -> tuple[LayerPeak, ...]:
    found = peaks(pressing.pressed, pressing.opened, np.array([dwell_s]), AFTER_S)
    _, bands = rises(pressing, influence(stack, stack.spreads))
    rise, excess = found.rise[:, 0], platen_c - room_c
    peak = room_c + excess * rise
    band = np.array([np.interp(math.log(dwell_s), np.log(FINE_DWELLS_S), row) for row in bands])
    worst = peak + np.hypot(excess * band, spread_k * rise)
    return tuple(
        LayerPeak(
            layer=stack.names[at],
            material=material.id,
            peak_c=float(peak[at]),
            worst_case_c=float(worst[at]),
            at_s=dwell_s + float(found.after_s[at, 0]),
            limit_c=material.limit.peak_c,
            margin_k=material.limit.peak_c - float(peak[at]),
            evidence=material.limit.evidence,
        )
        for at, material in enumerate(stack.materials)
    )


def merged(stacks: Sequence[Sequence[LayerPeak]]) -> tuple[LayerPeak, ...]:
    """Return the layers of all stacks, each once, at its smallest margin."""
    merged: dict[tuple[str, str], LayerPeak] = {}
    for layers in stacks:
        for layer in layers:
            known = merged.get((layer.layer, layer.material))
            if known is None or layer.margin_k < known.margin_k:
                merged[layer.layer, layer.material] = layer
    return tuple(merged.values())
