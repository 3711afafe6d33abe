"""Drawings of a shop book: checks at the start that every panel, join and platen can be drawn."""

from __future__ import annotations

import math
from collections.abc import Iterator

import shapely

from featherline.wire.records import Join, Panel, ShoeModel
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.shop_book import Book
from featherline_service.questions.shoes.panel_joins import END_WITHIN_MM, LENGTHS_WITHIN, motion
from featherline_service.questions.shoes.panels import panel_area
from featherline_service.questions.shoes.presses import pad_outline
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths


def draw(*books: Book) -> None:
    """Draw every panel at its reference size and every platen with an outline, so that the caches have them.

    The panels of every join are laid beside each other.

    Raises:
        BookError: Some cannot be drawn; the error lists all.
    """
    faults = tuple(dict.fromkeys(fault for book in books for fault in _undrawable(book)))
    if faults:
        raise BookError(faults)


def _undrawable(book: Book) -> Iterator[BookFault]:
    for shoe in book.shoes.values():
        for key, advice in _panel_faults(shoe) or _join_faults(shoe):
            yield BookFault("shoes", shoe.id, key, advice)
    for platen in book.platens.values():
        if platen.outline is not None:
            try:
                pad_outline(platen.outline)
            except DrawingError as error:
                yield BookFault("platens", platen.id, "outline", str(error))


def _panel_faults(shoe: ShoeModel) -> list[tuple[str, str]]:
    """Return key and advice for every drawing of a shoe's panels that cannot be drawn."""
    faults = []
    for index, panel in enumerate(shoe.panels):
        try:
            panel_area(panel, 1.0, 1.0)
        except DrawingError:
            faults += [(f"panels[{index}].{key}", advice) for key, advice in _broken(panel)]
    return faults


def _join_faults(shoe: ShoeModel) -> list[tuple[str, str]]:
    """Return key and advice for every join whose edges do not lie on their outlines, or not beside each other."""
    return [
        (f"joins[{index}].{key}", advice)
        for index, join in enumerate(shoe.joins)
        for key, advice in _ends_off(shoe, join) or _not_beside(shoe, join)
    ]


def _ends_off(shoe: ShoeModel, join: Join) -> list[tuple[str, str]]:
    panels = {panel.id: panel for panel in shoe.panels}
    faults = []
    for key, name, ends in (("ends_mm", join.panel, join.ends_mm), ("other_ends_mm", join.other, join.other_ends_mm)):
        edge = panel_area(panels[name], 1.0, 1.0)[0].boundary
        off = max(float(shapely.distance(edge, shapely.Point(x, -y))) for x, y in ends)
        if off > END_WITHIN_MM:
            faults.append((key, f"An end lies {off:.1f} mm off the outline of {name}; give points of its outline"))
    return faults


def _not_beside(shoe: ShoeModel, join: Join) -> list[tuple[str, str]]:
    lengths = [math.dist(*join.ends_mm), math.dist(*join.other_ends_mm)]
    if min(lengths) < (1.0 - LENGTHS_WITHIN) * max(lengths):
        return [("other_ends_mm", f"{lengths[1]:.1f} mm long, the other edge {lengths[0]:.1f} mm; give ends that meet")]
    panels = {panel.id: panel_area(panel, 1.0, 1.0)[0] for panel in shoe.panels}
    beside = motion(shoe, join, (1.0, 1.0), to=join.panel).moved(panels[join.other])
    over = shapely.intersection(beside, panels[join.panel])
    if shapely.area(over) > 0.5 * min(shapely.area(beside), shapely.area(panels[join.panel])):
        return [("other_ends_mm", "Joined so, one panel lies on the other; give the two ends in the other order")]
    return []


def _broken(panel: Panel) -> Iterator[tuple[str, str]]:
    """Yield key and advice for the drawings of a panel that cannot be drawn."""
    drawings = {"outline": panel.outline} | {
        f"keep_outs[{i}].d": keep_out.d for i, keep_out in enumerate(panel.keep_outs)
    }
    for key, data in drawings.items():
        try:
            paths.region(data, "nonzero", 1.0)
        except DrawingError as error:
            yield key, str(error)
