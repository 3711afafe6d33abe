"""Panels of a shoe that are sewn edge to edge: where on one panel a mark lies that reaches over from another."""

from __future__ import annotations

from typing import Final

from featherline.wire.records import Join, Panel, ShoeModel
from featherline_service.questions.shoes.panels import growth_of
from featherline_service.questions.shoes.shoes import Shoe
from featherline_service.shape.placement.joins import Motion, Point, joining

# A join is drawn by hand from a flat pattern: ends this far off their outlines, or edges that differ by this share in
# length, are slips of the pen rather than ease of the leather; a guess.
END_WITHIN_MM: Final = 1.0
LENGTHS_WITHIN: Final = 0.1


def across(shoe: Shoe, panel: str, other: str) -> Motion | None:
    """Return the motion from the drawing of the `other` panel to that of `panel`; None where they are not joined."""
    if shoe.model is None or shoe.growth is None:
        return None
    for join in shoe.model.joins:
        if {panel, other} == {join.panel, join.other}:
            return motion(shoe.model, join, shoe.growth, to=panel)
    return None


def motion(model: ShoeModel, join: Join, growth: tuple[float, float], *, to: str) -> Motion:
    """Return the motion of a join to the drawing of one of its panels, at a growth along the shoe and around it.

    The drawings of inner panels are of the left shoe, those of all others of the right shoe: beside each other, one of
    the two is mirrored.
    """
    panels = {panel.id: panel for panel in model.panels}
    edge = (panels[join.panel], _drawn(panels[join.panel], join.ends_mm, growth))
    other = (panels[join.other], _drawn(panels[join.other], join.other_ends_mm, growth))
    here, there = (edge, other) if to == join.panel else (other, edge)
    return joining(here[1], there[1], mirrored=(here[0].face == "inner") != (there[0].face == "inner"))


def _drawn(panel: Panel, ends: tuple[Point, Point], growth: tuple[float, float]) -> tuple[Point, Point]:
    along, around = growth_of(panel, *growth)
    (x0, y0), (x1, y1) = ends
    return (x0 * along, -y0 * around), (x1 * along, -y1 * around)
