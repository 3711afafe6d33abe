"""Drawings of a shop book: checks at the start that every panel, join, view and platen can be drawn."""

from __future__ import annotations

import math
import multiprocessing
from collections.abc import Iterator, Sequence
from operator import attrgetter
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from featherline.wire.records import Join, Panel, ShoeModel
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.shop_book import Book
from featherline_service.questions.shoes.panel_joins import END_WITHIN_MM, LENGTHS_WITHIN, motion
from featherline_service.questions.shoes.panels import PANEL_TOLERANCE_MM, closed_region, panel_area
from featherline_service.questions.shoes.presses import pad_outline
from featherline_service.shape.outlines.curves import DrawingError
from featherline_service.shape.outlines.svg import paths, plain_paths

MOST_OVER: Final = 0.5
"""The share of the smaller of two joined panels that may lie over the other, as drawings are not exact; a guess."""
_MANY: Final = 500
"""Shoes whose check takes longer than it takes to make a process."""
_AT_ONCE: Final = 250  # shoes: 2,000 at once would take 60 MB
_PLAINLY: Final = 0.75
"""What is within this share of a limit by rough outlines is within the limit by fine ones."""


def check(*books: Book, processors: int = 1) -> None:
    """Check that every panel and every platen with an outline can be drawn, and joined panels be laid side by side.

    Nothing is kept: what is drawn is drawn when it is asked for. Of most drawings the numbers tell that they can be
    drawn; only the others are drawn here.

    Args:
        books: The books.
        processors: How many there are. On a second one, half of many shoes are checked by a copy of this process, which
            must not have threads then.

    Raises:
        BookError: Some cannot be drawn; the error lists all.
    """
    # Books of one timetable share the shoes that they have alike.
    shoes = tuple({id(shoe): shoe for book in books for shoe in book.shoes.values()}.values())
    in_two = processors > 1 and len(shoes) >= _MANY
    platens = dict.fromkeys(fault for book in books for fault in _undrawable_platens(book))
    faults = [*(_checked_in_two(shoes) if in_two else _undrawable(shoes)), *platens]
    if faults:
        raise BookError(faults)


def _checked_in_two(shoes: Sequence[ShoeModel]) -> list[BookFault]:
    """Return the faults of shoes; the second half is looked at by a copy of this process."""
    middle = len(shoes) // 2
    context = multiprocessing.get_context("fork")
    receiving, sending = context.Pipe(duplex=False)
    other = context.Process(target=lambda: sending.send(list(_undrawable(shoes[middle:]))))
    try:
        other.start()
    except OSError:  # no more processes can be made, or have memory
        return list(_undrawable(shoes))
    sending.close()
    faults = list(_undrawable(shoes[:middle]))
    with receiving:
        try:
            faults += receiving.recv()
        except EOFError:  # it was ended, such as for lack of memory
            faults += _undrawable(shoes[middle:])
    other.join()
    return faults


def _undrawable(shoes: Sequence[ShoeModel]) -> Iterator[BookFault]:
    for begin in range(0, len(shoes), _AT_ONCE):
        some = shoes[begin : begin + _AT_ONCE]
        for shoe, plain in zip(some, _plain(some), strict=True):
            for key, advice in () if plain else _panel_faults(shoe) or _join_faults(shoe):
                yield BookFault("shoes", shoe.id, key, advice)
            for key, advice in _view_faults(shoe):
                yield BookFault("shoes", shoe.id, key, advice)


def _undrawable_platens(book: Book) -> Iterator[BookFault]:
    for platen in book.platens.values():
        if platen.outline is not None:
            try:
                pad_outline(platen.outline)
            except DrawingError as error:
                yield BookFault("platens", platen.id, "outline", str(error))


def _plain(shoes: Sequence[ShoeModel]) -> list[bool]:
    """Tell of each shoe whether nothing can be wrong with its drawings; where something may be, they are drawn."""
    drawings = [
        (index, data) for index, shoe in enumerate(shoes) for panel in shoe.panels for _, data in _drawings(panel)
    ]
    joins = [(index, join) for index, shoe in enumerate(shoes) for join in shoe.joins]
    drawable = plain_paths.drawable([data for _, data in drawings], PANEL_TOLERANCE_MM)
    joined = _plainly_joined([(shoes[index], join) for index, join in joins])
    unclear = {index for (index, _), is_plain in zip(drawings, drawable, strict=True) if not is_plain}
    unclear |= {index for (index, _), is_plain in zip(joins, joined, strict=True) if not is_plain}
    return [index not in unclear for index in range(len(shoes))]


def _plainly_joined(joins: Sequence[tuple[ShoeModel, Join]]) -> NDArray[np.bool_]:
    """Tell of each join whether `_ends_off` and `_not_beside` have nothing to say of it, by rougher outlines."""
    plain = np.zeros(len(joins), np.bool_)
    outlines = [
        plain_paths.rings([panel.outline for shoe, join in joins for panel in shoe.panels if panel.id == name(join)])
        for name in (attrgetter("panel"), attrgetter("other"))
    ]
    places = np.flatnonzero(shapely.is_valid(outlines[0]) & shapely.is_valid(outlines[1]))
    if not len(places):
        return plain
    here, there = outlines[0][places], outlines[1][places]
    chosen = [joins[place] for place in places.tolist()]
    off, lengths = [], []
    for rings, name in ((here, "ends_mm"), (there, "other_ends_mm")):
        ends = np.array([getattr(join, name) for _, join in chosen]) * (1.0, -1.0)
        off.append(shapely.distance(shapely.boundary(rings)[:, None], shapely.points(ends)).max(axis=1))
        lengths.append(np.hypot(*(ends[:, 1] - ends[:, 0]).T))
    beside = [
        motion(shoe, join, (1.0, 1.0), to=join.panel).moved(ring)
        for (shoe, join), ring in zip(chosen, there, strict=True)
    ]
    over = shapely.area(shapely.intersection(beside, here))
    plain[places] = (
        (np.max(off, axis=0) < _PLAINLY * END_WITHIN_MM)
        & (np.min(lengths, axis=0) > (1.0 - _PLAINLY * LENGTHS_WITHIN) * np.max(lengths, axis=0))
        & (over < _PLAINLY * MOST_OVER * np.minimum(shapely.area(beside), shapely.area(here)))
    )
    return plain


def _drawings(panel: Panel) -> Iterator[tuple[str, str]]:
    """Yield key and path data of every drawing of a panel."""
    yield "outline", panel.outline
    for index, keep_out in enumerate(panel.keep_outs):
        yield f"keep_outs[{index}].d", keep_out.d


def _panel_faults(shoe: ShoeModel) -> list[tuple[str, str]]:
    """Return key and advice for every drawing of a shoe's panels that cannot be drawn."""
    faults = []
    for index, panel in enumerate(shoe.panels):
        for key, data in _drawings(panel):
            try:
                closed_region(data)
            except DrawingError as error:
                faults.append((f"panels[{index}].{key}", str(error)))
    return faults


def _view_faults(shoe: ShoeModel) -> Iterator[tuple[str, str]]:
    """Yield key and advice for every part of a shoe's views whose path data cannot be read."""
    for index, view in enumerate(shoe.views):
        for key, parts in (("parts", view.parts), ("over", view.over)):
            for number, part in enumerate(parts):
                try:
                    paths.contours(part.d)
                except DrawingError as error:
                    yield f"views[{index}].{key}[{number}].d", str(error)


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
    if shapely.area(over) > MOST_OVER * min(shapely.area(beside), shapely.area(panels[join.panel])):
        return [("other_ends_mm", "Joined so, one panel lies on the other; give the two ends in the other order")]
    return []
