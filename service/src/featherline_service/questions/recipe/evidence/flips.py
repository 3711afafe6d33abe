"""What changed the choice of a setting: what was observed, or how dry or damp the shoe is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from msgspec.structs import replace

from featherline.wire.records import Layer, Upper
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.messages.values import said
from featherline_service.quantities import temperature
from featherline_service.questions.reasons import reason
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.recipe.recipe_settings import best_ranked
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, sureness

_MOST_LEFT_OUT: Final = 8
"""Observations that are left out in turn, to see which of them decides."""


def flips(book: Book, task: RecipeTask, settings: Sequence[Candidate]) -> Iterator[Reason]:
    """Yield why a task's best setting is at another cover sheet, temperature or pressure than it would be.

    Without what was observed, and for a shoe as dry as the room.

    Args:
        book: The shop book.
        task: The task.
        settings: Its settings, the best first, which has a dwell.
    """
    if task.sightings:
        before = _best(book, task._replace(sightings=()))
        if before is not None and _place(before) != _place(settings[0]):
            yield _told(book, task, settings, before, _deciding(book, task, before))
    if task.uppers != (as_in_room := tuple(_in_room(book, upper) for upper in task.uppers)):
        before = _best(book, task._replace(uppers=as_in_room))
        if before is not None and _place(before) != _place(settings[0]):
            yield _told(book, task, settings, before)


def _best(book: Book, task: RecipeTask) -> Candidate | None:
    """Return the best setting of a task, None where it has no dwell."""
    best = best_ranked(book, task)
    return None if best is None or best.dwell_s is None else best


def _place(candidate: Candidate) -> tuple[str | None, float, str]:
    """Return what a press is set to beside the dwell."""
    return candidate.cover, candidate.platen_c, candidate.pressure


def _deciding(book: Book, task: RecipeTask, before: Candidate) -> str:
    """Return the names of the observations without which alone the setting would be the one before; else all."""
    without: list[Sighting] = []
    for at, sighting in enumerate(task.sightings[:_MOST_LEFT_OUT] if len(task.sightings) > 1 else ()):
        best = _best(book, task._replace(sightings=(*task.sightings[:at], *task.sightings[at + 1 :])))
        if best is not None and _place(best) == _place(before):
            without.append(sighting)
    return ", ".join(sighting.name for sighting in without or task.sightings)


def _in_room(book: Book, upper: Upper) -> Upper:
    """Return an upper with its materials as they are in a room."""
    dampened = {
        other: material.id
        for material in book.materials.values()
        for other in (material.dry, material.damp)
        if other is not None
    }

    def layer_in_room(layer: Layer) -> Layer:
        return replace(layer, material=dampened.get(layer.material, layer.material))

    return replace(upper, layers=tuple(map(layer_in_room, upper.layers)))


def _told(
    book: Book, task: RecipeTask, settings: Sequence[Candidate], before: Candidate, observed: str | None = None
) -> Reason:
    """Return that what was observed, or else how damp the shoe is, changed the setting from one before."""
    now = next((each for each in settings if _place(each) == _place(before)), None)
    wetness = "damp" if task.is_damp else "dry"
    return reason(
        "heat.other-setting",
        "ready",
        "/onto/shoe/conditioning" if observed is None else "/observations",
        said(
            "heat.other-setting",
            cause=wetness if observed is None else "observed",
            observed=observed,
            cover=None if before.cover is None else book.covers[before.cover].name,
            temperature=temperature(before.platen_c, task.units),
            pressure=before.pressure,
            still="unsure" if now is None or sureness(now) < 0.0 else "sure",
        ),
    )
