"""Whether an answer may show a setting of the press: not where it is declined, nor before a maker's consent."""

from __future__ import annotations

from msgspec.structs import replace

from featherline.wire.recipes import Recipe
from featherline.wire.verdicts import Verdict
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.recipe_reasons import may_be_pressed
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.steps import consent_first


def shown(book: Book, task: RecipeTask, recipe: Recipe, verdict: Verdict) -> Recipe:
    """Return a recipe as an answer with this verdict shows it.

    An answer that is declined shows no setting, nothing that was computed at one, and no steps. Protective footwear
    shows none before its maker's consent is stated: its only step is to ask for that.
    """
    consented = may_be_pressed(book, task)
    if recipe.setting is None or (verdict != "decline" and consented):
        return recipe
    return replace(
        recipe,
        setting=None,
        window=None,
        bond=None,
        layers=(),
        peel=None,
        alternatives=(),
        steps=() if verdict == "decline" else consent_first(),
    )
