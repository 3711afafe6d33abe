"""Answers as text: cases that the examples do not have."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.command import text
from featherline.wire import Band, FitAnswer, Money, QuoteAnswer, RecipeAnswer, RosterAnswer, Times

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"
FIT = msgspec.json.decode((EXAMPLES / "fit-answer.json").read_bytes(), type=FitAnswer)
QUOTE = msgspec.json.decode((EXAMPLES / "quote-answer.json").read_bytes(), type=QuoteAnswer)
RECIPE = msgspec.json.decode((EXAMPLES / "recipe-answer.json").read_bytes(), type=RecipeAnswer)
ROSTER = msgspec.json.decode((EXAMPLES / "roster-answer.json").read_bytes(), type=RosterAnswer)


def test_a_fit_without_a_largest_copy() -> None:
    """The text says that no size fits, and has no lines for a missing contrast or size."""
    out = text.fit(replace(FIT, fit=replace(FIT.fit, largest=None, contrast=None, size=None)), "metric")
    assert "no size of it fits at this place" in out
    assert "contrast" not in out
    assert "foot" not in out


def test_a_shoes_foot_is_told_once_for_all_placements() -> None:
    """Two placements on the same shoe have one line; a shoe without a size has none."""
    placement = QUOTE.placements[0]
    assert placement.fit.size is not None
    both = text.quote(replace(QUOTE, placements=(placement, replace(placement, sides="left"))), "metric")
    without = replace(placement, fit=replace(placement.fit, size=None))

    line = f"the shoe is for a foot {placement.fit.size.foot_mm:.1f} mm long; {placement.fit.size.convention}"
    assert 1 == " ".join(both.split()).count(line)
    assert "for a foot" not in text.quote(replace(QUOTE, placements=(without,)), "metric")
    assert f"{line} " in " ".join(text.fit(replace(FIT, fit=placement.fit), "metric").split())


@pytest.mark.parametrize(
    ("shortest_s", "longest_s", "expected"),
    [
        (26.4, 48.0, "from 26 s to 48 s"),
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


def test_a_roster_without_a_price() -> None:
    """The text has no charge and no time; it has the ids of rows, and letters that fit at no height."""
    letters = (replace(ROSTER.largest_letters[0], letter_height_mm=None),)
    out = text.roster(replace(ROSTER, price=None, cost=None, largest_letters=letters), [2, 3, 4, 5, 6])
    assert "placement 1: the letters of one row fit at no height" in out
    assert "Charge" not in out
    assert "Time" not in out
    assert "- line 4 (3): decline. " in out


def test_a_roster_whose_letters_would_be_too_fine() -> None:
    """The text names the line that limits the height and the line that is then too fine, and advises no height."""
    letters = (replace(ROSTER.largest_letters[0], letter_height_mm=None, row=1, too_fine=3),)
    out = " ".join(text.roster(replace(ROSTER, largest_letters=letters), [2, 3, 4, 5, 6]).split())
    assert (
        "placement 1: no height suits every row: letters low enough for line 3 to fit make line 5 too fine for the film"
    ) in out
    assert "for every row to fit" not in out


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
