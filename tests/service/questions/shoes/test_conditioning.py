from __future__ import annotations

from typing import Any

import msgspec
import pytest

from featherline.wire.recipes import Recipe, RecipeRequest, ShoePanel
from featherline.wire.shoes import Conditioning, MeasuredShoe
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.recipes import resolve
from featherline_service.questions.shoes.conditioning import conditioned

STATES: tuple[Conditioning, ...] = ("dry", "room", "damp")


def pressed(book: Book, shoe: str, panel: str, **more: Any) -> Recipe:  # noqa: ANN401 - fields of JSON
    """Return the recipe of the trade's one setting, but for the dwell, on a shoe of the book."""
    asked = {"kind": "book", "shoe": shoe, "size": {"system": "EU", "value": "40"}, **more}
    request = {
        "film": "smooth", "onto": {"kind": "panel", "shoe": asked, "panel": panel},
        "cover": "silicone-thin", "temperature": "160 degC", "pressure": "medium",
    }  # fmt: skip
    return resolve(book, msgspec.convert(request, RecipeRequest))


def test_materials_are_replaced_by_those_as_damp_as_the_shoe(book: Book) -> None:
    """The leather of an upper becomes the dry or damp one of the book; other layers stay, and all in a room."""
    upper = book.uppers["leather-lined"]
    layers = {state: tuple(layer.material for layer in conditioned(book, upper, state).layers) for state in STATES}

    assert layers["room"] == tuple(layer.material for layer in upper.layers)
    assert {"upper-leather-dry", "upper-leather-damp"} <= {*layers["dry"], *layers["damp"]}
    for state in ("dry", "damp"):
        for before, after in zip(layers["room"], layers[state], strict=True):
            assert (getattr(book.materials[before], state) or before) == after


def test_damp_leather_takes_longer_and_is_to_be_dried(book: Book) -> None:
    """A damp leather shoe is sure of its bond from 40 to 50 s on, where 31 s are set in a room, and 29 s when dried.

    The answer says to dry it, and never says `ready`. It stands less: damp leather shrinks (from memory).
    """
    dry, room, damp = (pressed(book, "regatta-deck", "outer-quarter", conditioning=state) for state in STATES)

    sure_from = [recipe.window.worst_case.shortest_s for recipe in (dry, room, damp) if recipe.window is not None]
    dry_s, room_s, damp_s = (seconds for seconds in sure_from if seconds is not None)
    assert dry_s < room_s - 1.5
    assert room_s < 31.0
    assert 40.0 <= damp_s <= 50.0
    assert ("ready", "trial") == (room.verdict, damp.verdict)
    (advice,) = [reason for reason in damp.reasons if reason.code == "shoe.damp"]
    assert "Let it dry" in advice.sentence
    assert {"shoe.damp"}.isdisjoint(reason.code for reason in (*dry.reasons, *room.reasons))


def test_a_damp_canvas_shoe_is_to_be_dried_too(book: Book) -> None:
    """An upper whose materials the book has in one state alone is computed as in a room, and still not `ready`."""
    room, damp = (pressed(book, "court-trainer", "tongue", conditioning=state) for state in ("room", "damp"))

    assert damp.verdict != "ready"
    assert "shoe.damp" in {reason.code for reason in damp.reasons}
    assert "shoe.damp" not in {reason.code for reason in room.reasons}


@pytest.mark.parametrize("upper", [None, "leather-lined"])
def test_a_walk_in_shoe_may_be_damp(book: Book, upper: str | None) -> None:
    """A measured shoe says how damp it is as a shoe of the book does, known by its label or by its upper's name."""
    panel = {"panel": "quarter", "shape": {"kind": "rectangle", "width": "60 mm", "height": "40 mm"}}
    asked = {"label": "leather", "surface": "leather", "panels": [panel], "upper": upper, "conditioning": "damp"}
    shoe = msgspec.convert(asked, MeasuredShoe)

    recipe = resolve(book, RecipeRequest(film="smooth", onto=ShoePanel(shoe=shoe, panel="quarter")))

    assert recipe.verdict != "ready"
    assert "shoe.damp" in {reason.code for reason in recipe.reasons}
    assert all(not layer.material.endswith("leather") for layer in recipe.layers)
