"""Where answers rest on records of the book beyond what those are good for."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.costs import Order
from featherline.wire.fits import FitAnswer, FitRequest
from featherline.wire.recipes import RecipeAnswer, RecipeRequest
from featherline.wire.rosters import Roster
from featherline_service.book.shop_book import Book
from featherline_service.questions import costs
from featherline_service.questions.fit import fits
from featherline_service.questions.quote import quotes
from featherline_service.questions.recipe import recipes
from featherline_service.questions.record_ranges import Outside, outside
from featherline_service.questions.roster import rosters
from featherline_service.runtime.engine import ENGINE
from featherline_service.shape.shoe_sizes import exact_size, foot_length

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"


def example(name: str) -> dict[str, Any]:
    """Return an example of a request."""
    found: dict[str, Any] = json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    return found


def recipe(book: Book, request: RecipeRequest) -> RecipeAnswer:
    """Return the answer to a question for a recipe."""
    return RecipeAnswer(recipe=recipes.resolve(book, request), book=book.revision, engine=ENGINE)


def with_cold_press(book: Book) -> Book:
    """Return a book whose swing press gets no hotter than 120 degC."""
    press = replace(book.presses["swing"], hottest_c=120.0)
    return replace(book, presses={**book.presses, "swing": press})


def test_what_is_within_all_ranges_is_not_told(book: Book) -> None:
    """The examples: a recipe, a quote, and a cost, which has no ranges."""
    request = msgspec.convert(example("recipe-request"), RecipeRequest)
    order = msgspec.convert(example("quote-request"), Order)
    cost = msgspec.convert(example("cost-request"), costs.CostRequest)

    assert () == outside(book, request, recipe(book, request))
    assert () == outside(book, order, quotes.compose(book, order))
    assert () == outside(book, cost, costs.estimate(book, cost))


def test_a_press_that_does_not_reach_the_film_is_told(book: Book) -> None:
    """With the film's nearest temperature, and the range of the press: of a recipe, a quote, and a roster's plans."""
    cold = with_cold_press(book)
    told = (Outside("presses/swing", "temperature", 160.0, book.presses["swing"].coolest_c, 120.0, "degC"),)
    request = msgspec.convert({**example("recipe-request"), "press": "swing", "film": "smooth"}, RecipeRequest)
    order = msgspec.convert({**example("quote-request"), "press": "swing"}, Order)

    assert told == outside(cold, request, recipe(cold, request))
    assert told == outside(cold, order, quotes.compose(cold, order))


def test_a_press_that_is_never_cool_enough_is_told(book: Book) -> None:
    """The film's hottest is then the nearest."""
    press = replace(book.presses["swing"], coolest_c=180.0)
    hot = replace(book, presses={**book.presses, "swing": press})
    request = msgspec.convert({**example("recipe-request"), "press": "swing", "film": "smooth"}, RecipeRequest)

    assert (Outside("presses/swing", "temperature", 160.0, 180.0, press.hottest_c, "degC"),) == outside(
        hot, request, recipe(hot, request)
    )


def test_a_limit_for_half_a_minute_is_not_one_for_more_than_a_minute(book: Book) -> None:
    """But where the material's exposure says how long it stands what; each material is told once."""
    request = msgspec.convert(example("recipe-request"), RecipeRequest)
    answer = recipe(book, request)
    assert answer.recipe.setting is not None
    slow = replace(answer, recipe=replace(answer.recipe, setting=replace(answer.recipe.setting, dwell_s=61.0)))
    layers = {layer.material: book.materials[layer.material].limit for layer in answer.recipe.layers}
    told = outside(book, request, slow)

    assert {f"materials/{name}" for name, limit in layers.items() if limit.exposure is None} == {
        each.record for each in told
    }
    assert {("limit", 61.0, 0.0, 60.0, "s")} == {each[1:] for each in told}


@pytest.mark.parametrize(
    ("size", "told"),
    [
        ({"system": "EU", "value": "47"}, False),
        ({"system": "UK", "value": "12"}, False),
        ({"system": "UK", "value": "12.5"}, True),
        ({"system": "US-men", "value": "4.5"}, True),
    ],
)
def test_half_a_size_beyond_a_models_last_is_told(book: Book, size: dict[str, str], *, told: bool) -> None:
    """It is taken for the last, which is marked in another system; of a fit, a recipe and a quote alike."""
    shoe = {"kind": "book", "shoe": "regatta-deck", "size": size}
    made = book.shoes["regatta-deck"].sizes
    there = round(exact_size("EU", foot_length(size["system"], float(size["value"]))), 2)
    expected = (Outside("shoes/regatta-deck", "sizes", there, made.smallest, made.largest, "EU"),) if told else ()
    fit = msgspec.convert({**example("fit-request"), "shoe": shoe}, FitRequest)
    order = msgspec.convert({**example("quote-request"), "shoe": shoe}, Order)
    fitted = FitAnswer(fit=fits.check(book, fit), book=book.revision, engine=ENGINE)

    assert expected == outside(book, fit, fitted)
    assert expected == outside(book, order, quotes.compose(book, order))


def test_a_shoe_known_by_a_ruler_has_no_sizes(book: Book) -> None:
    """A bare stack has none either."""
    order = msgspec.convert(example("walk-in"), Order)
    stack = {"kind": "stack", "surface": "woven", "layers": [{"material": "cotton-fabric", "thickness": "0.5 mm"}]}
    request = msgspec.convert({"film": "smooth", "onto": stack}, RecipeRequest)

    assert () == outside(book, order, quotes.compose(book, order))
    assert () == outside(book, request, recipe(book, request))


def test_the_rows_of_a_roster_are_looked_at(book: Book) -> None:
    """Each with its own size or shoe, or the order's; one with faults uses no record."""
    asked = example("roster-request")
    fields = asked["rows"][0]["fields"]
    beyond = {"system": "UK", "value": "12.5"}
    sizes = [{"size": beyond}, {"size": {"system": "UK", "value": "15"}}, {}, {"size": {"system": "EU", "value": "41"}}]
    own = {"shoe": {"kind": "book", "shoe": "regatta-deck", "size": beyond}}
    deck = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
    rows = [{"fields": fields, **each} for each in (*sizes, own)]
    roster = msgspec.convert({**asked, "order": {**asked["order"], "shoe": deck}, "rows": rows}, Roster)
    answer = rosters.compose(book, roster)

    assert [True, False, True, True, True] == [row.verdict is not None for row in answer.rows]
    assert (Outside("shoes/regatta-deck", "sizes", 47.08, 36.0, 47.0, "EU"),) == outside(book, roster, answer)


def test_the_plans_of_a_roster_are_looked_at(book: Book) -> None:
    """As the pressings of a quote are."""
    roster = msgspec.convert(example("roster-request"), Roster)
    answer = rosters.compose(book, roster)
    plans = tuple(
        replace(
            plan,
            pressings=tuple(
                replace(each, recipe=replace(each.recipe, setting=replace(each.recipe.setting, dwell_s=99.0)))
                for each in plan.pressings
                if each.recipe.setting is not None
            ),
        )
        for plan in answer.plans
    )

    assert () == outside(book, roster, answer)
    assert {99.0} == {each.value for each in outside(book, roster, replace(answer, plans=plans))}


def test_a_minute_itself_is_not_too_long(book: Book) -> None:
    """Twice the half-minute that limits of materials are for."""
    request = msgspec.convert(example("recipe-request"), RecipeRequest)
    answer = recipe(book, request)
    assert answer.recipe.setting is not None
    for dwell_s, too_long in ((60.0, False), (60.1, True)):
        setting = replace(answer.recipe.setting, dwell_s=dwell_s)
        held = replace(answer, recipe=replace(answer.recipe, setting=setting))
        assert too_long == bool(outside(book, request, held))
