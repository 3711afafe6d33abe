"""What an order observes of pressings, and how its recipes take it in."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.costs import Order, OrderWork
from featherline.wire.recipes import Observation, RecipeRequest, ShoePanel
from featherline_service.book.shop_book import Book
from featherline_service.questions import costs
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.quote.evidence import sightings_of
from featherline_service.questions.quote.quotes import compose
from featherline_service.questions.recipe.recipes import resolve

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
HELD = Observation(cover="silicone-thin", temperature="160 degC", dwell="20 s", bond="holds", upper="unchanged")


@pytest.fixture(scope="module")
def order() -> Order:
    """MARLOW over 7 on a deck shoe's outer quarters."""
    return msgspec.json.decode((EXAMPLES / "quote-request.json").read_bytes(), type=Order)


def test_an_order_observes_as_a_recipe_does(book: Book, order: Order) -> None:
    """Its recipes are those of requests with the same observation: film, panel and press are the order's."""
    (pressing,) = compose(book, replace(order, observations=(HELD,))).pressings
    (placement,) = order.placements
    onto = ShoePanel(shoe=order.shoe, panel=placement.panel)
    alone = resolve(book, RecipeRequest(film=placement.film, onto=onto, press=order.press, observations=(HELD,)))

    assert alone.window == pressing.recipe.window
    assert alone.window != resolve(book, RecipeRequest(film=placement.film, onto=onto, press=order.press)).window
    assert pressing.recipe.evidence is not None
    assert "/observations/0" in [effect.observation for effect in pressing.recipe.evidence.observations]


def test_faults_have_their_place_in_the_request(book: Book, order: Order) -> None:
    """In an order that is part of a question about its cost, too."""
    wrong = replace(order, observations=(HELD, replace(HELD, cover="tinfoil")))
    with pytest.raises(RefusedError) as of_quote:
        compose(book, wrong)
    with pytest.raises(RefusedError) as of_cost:
        costs.estimate(book, OrderWork(order=wrong))
    assert ["/observations/1/cover"] == [fault.pointer for fault in of_quote.value.faults]
    assert ["/order/observations/1/cover"] == [fault.pointer for fault in of_cost.value.faults]


def test_of_several_films_and_panels_one_is_named(book: Book, order: Order) -> None:
    """An observation that leaves out the film or the panel is ambiguous then."""
    (first,) = order.placements
    both = replace(order, placements=(first, replace(first, panel="inner-quarter", film="stretch")))
    with pytest.raises(RefusedError) as refused:
        sightings_of(book, replace(both, observations=(HELD,)), Checks())
    assert ["/observations/0/film", "/observations/0/onto"] == [fault.pointer for fault in refused.value.faults]

    named = replace(HELD, film="stretch", onto=ShoePanel(shoe=order.shoe, panel="inner-quarter"))
    (seen,) = sightings_of(book, replace(both, observations=(named,)), Checks())
    assert ("stretch", "holds") == (seen.job.film, seen.bond)
