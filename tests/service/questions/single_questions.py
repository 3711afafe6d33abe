"""The questions of a quote's parts, as a caller would ask them alone."""

from __future__ import annotations

from featherline.wire.costs import Order, Placement
from featherline.wire.fits import FitRequest
from featherline.wire.recipes import RecipeRequest, ShoePanel


def fit_request(order: Order, placement: Placement) -> FitRequest:
    """Return the question for the fit of a placement."""
    return FitRequest(
        shoe=order.shoe,
        panel=placement.panel,
        film=placement.film,
        colour=placement.colour,
        artwork=placement.artwork,
        pose=placement.pose,
        footprint=placement.footprint,
        sides=placement.sides,
        clearance=placement.clearance,
        press=order.press,
        units=order.units,
    )


def recipe_request(order: Order, placement: Placement) -> RecipeRequest:
    """Return the question for the recipe of a placement."""
    return RecipeRequest(
        film=placement.film,
        onto=ShoePanel(shoe=order.shoe, panel=placement.panel, old_marks=placement.old_marks),
        press=order.press,
        units=order.units,
    )
