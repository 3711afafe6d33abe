"""What an answer shows of a recipe: nothing to set the press to where it is declined or not yet consented to."""

from __future__ import annotations

import re
from typing import Literal

import msgspec
import pytest
from draws import sample
from msgspec.structs import replace
from walk_in import measured

from featherline.wire.artworks import At, PathArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.recipes import Recipe, ShoePanel
from featherline.wire.shoes import BookShoe, Label, MeasuredShoe, Size
from featherline.wire.trials import TrialRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions.quote import quotes
from featherline_service.questions.recipe import recipes
from featherline_service.questions.trial import trials

BADGE = PathArtwork(d="M0 0H10V10H0Z", height="10 mm")


def of_panel(shoe: str, panel: str, **said: object) -> recipes.RecipeRequest:
    """Return the request for smooth film on a panel of a shoe of the demo book."""
    onto = {
        "kind": "panel",
        "shoe": {"kind": "book", "shoe": shoe, "size": {"system": "EU", "value": "42"}, **said},
        "panel": panel,
    }
    return msgspec.convert({"film": "smooth", "onto": onto}, recipes.RecipeRequest)


def shows_a_setting(recipe: Recipe) -> bool:
    """Return whether a recipe holds anything that was computed at a setting."""
    shown = (recipe.setting, recipe.window, recipe.bond, recipe.peel)
    return any(value is not None for value in shown) or bool(recipe.layers or recipe.alternatives)


def test_protective_footwear_shows_no_setting_without_consent(book: Book) -> None:
    """With the maker's consent stated, the recipe is there."""
    asked = recipes.resolve(book, of_panel("yard-boot", "outer-quarter"))
    consented = recipes.resolve(book, of_panel("yard-boot", "outer-quarter", makers_consent=True))

    assert (False, True) == (shows_a_setting(asked), shows_a_setting(consented))
    assert (False, True) == (bool(asked.steps), bool(consented.steps))


def words_of_settings(answer: object) -> list[str]:
    """Return the sentences of an answer that name a dwell, or a platen's temperature with one."""
    prose = [words for words in _texts(msgspec.to_builtins(answer)) if " " in words]
    stood = re.compile(r"for [0-9.]+ s in all")  # what a material stands
    return [words for words in prose if re.search(r"[0-9] s\b", stood.sub("", words))]


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [words for key, one in value.items() if key != "cautions" for words in _texts(one)]
    return [words for one in value for words in _texts(one)] if isinstance(value, (list, tuple)) else []


@pytest.mark.slow
@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_declined_recipe_says_no_setting_in_words(book: Book, units: Literal["metric", "us"]) -> None:
    """No reason and no help of a declined recipe, of any panel and film of the book, names a dwell."""
    panels = sample(
        (film, ShoePanel(shoe=BookShoe(shoe=shoe.id, size=size), panel=panel))
        for shoe in book.shoes.values()
        for size in [Size(system="EU", value=f"{shoe.sizes.smallest:g}")]
        for panel in {panel.upper: panel.id for panel in shoe.panels}.values()
        for film in book.films
    )
    asked = [recipes.resolve(book, recipes.RecipeRequest(film=film, onto=onto, units=units)) for film, onto in panels]
    declined = [recipe for recipe in asked if recipe.verdict == "decline"]
    assert len(declined) > len(asked) / 8
    assert [] == [words for recipe in declined for words in words_of_settings(recipe)]
    assert [] == [one.sentence for recipe in declined for one in recipe.help if "°" in one.sentence]


@pytest.mark.slow
@pytest.mark.parametrize(("label", "film"), [("textile", "smooth"), ("other", "smooth"), ("other", "stretch")])
def test_a_declined_walk_in_says_no_setting_in_words(book: Book, label: Label, film: str) -> None:
    """Neither its recipe nor its trial."""
    shoe = msgspec.convert(measured() | {"label": label}, MeasuredShoe)
    recipe = recipes.resolve(book, recipes.RecipeRequest(film=film, onto=ShoePanel(shoe=shoe, panel="side")))
    trial = trials.plan(book, TrialRequest(shoe=shoe, panel="side", film=film))
    assert ("decline", "decline") == (recipe.verdict, trial.verdict)
    assert [] == [*words_of_settings(recipe), *words_of_settings(trial)]


def test_dwells_are_seen_in_words(book: Book) -> None:
    """The search for dwells sees them: the steps of a recipe that is sound name one."""
    recipe = recipes.resolve(book, of_panel("regatta-deck", "outer-quarter"))
    assert recipe.verdict != "decline"
    assert words_of_settings(recipe)


def test_a_declined_recipe_shows_no_setting_but_its_help(book: Book) -> None:
    """Nothing both bonds and spares a foam clog; its changes that would help stay."""
    recipe = recipes.resolve(book, of_panel("ward-clog", "outer-side"))

    assert "decline" == recipe.verdict
    assert not shows_a_setting(recipe)
    assert () == recipe.steps


@pytest.mark.parametrize("apart_mm", [0, 24])
def test_an_order_declined_by_its_fit_shows_no_setting(book: Book, apart_mm: int) -> None:
    """Two marks that overlap are not pressed, though the recipe of each is sound; apart, they are."""
    mark = Placement(panel="outer-quarter", film="smooth", colour="gorse", artwork=BADGE, pose=At(x="-12 mm", y="0 mm"))
    other = replace(mark, pose=At(x=f"{apart_mm - 12} mm", y="0 mm"))
    shoe = BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42"))
    answer = quotes.compose(book, Order(shoe=shoe, placements=(mark, other)))
    declined = answer.verdict == "decline"

    assert declined is (apart_mm == 0)
    assert {not declined} == {shows_a_setting(pressing.recipe) for pressing in answer.pressings}
    assert {not declined} == {bool(pressing.recipe.steps) for pressing in answer.pressings}
    assert declined or [] != words_of_settings(answer)
    assert not declined or [] == words_of_settings(answer)
