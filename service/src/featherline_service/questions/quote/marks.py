"""Marks of an order: its placements, each with its fit, the task to press it, and the recipe for it."""

from __future__ import annotations

from msgspec import Struct

from featherline.wire.fits import Fit
from featherline.wire.recipes import Recipe
from featherline_service.questions.order.placements import Placement
from featherline_service.questions.recipe.recipe_tasks import RecipeTask


class Mark(Struct, frozen=True, kw_only=True):
    """A placement of the order with its fit, the task to press it, and the recipe for its own panel."""

    index: int
    placement: Placement
    task: RecipeTask
    fit: Fit
    recipe: Recipe

    @property
    def pointer(self) -> str:
        """Where it is in the order."""
        return f"/placements/{self.index}"

    @property
    def name(self) -> str:
        """What sentences call it."""
        return f"placement {self.index + 1} ({self.placement.artwork.name})"
