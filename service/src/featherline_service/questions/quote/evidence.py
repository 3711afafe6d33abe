"""What an order observes of pressings."""

from __future__ import annotations

from featherline.wire.costs import Order
from featherline.wire.recipes import RecipeRequest, ShoePanel
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import told
from featherline_service.questions.checks import Checks
from featherline_service.questions.recipe.evidence.requests import read_sightings
from featherline_service.questions.recipe.evidence.sightings import Sighting


def sightings_of(book: Book, order: Order, checks: Checks) -> tuple[Sighting, ...]:
    """Return what the book has and what an order observes of pressings.

    What an observation leaves out is as in the order: the film where all placements are in one, the panel where all are
    on one, with the old marks of the first.

    Raises:
        RefusedError: An observation cannot be, or leaves out a film or a panel of which the order has several.
    """
    placements = order.placements
    films = dict.fromkeys(placement.film for placement in placements)
    panels = dict.fromkeys(placement.panel for placement in placements)
    for at, observation in enumerate(order.observations):
        if observation.film is None and len(films) > 1:
            checks.note(
                f"/observations/{at}/film",
                told("observation.film-unclear", "The order has the films {films}: name one", films=tuple(films)),
            )
        if observation.onto is None and len(panels) > 1:
            checks.note(
                f"/observations/{at}/onto",
                told(
                    "observation.panel-unclear", "The order marks the panels {panels}: name one", panels=tuple(panels)
                ),
            )
    checks.settle()
    first = placements[0]
    onto = ShoePanel(shoe=order.shoe, panel=first.panel, old_marks=first.old_marks)
    return read_sightings(
        book, order.observations, RecipeRequest(film=first.film, onto=onto, press=order.press), checks
    )
