"""How hot every layer gets in one pressing, nominal and at the worst case."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from featherline.wire.recipes import LayerPeak
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Belief
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.pressing import AFTER_S
from featherline_service.heat.window import at_dwell
from featherline_service.heat.worst_case import peak_bands
from featherline_service.questions.recipe.evidence.frames import FramedHeating, heatings_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.outcomes.outcome_rows import job_of
from featherline_service.questions.recipe.evidence.practices import practices_of
from featherline_service.questions.recipe.evidence.sightings import Job, Sighting
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, places, spread_of
from featherline_service.questions.shoes.presses import offset_k


def layer_peaks(book: Book, task: RecipeTask, job: Job, chosen: Candidate, dwell_s: float) -> tuple[LayerPeak, ...]:
    """Return how hot every layer gets in one pressing, from the platen down, under the film or beside it."""
    spread_k = book.presses[task.press].platen_spread_k
    readings = known_for(book, job.sightings).readings
    return merged(
        [
            _peaks_of(book, framed, readings, dwell_s, platen_c=chosen.platen_c)
            for framed in heatings_of(book, job, chosen.cover, readings, spread_k)
        ]
    )


def _peaks_of(
    book: Book, framed: FramedHeating, readings: Belief, dwell_s: float, *, platen_c: float
) -> tuple[LayerPeak, ...]:
    parameters, stack, heating = framed
    pressing = heating.response
    peaks = step_peaks(pressing.pressed, pressing.opened, np.array([dwell_s]), AFTER_S)
    known = spread_of(readings, parameters)
    temperatures = heating._replace(limit_k=np.zeros_like(heating.limit_k))
    _, spreads = peak_bands(temperatures, known, np.array([platen_c]))
    excess = float(heating.excess_k(np.array(platen_c), known.mean))
    peak = book.bench.room_c + excess * peaks.rise[:, 0]
    worst = peak + at_dwell(spreads[:, 0], dwell_s)
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


def hottest_unchanged_c(book: Book, material: str, sightings: tuple[Sighting, ...]) -> float:
    """Return the highest peak [degC] of a material in a pressing after which its upper was seen unchanged.

    Under the film or beside it, wherever it was looked at; minus infinity where none was.
    """
    hottest = -math.inf
    for sighting in (*practices_of(book), *sightings):
        job = job_of(sighting, sightings)
        looked = [sighting.upper, *[sighting.beside] * len(job.beside or (job.upper,))]
        if "unchanged" not in looked or not any(layer.material == material for layer in job.upper.layers):
            continue
        for looks, (stack, pressing) in zip(looked, places(book, job, sighting.cover), strict=False):
            if looks == "unchanged":
                rise = step_peaks(pressing.pressed, pressing.opened, np.array([sighting.dwell_s]), AFTER_S).rise[:, 0]
                platen_c = sighting.platen_c + offset_k(book, job.press)
                peaks = book.bench.room_c + (platen_c - book.bench.room_c) * rise
                shoe = [
                    role == "upper" and name == material
                    for role, name in zip(stack.roles, stack.materials, strict=True)
                ]
                hottest = max(hottest, float(peaks[shoe].max(initial=-math.inf)))
    return hottest


def merged(stacks: Sequence[Sequence[LayerPeak]]) -> tuple[LayerPeak, ...]:
    """Return the layers of all stacks, each once, at its smallest margin."""
    merged: dict[tuple[str, str], LayerPeak] = {}
    for layers in stacks:
        for layer in layers:
            known = merged.get((layer.layer, layer.material))
            if known is None or layer.margin_k < known.margin_k:
                merged[layer.layer, layer.material] = layer
    return tuple(merged.values())
