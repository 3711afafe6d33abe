"""Marks of one shoe that come too near to each other, or to an old mark whose outline is given.

Marks on different panels need no check: each keeps its clearance from the edge of its own panel, so that across a join
the two are further apart than the larger clearance. An old mark, though, may reach over a join.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import shapely
from shapely import MultiPolygon

from featherline.wire.verdicts import Reason
from featherline_service.questions.order.placements import Foot, Placement
from featherline_service.questions.quote.marks import Mark, capitalised, is_below
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
        yield _too_near(second, first.name, near, clearance, or_else=f", or say that it lies `onto` {first.index}")


def _off(upper: Mark, lower: Mark) -> Iterator[Reason]:
    """Yield that a mark reaches beyond the film that it lies on: there it would be pressed on the panel too."""
    upper_placement, lower_placement = upper.placement, lower.placement
    beyond = max(
        spacing.beyond(upper_placement.film_on(foot), lower_placement.film_on(foot)) for foot in upper_placement.feet
    )
    if beyond > 0.0:
        yield Reason(
            code="fit.off-mark",
            verdict="decline",
            subject=upper.onto_pointer,
            sentence=f"{capitalised(upper.name)} reaches {upper_placement.say(beyond, upwards=True)} beyond the film "
            f"of {lower.name}, on which it is to lie: move it, make it smaller, or the lower one larger.",
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
    said = marked.placement
    for old, drawn in zip(said.old_marks, said.old_outlines, strict=True):
        if drawn is None:
            continue
        for mark in marks:
            placement = mark.placement
            name, region = f"the old mark of {old.film} film", drawn
            if placement.panel.id != said.panel.id:
                motion = across(said.shoe, placement.panel.id, said.panel.id)
                if motion is None:
                    continue
                name, region = f"{name} on panel {said.panel.id}", motion.moved(drawn)
            elif any(lower.under and lower.outline == old.outline for lower in placement.old_marks):
                continue
            gaps = {
                foot: _gap_or_more(placement.counted_on(foot), region, placement.clearance)
                for foot in placement.feet
                if foot in said.feet
            }
            near = {foot: gap for foot, gap in gaps.items() if spacing.too_near(gap, placement.clearance)}
            if near:
                yield _too_near(mark, name, near, placement.clearance)


def _too_near(mark: Mark, other: str, near: dict[Foot, float], clearance: float, or_else: str = "") -> Reason:
    """Return that a mark comes too near to another on some shoes of the pair."""
    placement = mark.placement
    least = min(near.values())
    shoes = "both shoes" if len(near) > 1 else f"the {next(iter(near))} shoe"
    relation = f"comes within {placement.say(least)} of {other}"
    if abs(least) <= containment.ROUNDING_MM:
        relation = f"touches {other}"
    elif least < 0.0:
        relation = f"overlaps {other} by {placement.say(-least, upwards=True)}"
    needed = placement.say(clearance, upwards=True)
    return Reason(
        code="fit.overlap",
        verdict="decline",
        subject=mark.pointer,
        sentence=f"{capitalised(mark.name)} {relation} on {shoes}; {needed} must be between them: move it, make it "
        f"smaller{or_else}.",
        measure=round(least, 4),
        limit=round(clearance, 4),
        unit="mm",
    )
