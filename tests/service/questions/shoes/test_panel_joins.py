"""Which panels of a shoe are joined, and where the drawing of one lies in that of the other."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from shapely import MultiPolygon, box

from featherline.wire.records import Join, ShoeModel
from featherline.wire.shoes import BookShoe, Size
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks
from featherline_service.questions.shoes.panel_joins import across, motion
from featherline_service.questions.shoes.shoes import Shoe, find_shoe

SQUARE = MultiPolygon([box(0.0, -4.0, 10.0, 0.0)])
"""Ten wide and four high, below the origin of a drawing whose y grows downwards in the book and upwards here."""


@pytest.fixture
def deck(book: Book) -> Shoe:
    """Return the deck shoe, whose heel is joined to both quarters, in its reference size."""
    shoe = find_shoe(book, BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")), Checks())
    assert shoe is not None
    return shoe


def with_join(shoe: Shoe, join: Join) -> ShoeModel:
    """Return the model of a shoe with a single join."""
    assert shoe.model is not None
    return replace(shoe.model, joins=(join,))


def bounds(model: ShoeModel, growth: tuple[float, float], to: str) -> tuple[float, ...]:
    """Return where the square lies once it is moved to the drawing of a panel, rounded."""
    (join,) = model.joins
    return tuple(round(value, 6) for value in motion(model, join, growth, to=to).moved(SQUARE).bounds)


def test_only_joined_panels_of_a_sized_model_meet(deck: Shoe) -> None:
    """In either order; not panels without a join, a shoe without a model, nor one in a size that there is not."""
    assert across(deck, "heel", "outer-quarter") is not None
    assert across(deck, "outer-quarter", "heel") is not None
    assert across(deck, "outer-quarter", "inner-quarter") is None
    assert across(deck, "heel", "heel") is None
    assert across(replace(deck, model=None), "heel", "outer-quarter") is None
    assert across(replace(deck, growth=None), "heel", "outer-quarter") is None


def test_a_join_lays_one_edge_on_the_other(deck: Shoe) -> None:
    """The quarter's left edge on the heel's right edge at x = 50, with y turned upwards; and back."""
    model = with_join(
        deck, Join(panel="heel", ends_mm=((50, 0), (50, 4)), other="outer-quarter", other_ends_mm=((0, 0), (0, 4)))
    )

    assert (50.0, -4.0, 60.0, 0.0) == bounds(model, (1.0, 1.0), "heel")
    assert (-50.0, -4.0, -40.0, 0.0) == bounds(model, (1.0, 1.0), "outer-quarter")


def test_the_inner_quarter_is_mirrored_beside_the_heel(deck: Shoe) -> None:
    """It is drawn of the left shoe: its left edge, at the heel's left edge, lies with its body to the left."""
    model = with_join(
        deck, Join(panel="heel", ends_mm=((0, 0), (0, 4)), other="inner-quarter", other_ends_mm=((0, 0), (0, 4)))
    )

    assert (-10.0, -4.0, 0.0, 0.0) == bounds(model, (1.0, 1.0), "heel")


def test_edges_grow_with_their_panels(deck: Shoe) -> None:
    """A heel with the girth in both directions, a quarter along the shoe and around."""
    model = with_join(
        deck, Join(panel="heel", ends_mm=((50, 0), (50, 4)), other="outer-quarter", other_ends_mm=((5, 0), (5, 4)))
    )

    # Heel: x = 100, middle at -4. Quarter: x = 5 * 1.5, middle at -4.
    assert (92.5, -4.0, 102.5, 0.0) == bounds(model, (1.5, 2.0), "heel")
