"""What changed the choice of a setting: what was observed, or how dry or damp the shoe is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from msgspec.structs import replace

from featherline.wire.records import Layer, Upper
from featherline.wire.verdicts import Reason
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence.sightings import Sighting
from featherline_service.questions.recipe.recipe_settings import ranked
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, sureness
from featherline_service.questions.shoes.presses import say_platen

_MOST_LEFT_OUT: Final = 8
"""Observations that are left out in turn, to see which of them decides."""


class Cause(NamedTuple):
    """What changes a setting, its place in the request, and the setting that is best without it."""

    subject: str
    words: str
    before: Candidate


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
            names = _deciding(book, task, before)
            cause = Cause("/observations", f"What was observed ({names})", before)
            yield _reason(book, task, settings, cause)
    if task.uppers != (as_in_room := tuple(_in_room(book, upper) for upper in task.uppers)):
        before = _best(book, task._replace(uppers=as_in_room))
        if before is not None and _place(before) != _place(settings[0]):
            how = "damp" if task.is_damp else "dry"
            cause = Cause("/onto/shoe/conditioning", f"That the shoe is {how}", before)
            yield _reason(book, task, settings, cause)


def _best(book: Book, task: RecipeTask) -> Candidate | None:
    """Return the best setting of a task, None where it has no dwell."""
    settings = ranked(book, task)
    return settings[0] if settings and settings[0].dwell_s is not None else None


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


def _reason(book: Book, task: RecipeTask, settings: Sequence[Candidate], cause: Cause) -> Reason:
    chosen, before, press = settings[0], cause.before, book.presses[task.press]
    changes = []
    if chosen.cover != before.cover:
        changes.append(f"the cover sheet is {_cover(book, chosen)} and not {_cover(book, before)}")
    if chosen.platen_c != before.platen_c:
        new, old = (say_platen(press, each.platen_c, task.units) for each in (chosen, before))
        changes.append(f"the platen is set to {new} and not to {old}")
    if chosen.pressure != before.pressure:
        changes.append(f"it is pressed at {chosen.pressure} and not at {before.pressure} pressure")
    now = next((each for each in settings if _place(each) == _place(before)), None)
    if now is None or sureness(now) < 0.0:
        why = "By the other setting no dwell is sure any more."
    else:
        why = "The other setting is sure still, and this one is preferred."
    return Reason(
        code="heat.other-setting",
        verdict="ready",
        subject=cause.subject,
        sentence=f"{cause.words} changes the setting: {', and '.join(changes)}. {why}",
    )


def _cover(book: Book, candidate: Candidate) -> str:
    return "none" if candidate.cover is None else book.covers[candidate.cover].name
