"""How hot every layer gets in one pressing, nominal and at the worst case."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from featherline.wire.recipes import LayerPeak
from featherline_service.book.shop_book import Book
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.pressing import AFTER_S, PressingResponse
from featherline_service.heat.window import FINE_DWELLS_S, peaks_with_bands
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.stacks import Pile
from featherline_service.questions.recipe.windows import Candidate, Job, places


def layer_peaks(book: Book, task: RecipeTask, job: Job, chosen: Candidate, dwell_s: float) -> tuple[LayerPeak, ...]:
    """Return how hot every layer gets in one pressing, from the platen down, under the film or beside it."""
    spread_k = book.presses[task.press].platen_spread_k
    return merged(
        [
            _peaks_of(book, *place, dwell_s, platen_c=chosen.platen_c, spread_k=spread_k)
            for place in places(book, job, chosen.cover)
        ]
    )


def _peaks_of(
    book: Book, stack: Pile, pressing: PressingResponse, dwell_s: float, *, platen_c: float, spread_k: float
) -> tuple[LayerPeak, ...]:
    peaks = step_peaks(pressing.pressed, pressing.opened, np.array([dwell_s]), AFTER_S)
    _, bands = peaks_with_bands(pressing, stack.changes)
    rise, excess = peaks.rise[:, 0], platen_c - book.bench.room_c
    peak = book.bench.room_c + excess * rise
    band = np.array([np.interp(math.log(dwell_s), np.log(FINE_DWELLS_S), row) for row in bands])
    worst = peak + np.hypot(excess * band, spread_k * rise)
    limits = [book.materials[name].limit for name in stack.materials]
    return tuple(
        LayerPeak(
            layer=stack.names[at],
            material=stack.materials[at],
            peak_c=float(peak[at]),
            worst_case_c=float(worst[at]),
            at_s=dwell_s + float(peaks.after_s[at, 0]),
            limit_c=limit.peak_c,
            margin_k=limit.peak_c - float(peak[at]),
            evidence=limit.evidence,
        )
        for at, limit in enumerate(limits)
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
