"""Marks of one shoe that come too near to each other, or to an old mark whose outline is given.

Marks on different panels need no check: each keeps its clearance from the edge of its own panel, so that across a join
the two are further apart than the larger clearance. An old mark, though, may reach over a join.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import shapely
from shapely import MultiPolygon

from featherline.wire.verdicts import Reason
from featherline_service.messages.values import Value, said
from featherline_service.quantities import bound
from featherline_service.questions.order.placements import Foot, Placement
from featherline_service.questions.quote.marks import Mark, is_below, values_of
from featherline_service.questions.reasons import reason
from featherline_service.questions.shoes.panel_joins import across
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines.figures import FittedRegion
from featherline_service.shape.placement import containment, spacing
from featherline_service.shape.placement.containment import Pose


def spacing_reasons(marks: Sequence[Mark]) -> Iterator[Reason]:
    """Yield which marks come nearer to another on their panel, or to an old mark, than their clearance.

    Of two marks the larger clearance holds. Marks on different shoes of the pair do not meet. A mark that lies on
    another on purpose must lie wholly on its film.
    """
    for first, second in combinations(range(len(marks)), 2):
        if is_below(marks, first, second) or is_below(marks, second, first):
            continue
        if marks[first].placement.panel.id == marks[second].placement.panel.id:
            yield from _between(marks[first], marks[second])
    for mark in marks:
        if mark.lower is not None:
            yield from _off(mark, marks[mark.lower])
    for mark in marks:
        yield from _from_old_marks(mark, marks)


def _between(first: Mark, second: Mark) -> Iterator[Reason]:
    first_placement, second_placement = first.placement, second.placement
    clearance = max(first_placement.clearance, second_placement.clearance)
    gaps = {
        foot: _gap(first_placement, second_placement, foot, clearance)
        for foot in first_placement.feet
        if foot in second_placement.feet
    }
    near = {foot: gap for foot, gap in gaps.items() if spacing.too_near(gap, clearance)}
    if near:
        other = {**values_of("other", first), "old_film": None, "panel": None}
        yield _too_near(second, other, near, clearance, onto=str(first.index))


def _off(upper: Mark, lower: Mark) -> Iterator[Reason]:
    """Yield that a mark reaches beyond the film that it lies on: there it would be pressed on the panel too."""
    upper_placement, lower_placement = upper.placement, lower.placement
    beyond = max(
        spacing.beyond(upper_placement.film_on(foot), lower_placement.film_on(foot)) for foot in upper_placement.feet
    )
    if beyond > 0.0:
        yield reason(
            "fit.off-mark",
            "decline",
            upper.onto_pointer,
            said(
                "fit.off-mark",
                **values_of("mark", upper),
                beyond=bound(beyond, upper_placement.artwork.units, upwards=True),
                **values_of("lower", lower),
            ),
            measure=round(-beyond, 4),
            limit=0.0,
            unit="mm",
        )


def _gap(first: Placement, second: Placement, foot: Foot, clearance: float) -> float:
    """Return the gap between two marks on one shoe; where their boxes are a clearance apart, that of the boxes."""
    pair = [(it.seen_on(foot, it.footprint), it.artwork.scale, it.position.pose) for it in (first, second)]
    return _gap_between(*pair[0], *pair[1], clearance)


@cached
def _gap_between(  # noqa: PLR0917 - a cached function is called by position
    seen: FittedRegion,
    scale: float,
    pose: Pose,
    other: FittedRegion,
    other_scale: float,
    other_pose: Pose,
    clearance: float,
) -> float:
    first = containment.place(seen.region, pose, scale)
    return _gap_or_more(first, containment.place(other.region, other_pose, other_scale), clearance)


def _gap_or_more(first: MultiPolygon, second: MultiPolygon, clearance: float) -> float:
    boxes = float(shapely.distance(shapely.box(*first.bounds), shapely.box(*second.bounds)))
    return boxes if boxes > clearance else spacing.gap(first, second)


def _from_old_marks(marked: Mark, marks: Sequence[Mark]) -> Iterator[Reason]:
    """Yield which marks come too near to an old mark that a placement says of its panel, there or across a join."""
    stated = marked.placement
    for old, drawn in zip(stated.old_marks, stated.old_outlines, strict=True):
        if drawn is None:
            continue
        for mark in marks:
            placement = mark.placement
            region, across_from = drawn, None
            if placement.panel.id != stated.panel.id:
                motion = across(stated.shoe, placement.panel.id, stated.panel.id)
                if motion is None:
                    continue
                region, across_from = motion.moved(drawn), stated.panel.id
            elif any(lower.under and lower.outline == old.outline for lower in placement.old_marks):
                continue
            gaps = {
                foot: _gap_or_more(placement.counted_on(foot), region, placement.clearance)
                for foot in placement.feet
                if foot in stated.feet
            }
            near = {foot: gap for foot, gap in gaps.items() if spacing.too_near(gap, placement.clearance)}
            if near:
                other: dict[str, Value] = {
                    "other": None,
                    "other_part": "old-mark" if across_from is None else "old-mark-across",
                    "other_text": None,
                    "old_film": old.film,
                    "panel": across_from,
                }
                yield _too_near(mark, other, near, placement.clearance)


def _too_near(
    mark: Mark, other: Mapping[str, Value], near: dict[Foot, float], clearance: float, onto: str | None = None
) -> Reason:
    """Return that a mark comes too near to another on some shoes of the pair.

    Args:
        mark: The mark.
        other: What messages call the other.
        near: The gap on each shoe where it is too small [mm].
        clearance: What is needed [mm].
        onto: The index of the other, where the mark may be said to lie on it.
    """
    units = mark.placement.artwork.units
    least = min(near.values())
    relation, gap = "within", bound(least, units)
    if abs(least) <= containment.ROUNDING_MM:
        relation = "touches"
    elif least < 0.0:
        relation, gap = "overlaps", bound(-least, units, upwards=True)
    return reason(
        "fit.overlap",
        "decline",
        mark.pointer,
        said(
            "fit.overlap",
            **values_of("mark", mark),
            relation=relation,
            gap=gap,
            **other,
            shoes="both" if len(near) > 1 else next(iter(near)),
            needed=bound(clearance, units, upwards=True),
            onto=onto,
        ),
        measure=round(least, 4),
        limit=round(clearance, 4),
        unit="mm",
    )
