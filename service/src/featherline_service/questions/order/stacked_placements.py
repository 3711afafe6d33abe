"""Placements that lie on others: what an order must not say of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from featherline.wire import costs
from featherline_service.messages.told import Told, told
from featherline_service.questions.checks import Checks

MOST_STACKED: Final = 3
"""Films on one another, the lowest included: more are stiff and thick (common practice, no source)."""
_SHOES: Final = {"both": {"left", "right"}, "left": {"left"}, "right": {"right"}}


def check_stacks(order: costs.Order, checks: Checks) -> None:
    """Note placements that lie on none of the order, on one of another panel or shoe, in a circle, or too high up."""
    for index, placement in enumerate(order.placements):
        if placement.onto is not None:
            for part, fault in _faults(order, index, placement.onto):
                checks.note(f"/placements/{index}/{part}", fault)


def _faults(order: costs.Order, index: int, onto: int) -> Iterator[tuple[str, Told]]:
    """Yield what is wrong with a placement on another: the part of the placement, and the fault."""
    placements = order.placements
    placement = placements[index]
    if onto >= len(placements):
        yield (
            "onto",
            told(
                "onto.no-such-placement",
                "The order has no placement {onto}; it has 0 to {last}",
                onto=onto,
                last=len(placements) - 1,
            ),
        )
        return
    lower = placements[onto]
    below = _below(order, index)
    if index in below:
        path = " on ".join(map(str, (index, *below)))
        yield (
            "onto",
            told(
                "onto.circle",
                "Placements cannot lie on one another in a circle ({path}): put one of them on the panel",
                path=path,
            ),
        )
        return
    if lower.panel != placement.panel:
        yield (
            "onto",
            told(
                "onto.other-panel",
                "Placement {onto} is on panel {lower!r}, not on {panel!r}: give both one panel",
                onto=onto,
                lower=lower.panel,
                panel=placement.panel,
            ),
        )
    if not _SHOES[placement.sides] <= _SHOES[lower.sides]:
        yield (
            "onto",
            told(
                "onto.other-shoe",
                "Placement {onto} is on the {sides} shoe only: a mark on it cannot be on another",
                onto=onto,
                sides=lower.sides,
            ),
        )
    if any(mark.under for mark in placement.old_marks):
        yield (
            "old_marks",
            told("onto.old-mark", "It lies on placement {onto}: say there what old mark lies under both", onto=onto),
        )
    films = sum(1 if placements[layer].backing is None else 2 for layer in (index, *below))
    if films > MOST_STACKED:
        yield (
            "onto",
            told(
                "onto.too-many-films",
                "{films} films would lie on one another, backings included: at most {most} do",
                films=films,
                most=MOST_STACKED,
            ),
        )


def _below(order: costs.Order, index: int) -> list[int]:
    """Return what lies below a placement, the nearest first, up to the first that there is not or comes twice."""
    below: list[int] = []
    at = order.placements[index].onto
    while at is not None and at < len(order.placements) and at not in below:
        below.append(at)
        at = order.placements[at].onto
    return below
