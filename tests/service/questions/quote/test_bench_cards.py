from __future__ import annotations

import re
from typing import Any

import msgspec
import pytest

from featherline.wire.costs import Order
from featherline.wire.trials import TrialRequest
from featherline_service.book.shop_book import Book
from featherline_service.drawing.cards import Card
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.quote import bench_cards, quotes
from featherline_service.questions.trial import trials

DECK: dict[str, Any] = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
MARLOW: dict[str, Any] = {
    "panel": "outer-quarter",
    "film": "smooth",
    "colour": "gorse",
    "artwork": {"kind": "text", "text": "MARLOW\n7", "font": "plain", "height": "22 mm"},
}
WALK_IN: dict[str, Any] = {
    "kind": "measured",
    "label": "leather",
    "panels": [
        {
            "panel": "outer-quarter",
            "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"},
            "curvature": "gentle",
        }
    ],
    "inside_length": "275 mm",
}


def order(*placements: dict[str, Any], **changes: Any) -> Order:  # noqa: ANN401 - the JSON of any part
    """Return an order for the README's placement, or for others."""
    return msgspec.convert({"shoe": DECK, "placements": [*(placements or (MARLOW,))], **changes}, Order)


def tiles(card: Card, number: int = 0) -> dict[str, tuple[str, str]]:
    """Return the settings of a pressing by what they are."""
    return {tile.label: (tile.value, tile.also) for tile in card.pressings[number].tiles}


def test_the_settings_are_the_quotes(book: Book) -> None:
    """Temperature in both scales, dwell with its window, pressure in both units, cover sheet and peel."""
    (pressing,) = quotes.compose(book, order()).pressings
    recipe = pressing.recipe
    shown = tiles(bench_cards.compose(book, order()))

    assert recipe.setting is not None
    assert recipe.peel is not None
    assert recipe.window is not None
    setting = recipe.setting
    assert {
        "Platen": (f"{setting.temperature_c:.0f} °C", f"{setting.temperature_f:.0f} °F"),
        "Dwell": (
            f"{setting.dwell_s:.0f} s",
            f"window {recipe.window.shortest_s:.0f} to {recipe.window.longest_s:.0f} s",
        ),
        "Pressure": ("medium", "276 kPa (40 psi) at the platen"),
        "Cover sheet": (book.covers[setting.cover or ""].name, ""),
        "Peel": ("hot", "at once"),
    } == shown


def test_in_us_the_scales_change_places(book: Book) -> None:
    """An American bench reads Fahrenheit and psi first, on Letter paper."""
    card = bench_cards.compose(book, order(units="us"))

    assert ("320 °F", "160 °C") == tiles(card)["Platen"]
    assert "40 psi (276 kPa) at the platen" == tiles(card)["Pressure"][1]
    assert card.letter


def test_steps_and_cautions_are_the_recipes_in_order(book: Book) -> None:
    """Nothing of what the recipe tells the bench is left out or moved."""
    recipe = quotes.compose(book, order()).pressings[0].recipe
    card = bench_cards.compose(book, order())

    assert tuple(step.sentence for step in recipe.steps) == card.steps[0].sentences
    assert tuple(caution.sentence for caution in recipe.cautions) == card.cautions


def test_a_second_pressing_says_only_what_is_other(book: Book) -> None:
    """The first pressing's steps in full, then what differs; both with settings of their own."""
    second = {**MARLOW, "panel": "tongue", "film": "reflective", "colour": "beacon"}
    second["artwork"] = {**MARLOW["artwork"], "text": "7", "height": "18 mm"}
    asked = order(MARLOW, second)
    first, other = quotes.compose(book, asked).pressings
    card = bench_cards.compose(book, asked)
    everything = {step.sentence for step in first.recipe.steps}

    assert ["Steps of pressing 1", "Pressing 2: the same, but"] == [steps.heading for steps in card.steps]
    assert [step.sentence for step in other.recipe.steps if step.sentence not in everything] == [
        *card.steps[1].sentences
    ]
    assert other.recipe.peel is not None
    assert other.recipe.peel.when == tiles(card, 1)["Peel"][0]
    assert ["1", "2"] == [pressing.where.rpartition("marks ")[2] for pressing in card.pressings]
    assert 2 == len(card.drawings)


def test_a_trial_is_on_the_card_rung_by_rung(book: Book) -> None:
    """A walk-in's card has the plan's rungs, where to try, what to look at and when to stop."""
    asked = order(shoe=WALK_IN)
    card = bench_cards.compose(book, asked)
    plan = trials.plan(
        book,
        msgspec.convert({"shoe": WALK_IN, "panel": "outer-quarter", "film": "smooth"}, TrialRequest),
    )
    (trial,) = card.trials

    assert ("trial", "Try it first") == (card.verdict, card.verdict_words)
    assert [f"{rung.setting.temperature_c:.4g} °C" for rung in plan.rungs] == [
        re.split(r" \(|, ", rung.setting)[0] for rung in trial.rungs
    ]
    assert [look.sentence for look in plan.looks] == [*trial.looks]
    assert plan.stop == trial.stop[:-1]
    assert "This card has no other" in trial.stop[-1]
    assert ((), ()) == (card.pressings, card.steps)
    assert trial.where.startswith(plan.places[0].sentence)


def test_a_ready_order_has_no_trial_and_a_declined_one_no_settings(book: Book) -> None:
    """What is ready needs no trial; what is declined must not look as if it could be pressed."""
    clog = {"kind": "book", "shoe": "ward-clog", "size": {"system": "EU", "value": "40"}}
    declined = bench_cards.compose(
        book, order({**MARLOW, "panel": "outer-side", "artwork": {**MARLOW["artwork"], "height": "12 mm"}}, shoe=clog)
    )

    assert () == bench_cards.compose(book, order()).trials
    assert ("decline", "Do not press") == (declined.verdict, declined.verdict_words)
    assert {"": ("no setting", "")} == tiles(declined)
    assert ((), ()) == (declined.steps, declined.trials)
    assert any("EVA foam" in reason for reason in declined.reasons)


def test_an_order_that_does_not_fit_has_no_settings(book: Book) -> None:
    """Declined for its artwork alone, an order has a recipe, but its card none to press."""
    huge = order({**MARLOW, "artwork": {**MARLOW["artwork"], "height": "90 mm"}})
    card = bench_cards.compose(book, huge)

    assert ("decline", "ready") == (card.verdict, quotes.compose(book, huge).pressings[0].recipe.verdict)
    assert {"": ("no setting", "")} == tiles(card)
    assert () == card.steps


def test_the_card_says_by_which_book_and_leaves_the_rest_to_hand(book: Book) -> None:
    """The book's revision is printed; date, hand and pair are blanks."""
    card = bench_cards.compose(book, order())

    assert book.revision.removeprefix("sha256:")[:16] in card.footing
    assert {"Date", "Done by", "Pair no."} <= set(card.by_hand)


def test_the_facts_name_what_is_marked_where(book: Book) -> None:
    """Pairs, whose they are, the press, and for each placement its panel, shoes, words, film and colour."""
    facts = dict(bench_cards.compose(book, order({**MARLOW, "sides": "left"}, pairs=12, owner="shop")).facts)

    assert "12, the shop's" == facts["Pairs"]
    assert (
        "Outer quarter, the left shoe: MARLOW / 7, in Smooth polyurethane film, Gorse. Centred on the panel."
        == facts["Placement"]
    )


def test_an_order_that_is_refused_has_no_card(book: Book) -> None:
    """Faults point into the order, as a quote's do."""
    with pytest.raises(RefusedError) as error:
        bench_cards.compose(book, order({**MARLOW, "film": "no-such-film"}))
    assert "/placements/0/film" in [fault.pointer for fault in error.value.faults]


def test_the_card_says_where_each_artwork_goes(book: Book) -> None:
    """Each placement is told with its place in the bench's words, and is drawn for the shoes that it is on."""
    pose = {"kind": "anchored", "side": "above", "edge": "featherline", "distance": "12 mm", "line": "baseline"}
    facts = dict(bench_cards.compose(book, order({**MARLOW, "pose": pose, "sides": "left"})).facts)

    assert facts["Placement"].endswith("Its baseline 12.0 mm above the featherline, centred on the panel along it.")
    assert "Centred on the panel." in dict(bench_cards.compose(book, order()).facts)["Placement"]
