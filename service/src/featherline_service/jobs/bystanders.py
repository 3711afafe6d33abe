"""Panels that lie under the upper platen with the marked ones: do they stand the setting, without film on them?"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from functools import lru_cache

import numpy as np
from msgspec import Struct

from featherline.wire.recipes import Setting
from featherline.wire.records import Panel, ShoeModel
from featherline.wire.shoes import Face
from featherline_service.book.shelves import Book
from featherline_service.heat.window import layer_dwells
from featherline_service.jobs.windows import Job, beside


class Endangered(Struct, frozen=True, kw_only=True):
    """A panel beside the marked ones that the setting harms, or may: `longest_s` as the book has it, `sure_s` at worst.

    `layer` is the first of its layers to be harmed.
    """

    panel: Panel
    layer: str
    longest_s: float
    sure_s: float


def endangered(
    book: Book, shoe: ShoeModel, face: Face, marked: Collection[str], setting: Setting, *, pad: str, spread_k: float
) -> Iterator[Endangered]:
    """Yield the panels of a face that are not marked, and do not surely stand the setting of those that are.

    Args:
        book: the shop book.
        shoe: the shoe.
        face: the face that lies under the upper platen.
        marked: ids of the panels that are marked: their own recipes speak of them.
        setting: the setting; without a cover sheet the platen meets the upper itself, and nothing can be said.
        pad: the lower platen's pad.
        spread_k: spread of the upper platen's temperature [K].
    """
    uppers = {panel.upper for panel in shoe.panels if panel.id in marked}
    for panel in shoe.panels:
        if panel.face != face or panel.upper in uppers or setting.cover is None:
            continue
        layer, longest_s, sure_s = _stands(
            book, panel.upper, pad, setting.cover, setting.pressure_kpa, setting.temperature_c, spread_k
        )
        if sure_s < setting.dwell_s:
            yield Endangered(panel=panel, layer=layer, longest_s=longest_s, sure_s=sure_s)


@lru_cache(maxsize=256)
def _stands(  # noqa: PLR0917 - a cached function is called by position
    book: Book, upper: str, pad: str, cover: str, kpa: float, platen_c: float, spread_k: float
) -> tuple[str, float, float]:
    """Return which layer of an upper under a cover sheet is harmed first, after how long, and how long it is sure."""
    stack, pressing = beside(book, Job("", book.uppers[upper], pad, kpa), cover)
    stood = layer_dwells(
        pressing,
        stack.changes,
        stack.limits,
        platens_c=np.array([platen_c]),
        platen_spread_k=spread_k,
        room_c=book.bench.room_c,
        guard_k=0.0,
    )
    first = int(np.argmin(stood.worst_s[:, 0]))
    return stack.names[first], float(stood.nominal_s[first, 0]), float(stood.worst_s[first, 0])
