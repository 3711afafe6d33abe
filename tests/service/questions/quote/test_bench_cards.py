from __future__ import annotations

import io
import math
import re
from typing import Any

import msgspec
import pytest
import shapely
from msgspec.structs import replace
from pypdf import PdfReader

from featherline.wire.costs import Order
from featherline.wire.recipes import Band
from featherline.wire.shoes import MeasuredShoe
from featherline.wire.trials import TrialRequest
from featherline_service.book.shop_book import Book
from featherline_service.drawing import card_pdfs
from featherline_service.drawing.cards import Card, sheets
from featherline_service.messages.values import in_english
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
    """Temperature in both scales, dwell with the sure ones, pressure in both units, cover sheet and peel."""
    (pressing,) = quotes.compose(book, order()).pressings
    recipe = pressing.recipe
    shown = tiles(bench_cards.compose(book, order()))

    assert recipe.setting is not None
    assert recipe.peel is not None
    assert recipe.window is not None
    setting, worst = recipe.setting, recipe.window.worst_case
    assert worst.shortest_s is not None
    assert worst.longest_s is not None
    assert {
        "Platen": (f"{setting.temperature_c:.0f} °C", f"{setting.temperature_f:.0f} °F"),
        "Dwell": (
            f"{setting.dwell_s:.0f} s",
            f"sure from {math.ceil(worst.shortest_s)} to {math.floor(worst.longest_s)} s",
        ),
        "Pressure": ("medium", "276 kPa (40 psi) at the platen"),
        "Cover sheet": (book.covers[setting.cover or ""].name, ""),
        "Peel": ("hot", "at once"),
    } == shown


@pytest.mark.parametrize(
    ("shortest_s", "longest_s", "said"),
    [
        (34.6, 50.4, "sure from 35 to 50 s"),
        (35.9, 36.2, "sure from 36 to 36 s"),
        (35.0, 35.97, "sure from 35.0 to 35.9 s"),
        (36.02, 50.0, "sure from 36.1 to 50.0 s"),
        (36.0000000001, 50.0, "sure from 36 to 50 s"),
        (50.0, 36.0, "no dwell is sure"),
        (None, 50.0, "no dwell is sure"),
        (30.0, None, "no dwell is sure"),
    ],
)
def test_the_dwell_is_told_with_the_sure_ones(
    book: Book, shortest_s: float | None, longest_s: float | None, said: str
) -> None:
    """A card promises no dwell that scorches or fails to bond at the worst case: whole seconds, rounded inwards."""
    (pressing,) = quotes.compose(book, order()).pressings
    recipe = pressing.recipe
    assert recipe.window is not None
    assert recipe.setting is not None
    window = replace(recipe.window, worst_case=Band(shortest_s=shortest_s, longest_s=longest_s))
    recipe = replace(recipe, window=window, setting=replace(recipe.setting, dwell_s=36.0))

    assert said == bench_cards.sure_dwells(recipe, in_english())


def test_in_us_the_scales_change_places(book: Book) -> None:
    """An American bench reads Fahrenheit and psi first, on Letter paper."""
    card = bench_cards.compose(book, order(units="us"))

    assert ("320 °F", "160 °C") == tiles(card)["Platen"]
    assert "40 psi (276 kPa) at the platen" == tiles(card)["Pressure"][1]
    assert card.letter


def test_steps_and_cautions_are_the_recipes_in_order(book: Book) -> None:
    """Nothing of what the recipe tells the bench is left out or moved; the settings are said once, above the steps."""
    recipe = quotes.compose(book, order()).pressings[0].recipe
    card = bench_cards.compose(book, order())
    told = dict(zip((step.do for step in recipe.steps), card.steps[0].sentences, strict=True))

    assert [step.sentence for step in recipe.steps if step.do not in {"set", "press"}] == [
        sentence for do, sentence in told.items() if do not in {"set", "press"}
    ]
    assert told["set"].startswith("Set the press to this pressing's settings. Wait until")
    assert "Close the press." == told["press"]
    assert tuple(caution.sentence for caution in recipe.cautions) == card.cautions


def test_each_loading_is_complete(book: Book) -> None:
    """Each loading has its own settings, cuts, drawings of both shoes, and all steps; placements are numbered."""
    second = {**MARLOW, "panel": "tongue", "film": "reflective", "colour": "beacon"}
    second["artwork"] = {**MARLOW["artwork"], "text": "7", "height": "18 mm"}
    card = bench_cards.compose(book, order(MARLOW, second, pairs=3))
    first, other = sheets(card)

    assert ("Loading 1 of 2", "Loading 2 of 2") == (first.heading, other.heading)
    assert ["Steps of pressing 1", "Steps of pressing 2"] == [steps.heading for steps in card.steps]
    assert ["Pressing 1", "Pressing 2"] == [pressing.heading for pressing in card.pressings]
    assert [1, 2] == [pressing.loading for pressing in card.pressings]
    assert any(sentence.startswith("Do not preheat") for sentence in other.steps[0].sentences)
    assert "hot" == tiles(card, 1)["Peel"][0]
    assert ["1", "2"] == [pressing.where.rpartition("placement ")[2] for pressing in card.pressings]
    assert ["6 of MARLOW / 7, 35.1 x 22.0 mm"] == [cut.pieces for cut in first.cuts]
    assert ["6 of 7, 8.2 x 18.0 mm"] == [cut.pieces for cut in other.cuts]
    for sheet, panel in ((first, "Outer quarter: (1) MARLOW / 7"), (other, "Tongue: (2) 7")):
        assert [("left", panel), ("right", panel)] == [(drawn.shoe, drawn.title) for _, drawn in sheet.drawings]


def test_the_film_to_cut_is_that_of_the_cost(book: Book) -> None:
    """What is cut, and out of which offcut or how much of the roll, are what the price counts."""
    long_run = order({**MARLOW, "film": "printed", "colour": book.films["printed"].colours[0].id}, pairs=400)
    for asked in (order(), long_run):
        answer = quotes.compose(book, asked)
        assert answer.cost is not None
        (use,) = answer.cost.film
        (cut,) = bench_cards.compose(book, asked).cuts

        assert str(use.pieces) == cut.pieces.partition(" of ")[0]
        assert all(offcut in cut.source for offcut in use.offcuts)
        assert (use.roll_length_mm > 0.0) == (f"{use.roll_length_mm:.1f} mm of the roll" in cut.source)
    assert "printed transfer, not cut" == cut.way
    assert "mirrored" == bench_cards.compose(book, order()).cuts[0].way


def test_an_arrow_is_cut_the_other_way_round_for_the_other_shoe(book: Book) -> None:
    """Film is cut mirrored; panels are drawn with the toe to the right: a right outer, a left inner."""
    arrow = {"kind": "path", "d": "M0 8V16H30V24L46 12L30 0V8Z", "height": "14 mm", "directional": True}

    def ways(**changes: Any) -> str:  # noqa: ANN401 - the JSON of any part
        (cut,) = bench_cards.compose(book, order({**MARLOW, "artwork": arrow, **changes})).cuts
        return cut.way

    assert "as it is for the left shoe, mirrored for the right shoe" == ways()
    assert ("as it is", "mirrored") == (ways(sides="left"), ways(sides="right"))
    assert ("mirrored", "as it is") == (
        ways(sides="left", panel="inner-quarter"),
        ways(sides="right", panel="inner-quarter"),
    )
    said = bench_cards.compose(book, order({**MARLOW, "artwork": arrow})).steps[0].sentences
    assert any("cut as the table above says for each shoe" in sentence for sentence in said)


def test_marks_on_one_panel_are_in_one_drawing(book: Book) -> None:
    """Each shoe has one drawing with the marks that are on it, numbered, the first pressed at the bottom."""
    above = {**MARLOW, "artwork": {**MARLOW["artwork"], "text": "MARLOW", "height": "9 mm"}}
    above["pose"] = {"kind": "at", "x": "0 mm", "y": "7 mm"}
    below = {**above, "film": "stretch", "colour": "pitch", "sides": "left"}
    below["artwork"] = {**MARLOW["artwork"], "text": "7L", "height": "12 mm"}
    below["pose"] = {"kind": "at", "x": "14 mm", "y": "-8 mm"}
    left, right = bench_cards.compose(book, order(below, above)).drawings

    assert ("left", "right") == (left.shoe, right.shoe)
    assert ("2", ["1"]) == (left.label, [mark.label for mark in left.marks])
    assert "Outer quarter: (2) MARLOW, (1) 7L" == left.title
    assert ("", ()) == (right.label, right.marks)
    assert not shapely.intersects(left.artwork, left.marks[0].artwork)


def test_the_callers_reference_is_on_the_card_and_in_the_answer(book: Book) -> None:
    """The caller's word for the order is repeated as it is; without one there is none."""
    asked = order(reference="K-2041 <b>")

    assert "K-2041 <b>" == quotes.compose(book, asked).reference
    assert "K-2041 <b>" == bench_cards.compose(book, asked).reference
    assert quotes.compose(book, order()).reference is None


def test_the_colour_of_the_shoe_is_on_the_card_where_the_order_says_it(book: Book) -> None:
    """By its name in the book, or as it was given."""
    asked = order()
    measured = msgspec.convert(
        {"kind": "measured", "label": "leather", "colour": "#1d2b44",
         "panels": [{"panel": "side", "shape": {"kind": "rectangle", "width": "90 mm", "height": "50 mm"}}]},
        MeasuredShoe,
    )  # fmt: skip
    walk_in = replace(asked, shoe=measured, placements=(replace(asked.placements[0], panel="side"),))

    assert [
        "Regatta deck shoe (invented), EU 42",
        "Regatta deck shoe (invented), EU 42, Tan",
        "A walk-in shoe labelled leather, #1d2b44",
    ] == [
        bench_cards.compose(book, each).subject
        for each in (asked, replace(asked, shoe=replace(asked.shoe, colour="tan")), walk_in)
    ]


def test_a_card_asks_for_nothing_that_the_order_does_not_need(book: Book) -> None:
    """Only a trial is signed for, and nothing is signed for where nothing is pressed."""
    clog = {"kind": "book", "shoe": "ward-clog", "size": {"system": "EU", "value": "40"}}

    assert "Trial seen by" not in bench_cards.compose(book, order()).by_hand
    assert "Trial seen by" in bench_cards.compose(book, order(shoe=WALK_IN)).by_hand
    assert () == bench_cards.compose(book, order({**MARLOW, "panel": "outer-side"}, shoe=clog)).by_hand


def test_a_trial_is_on_the_card_rung_by_rung(book: Book) -> None:
    """A walk-in's card has the plan's rungs, where and how to try, what to look at, when to stop and what is left."""
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
    assert plan.stop == trial.stop
    assert [sentence.replace(" (`surface`)", "") for sentence in plan.before] == [*trial.before]
    assert not [sentence for sentence in trial.before if "`" in sentence]
    assert "This card has no other" in trial.afterwards[0]
    assert plan.afterwards[1:] == trial.afterwards[1:]
    assert any("bend the place twenty times" in sentence for sentence in trial.afterwards)
    assert ((), ()) == (card.pressings, card.steps)
    assert [f"{rung.setting.dwell_s:g} s" for rung in plan.rungs] == [rung.tiles[1].value for rung in trial.rungs]
    assert trial.where == plan.places[0].sentence
    assert "harms none of the uppers it may be of" == trial.rungs[0].heat
    for rung, shown in zip(plan.rungs, trial.rungs, strict=True):
        assert (rung.film and any(one.seen == "bond" for one in rung.outcomes)) == shown.holds.startswith("keep to it.")
        assert rung.film == bool(shown.holds)


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


def four_loadings(**changes: Any) -> Order:  # noqa: ANN401 - the JSON of any part
    """Return an order of four placements on four faces, for twelve pairs."""

    def text(words: str, height: str, **more: object) -> dict[str, Any]:
        return {"kind": "text", "text": words, "font": "plain", "letter_height": height, **more}

    bold = text("CREW", "11 mm", letter_spacing=0.1, font="bold")
    return order(
        {**MARLOW, "artwork": text("MARLOW", "11 mm")},
        {**MARLOW, "panel": "inner-quarter", "film": "stretch", "colour": "gorse", "artwork": bold},
        {**MARLOW, "panel": "tongue", "sides": "right", "artwork": text("7", "10 mm")},
        {**MARLOW, "panel": "heel", "colour": "chalk", "artwork": text("SQ", "9 mm")},
        pairs=12,
        reference="CLUB-2026/7",
        **changes,
    )


def test_a_sheet_has_the_facts_of_its_own_loading(book: Book) -> None:
    """Pairs and press are on every sheet, a placement only where it is pressed; on the card of a decline, all."""
    card = bench_cards.compose(book, four_loadings())
    labels = [[label for label, _ in sheet.facts] for sheet in sheets(card)]

    assert [["Pairs", "Press", f"Placement {number}"] for number in (1, 2, 3, 4)] == labels
    (declined,) = sheets(card._replace(verdict="decline"))
    assert card.facts == declined.facts


@pytest.mark.parametrize(("asked", "loadings"), [(four_loadings(), 4), (order(), 1), (order(units="us"), 1)])
def test_every_loading_is_one_page(book: Book, asked: Order, loadings: int) -> None:
    """Four loadings are four pages of A4, and one loading is one page, on Letter too."""
    pdf = card_pdfs.write(bench_cards.compose(book, asked))
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]

    assert loadings == len(pages)
    assert "Cautions" in pages[0]


def test_the_card_of_a_trial_has_no_remark_about_another_setting(book: Book) -> None:
    """That the recipe's dwell is longer than the published one is said in the answer, not beside the ladder."""
    shape = {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}
    textile = {
        "kind": "measured",
        "label": "textile",
        "tests": {"thread": "sinks"},
        "panels": [{"panel": "outer-quarter", "shape": shape, "curvature": "gentle"}],
        "inside_length": "275 mm",
    }
    asked = order(shoe=textile)
    remarks = {one.sentence for one in quotes.compose(book, asked).reasons if one.code == "heat.film-longer"}
    card = bench_cards.compose(book, asked)

    assert remarks
    assert card.trials
    assert card.reasons
    assert remarks.isdisjoint(card.reasons)
