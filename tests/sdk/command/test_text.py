"""Answers as text: cases that the examples do not have."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.command import text
from featherline.wire import Band, FitAnswer, Money, RecipeAnswer, RosterAnswer, Times

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
FIT = msgspec.json.decode((EXAMPLES / "fit-answer.json").read_bytes(), type=FitAnswer)
RECIPE = msgspec.json.decode((EXAMPLES / "recipe-answer.json").read_bytes(), type=RecipeAnswer)
ROSTER = msgspec.json.decode((EXAMPLES / "roster-answer.json").read_bytes(), type=RosterAnswer)


def test_a_fit_without_a_largest_copy() -> None:
    """The text says that no size fits, and has no lines for a missing contrast or size."""
    out = text.fit(replace(FIT, fit=replace(FIT.fit, largest=None, contrast=None, size=None)), "metric")
    assert "no size of it fits at this place" in out
    assert "contrast" not in out
    assert "foot" not in out


@pytest.mark.parametrize(
    ("shortest_s", "longest_s", "expected"),
    [
        (26.4, 48.9, "from 27 s to 48 s"),
        (26.0000000001, 47.9999999999, "from 26 s to 48 s"),
        (26.22, 26.58, "from 26.3 s to 26.5 s"),
        (50.0, 48.0, "without a window: bonds from 50 s, harms after 48 s"),
        (None, 48.0, "without a window: does not bond, harms after 48 s"),
        (26.0, None, "without a window: bonds from 26 s, harms at once"),
    ],
)
def test_a_missing_window(shortest_s: float | None, longest_s: float | None, expected: str) -> None:
    """The text says which end of the window is missing."""
    assert RECIPE.recipe.window is not None
    window = replace(RECIPE.recipe.window, worst_case=Band(shortest_s=shortest_s, longest_s=longest_s))
    out = text.recipe(replace(RECIPE, recipe=replace(RECIPE.recipe, window=window)), "metric")
    assert f"in the worst case of 95 % {expected}" in " ".join(out.split())


@pytest.mark.parametrize(
    ("clearance_mm", "metric", "us"),
    [
        (6.67, "6.6 mm clear of the nearest", "0.26 in clear of the nearest"),
        (-2.71, "2.8 mm over the nearest", "0.11 in over the nearest"),
        (6.7, "6.7 mm clear of the nearest", "0.26 in clear of the nearest"),
    ],
)
def test_a_clearance_promises_no_more_than_there_is(clearance_mm: float, metric: str, us: str) -> None:
    """Room is rounded down, what is over or needed up, as in the service's sentences."""
    fit = replace(FIT.fit, clearance_mm=clearance_mm, clearance_needed_mm=3.01)
    answer = replace(FIT, fit=fit)
    said = [" ".join(out.split()) for out in (text.fit(answer, "metric"), text.fit(answer, "us"))]

    assert metric in said[0]
    assert us in said[1]
    assert "3.1 mm clear needed" in said[0]
    assert "0.12 in clear needed" in said[1]


def test_a_roster_without_a_price() -> None:
    """The text has no charge and no time; it has the ids of rows, and letters that fit at no height."""
    letters = (replace(ROSTER.largest_letters[0], letter_height_mm=None),)
    out = text.roster(replace(ROSTER, price=None, cost=None, largest_letters=letters), [2, 3, 4, 5, 6])
    assert "placement 1: the letters of one row fit at no height" in out
    assert "Charge" not in out
    assert "Time" not in out
    assert "- line 4 (3): decline. " in out


def test_a_roster_raised_to_the_minimum_order() -> None:
    """The text says how much of the total is set-up, and how much reaches the minimum."""
    assert ROSTER.price is not None
    raised = replace(ROSTER.price, to_minimum=Money(amount="4.20", currency="EUR"))
    out = text.roster(replace(ROSTER, price=raised), [2, 3, 4, 5, 6])
    assert "4.20 EUR of it to the minimum order" in " ".join(out.split())


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        (
            {"idle_s": 120.0, "cutter_s": 0.0, "cooling_s": 360.0},
            "start to end 30.0 min: hands 28.0 min paid and 2.0 min free, press 20.0 min, cooling places 6.0 min",
        ),
        ({"cutter_s": 90.0}, "start to end 30.0 min: hands 28.0 min paid, press 20.0 min, cutter 1.5 min"),
    ],
)
def test_times_from_start_to_end(more: Mapping[str, float], expected: str) -> None:
    """The text tells the paid time of hands from the free, and leaves out what is not taken up."""
    assert ROSTER.cost is not None
    times = Times(**{"labour_s": 1680.0, "press_s": 1200.0, "elapsed_s": 1800.0, "working_days": None, **more})
    out = text.roster(replace(ROSTER, cost=replace(ROSTER.cost, times=times)), [2, 3, 4, 5, 6])
    assert f"Time {expected}" in " ".join(out.split())
