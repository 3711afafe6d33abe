"""Bare panels and earlier films under the upper platen beside the film: whether they stand its setting."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from functools import lru_cache

import numpy as np
from msgspec import Struct

from featherline.wire.recipes import Setting
from featherline.wire.records import Upper
from featherline.wire.shoes import Face
from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop
from featherline_service.questions.recipe.evidence.frames import heating_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.outcomes.bad_outcomes import harm_beliefs
from featherline_service.questions.recipe.evidence.practices import recorded_of
from featherline_service.questions.recipe.evidence.sightings import Job
from featherline_service.questions.recipe.evidence.solved import beside
from featherline_service.questions.recipe.windows import shortest_layer_dwells
from featherline_service.questions.shoes.shoes import Shoe


class Hazard(Struct, frozen=True, kw_only=True):
    """A panel or film beside the new film that the setting harms, or may harm.

    `layer` is the first of its layers to be harmed; it stands `longest_s` as the book has it, `sure_s` at worst.
    """

    name: str
    layer: str
    longest_s: float
    sure_s: float


def hazards(
    book: Book, beside: Iterable[tuple[str, Upper]], setting: Setting, *, pad: str, spread_k: float
) -> Iterator[Hazard]:
    """Yield the panels and films beside the new film that do not surely stand the setting.

    Args:
        book: the shop book.
        beside: uppers, what is on them already included, each with its name.
        setting: the setting; without a cover sheet the platen meets the upper itself, and nothing can be said.
        pad: the lower platen's pad.
        spread_k: spread of the upper platen's temperature [K].
    """
    if setting.cover is None:
        return
    for name, upper in beside:
        layer, longest_s, sure_s = _stands(
            book, upper, pad, setting.cover, setting.pressure_kpa, setting.temperature_c, spread_k
        )
        if sure_s < setting.dwell_s:
            yield Hazard(name=name, layer=layer, longest_s=longest_s, sure_s=sure_s)


def unmarked(shoe: Shoe, face: Face, marked: Collection[str]) -> Iterator[tuple[str, Upper]]:
    """Yield the panels of a face with other uppers than the `marked` panels, whose recipes cover their own.

    None for a measured shoe: its other panels are not known.
    """
    if shoe.model is None:
        return
    uppers = {upper.id for panel in shoe.panels if panel.id in marked for upper in panel.uppers}
    for panel in shoe.panels:
        (upper,) = panel.uppers
        if panel.face == face and upper.id not in uppers:
            yield panel.name, upper


@by_workshop
@lru_cache(maxsize=256)
def _stands(  # noqa: PLR0917 - a cached function is called by position
    book: Book, upper: Upper, pad: str, cover: str, kpa: float, platen_c: float, spread_k: float
) -> tuple[str, float, float]:
    """Return which layer of an upper under a cover sheet is harmed first, after how long, and how long it is sure."""
    sightings = recorded_of(book)
    known = known_for(book, sightings)
    job = Job("", upper, pad, kpa, sightings=sightings)
    place = beside(book, upper, job, cover)
    framed = heating_of(book, place, known.readings, press="", platen_spread_k=spread_k)
    (stood,) = shortest_layer_dwells([framed], (platen_c,), harm_beliefs(book, known, job), guard_k=0.0)
    first = int(np.argmin(stood.worst_s[:, 0]))
    return framed.stack.names[first], float(stood.nominal_s[first, 0]), float(stood.worst_s[first, 0])
