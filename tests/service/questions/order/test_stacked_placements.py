from __future__ import annotations

from typing import Any

import pytest

from featherline.wire.artworks import PathArtwork
from featherline.wire.costs import Backing, Order, Placement
from featherline.wire.recipes import OldMark
from featherline.wire.shoes import BookShoe, Size
from featherline_service.questions.checks import Checks
from featherline_service.questions.order.stacked_placements import check_stacks

BACKED: dict[str, Any] = {"backing": Backing(film="smooth", colour="chalk", border="2 mm")}


def faults(*placements: dict[str, Any]) -> list[tuple[str, str]]:
    """Return what is wrong with placements on one another, and where."""
    artwork = PathArtwork(d="M0 0H20V10H0Z", height="10 mm")
    plain = {"panel": "side", "film": "smooth", "colour": "gorse", "artwork": artwork}
    order = Order(
        shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")),
        placements=tuple(Placement(**{**plain, **placement}) for placement in placements),
    )
    checks = Checks()
    check_stacks(order, checks)
    return [(fault.pointer, fault.detail) for fault in checks.faults]


@pytest.mark.parametrize(
    "placements",
    [
        [{}, {"onto": 0}],
        [{"onto": 1}, {}],
        [{}, {"onto": 0}, {"onto": 1}],  # three films
        [{}, {"onto": 0, **BACKED}],
        [{}, {"onto": 0}, {"onto": 0}],
        [{}, {"onto": 0, "sides": "left"}],
        [{"sides": "left"}, {"onto": 0, "sides": "left"}],
        [{**BACKED, "sides": "right"}, {"panel": "toe"}],
        [{"old_marks": (OldMark(film="smooth", under=True),)}, {"onto": 0, "old_marks": (OldMark(film="glow"),)}],
    ],
)
def test_up_to_three_films_may_lie_on_one_another(placements: list[dict[str, Any]]) -> None:
    """On one panel, on shoes that the lower mark is on (common practice, no source)."""
    assert [] == faults(*placements)


@pytest.mark.parametrize(
    ("placements", "pointer", "fault"),
    [
        ([{"onto": 1}], "/placements/0/onto", "The order has no placement 1; it has 0 to 0"),
        ([{}, {"onto": 2}], "/placements/1/onto", "The order has no placement 2; it has 0 to 1"),
        ([{}, {"onto": 7}], "/placements/1/onto", "The order has no placement 7; it has 0 to 1"),
        ([{"onto": 1}, {"onto": 7}], "/placements/1/onto", "The order has no placement 7; it has 0 to 1"),
        ([{"onto": 0}], "/placements/0/onto", "in a circle (0 on 0): put one of them on the panel"),
        (
            [{}, {"onto": 0, "panel": "toe"}],
            "/placements/1/onto",
            "Placement 0 is on panel 'side', not on 'toe': give both one panel",
        ),
        (
            [{"sides": "left"}, {"onto": 0, "sides": "right"}],
            "/placements/1/onto",
            "Placement 0 is on the left shoe only: a mark on it cannot be on another",
        ),
        (
            [{"sides": "right"}, {"onto": 0}],
            "/placements/1/onto",
            "Placement 0 is on the right shoe only: a mark on it cannot be on another",
        ),
        (
            [{}, {"onto": 0, "old_marks": (OldMark(film="glow"), OldMark(film="smooth", under=True))}],
            "/placements/1/old_marks",
            "It lies on placement 0: say there what old mark lies under both",
        ),
        (
            [{}, {"onto": 0}, {"onto": 1}, {"onto": 2}],
            "/placements/3/onto",
            "4 films would lie on one another, backings included: at most 3 do",
        ),
        (
            [BACKED, {"onto": 0, **BACKED}],
            "/placements/1/onto",
            "4 films would lie on one another, backings included: at most 3 do",
        ),
    ],
)
def test_a_placement_on_another_that_cannot_be_is_a_fault(
    placements: list[dict[str, Any]], pointer: str, fault: str
) -> None:
    """It is the only one, and says what to change."""
    ((where, what),) = faults(*placements)

    assert pointer == where
    assert what.endswith(fault)


def test_every_placement_of_a_circle_is_told_once() -> None:
    """Its path is named from each; one that lies on the circle from outside is no part of it."""
    told = faults({"onto": 1}, {"onto": 2}, {"onto": 0}, {"onto": 0, "panel": "toe"})

    assert ["/placements/0/onto", "/placements/1/onto", "/placements/2/onto"] == [where for where, _ in told[:3]]
    assert "(0 on 1 on 2 on 0)" in told[0][1]
    assert "(1 on 2 on 0 on 1)" in told[1][1]
    assert ["/placements/3/onto"] * 2 == [where for where, _ in told[3:]]
    assert "panel 'side'" in told[3][1]
    assert told[4][1].startswith("4 films")


def test_all_faults_of_a_placement_are_noted() -> None:
    """Panel, shoes and old marks together."""
    old = (OldMark(film="smooth", under=True),)
    told = faults({"sides": "left"}, {"onto": 0, "panel": "toe", "old_marks": old})

    assert ["/placements/1/onto", "/placements/1/onto", "/placements/1/old_marks"] == [where for where, _ in told]
