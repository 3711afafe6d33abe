"""What an answer shows of a recipe: nothing to set the press to where it is declined or not yet consented to."""

from __future__ import annotations

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.artworks import At, PathArtwork
from featherline.wire.costs import Order, Placement
from featherline.wire.recipes import Recipe
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.quote import quotes
from featherline_service.questions.recipe import recipes

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


def test_protective_footwear_asks_for_consent_and_shows_no_setting(book: Book) -> None:
    """Before the maker's consent is stated its only step is to ask for that; with it, the recipe is there."""
    asked = recipes.resolve(book, of_panel("yard-boot", "outer-quarter"))
    consented = recipes.resolve(book, of_panel("yard-boot", "outer-quarter", makers_consent=True))

    assert (False, True) == (shows_a_setting(asked), shows_a_setting(consented))
    assert ["consent"] == [step.do for step in asked.steps]
    assert "consent" not in [step.do for step in consented.steps]


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
