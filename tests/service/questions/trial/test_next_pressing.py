"""The next pressing of a trial, or that there is enough."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.recipes import Observation, RecipeRequest, ShoePanel
from featherline.wire.shoes import BookShoe, Size
from featherline.wire.trials import NextPressing, TrialRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.recipe_settings import jobs_of
from featherline_service.questions.recipe.recipe_tasks import read_task
from featherline_service.questions.recipe.recipes import recipe_of, resolve
from featherline_service.questions.trial.next_pressing import by_recipe
from featherline_service.questions.trial.trials import plan

DECK = {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}
WALK_IN = {
    "kind": "measured",
    "label": "leather",
    "panels": [{"panel": "side", "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}}],
    "inside_length": "270 mm",
}


@pytest.fixture(scope="module")
def doubtful(book: Book) -> Book:
    """A book without statements of the trade, whose leather stands what nobody knows well."""
    leather = book.materials["upper-leather"]
    limit = replace(leather.limit, spread_k=12.0, evidence="guess")
    return replace(
        book,
        revision="",
        practices={},
        materials={**book.materials, leather.id: replace(leather, limit=limit)},
    )


def following(book: Book, *observations: dict[str, Any], **fields: object) -> NextPressing:
    """Return the next pressing of smooth film on a deck shoe."""
    asked = {"shoe": DECK, "panel": "outer-quarter", "film": "smooth", "observations": observations, **fields}
    found = plan(book, msgspec.convert(asked, TrialRequest)).next
    assert found is not None
    return found


def test_where_the_recipe_is_ready_there_is_enough(book: Book) -> None:
    """Its setting is kept to, with the risk that is left; nothing is to be observed."""
    found = following(book)
    assert (True, "shoe", None, True) == (found.enough, found.on, found.observation, found.film)
    assert min(found.chance_bonds, found.chance_unharmed) >= 0.975
    assert found.sentence.startswith("Enough is known: press 31 s at 160 °C")


def test_a_guessed_limit_is_tried_on_a_test_piece(doubtful: Book) -> None:
    """The recommended dwell, which is told as an observation takes it."""
    found = following(doubtful)
    assert (False, "test-piece") == (found.enough, found.on)
    assert "on a test piece of the same upper" in found.sentence
    kept = found.observation
    assert kept is not None
    assert (f"{found.setting.dwell_s:g} s", "160 degC", found.setting.cover, "swing", "smooth") == (
        kept.dwell,
        kept.temperature,
        kept.cover,
        kept.press,
        kept.film,
    )


def test_an_upper_that_stood_it_once_is_all_that_can_be_had(book: Book) -> None:
    """No outcome makes an upper surer to stand more: one that looked unchanged there ends the trial, not the doubt."""
    leather = book.materials["upper-leather"]
    wide = replace(leather, limit=replace(leather.limit, spread_k=40.0))
    own = replace(book, revision="", materials={**book.materials, leather.id: wide})
    first = following(own)
    assert (False, "test-piece") == (first.enough, first.on)
    kept = msgspec.to_builtins(first.observation)
    stood = following(own, {**kept, "bond": "holds", "upper": "unchanged", "beside": "unchanged"})
    assert (True, "shoe") == (stood.enough, stood.on)
    assert stood.chance_unharmed < 0.975
    assert stood.chance_bonds >= 0.975
    assert stood.setting.dwell_s <= first.setting.dwell_s
    shorter = following(own, {**kept, "dwell": "5 s", "upper": "unchanged"})
    assert not shorter.enough


def test_what_was_kept_teaches(doubtful: Book) -> None:
    """With what was seen added it is an observation of the next request, and chances rise until there is enough."""
    first = following(doubtful)
    seen: list[dict[str, Any]] = []
    found = first
    for _ in range(4):
        if found.enough:
            break
        kept = msgspec.to_builtins(found.observation)
        observed = {**kept, "bond": "holds", "upper": "unchanged", "beside": "unchanged"}
        msgspec.convert(observed, Observation)
        seen.append(observed)
        found = following(doubtful, *seen)
        assert found.chance_bonds >= first.chance_bonds - 1e-9
    assert 1 <= len(seen) <= 3
    assert found.enough


def test_an_unknown_upper_is_pressed_by_the_first_rung(book: Book) -> None:
    """With the chances of the upper for which they are least, and only once it is named by the recipe."""
    asked = msgspec.convert({"shoe": WALK_IN, "panel": "side", "film": "smooth", "units": "us"}, TrialRequest)
    found = plan(book, asked)
    assert found.next is not None
    assert (False, found.rungs[0].setting, found.rungs[0].film) == (
        found.next.enough,
        found.next.setting,
        found.next.film,
    )
    assert found.next.chance_unharmed >= 0.975
    assert found.next.observation is not None
    assert found.next.observation.temperature.endswith(("degC", "degF"))
    named = following(book, shoe={**WALK_IN, "upper": "leather-lined"}, panel="side")
    assert named.enough


def test_where_an_upper_takes_no_film_it_is_sure_not_to_bond(book: Book) -> None:
    """A label that allows an upper on which the film does not bond."""
    textile = ("canvas", "leather-lined")
    mixed = replace(
        book,
        uppers={
            name: replace(upper, labels=("textile",)) if name in textile else replace(upper, labels=("leather",))
            for name, upper in book.uppers.items()
        },
        films={**book.films, "smooth": replace(book.films["smooth"], bonds_to=("woven",))},
    )
    asked = msgspec.convert({"shoe": {**WALK_IN, "label": "textile"}, "panel": "side", "film": "smooth"}, TrialRequest)
    found = plan(mixed, asked)
    assert found.next is not None
    assert 0.0 == found.next.chance_bonds


def test_a_declined_trial_has_no_next_pressing(book: Book) -> None:
    """Foam, which the heat would spoil."""
    shoe = {"kind": "book", "shoe": "ward-clog", "size": {"system": "EU", "value": "40"}}
    asked = msgspec.convert({"shoe": shoe, "panel": "outer-side", "film": "smooth"}, TrialRequest)
    assert plan(book, asked).next is None


def test_a_declined_recipe_has_none(book: Book) -> None:
    """There is no setting to press."""
    onto = ShoePanel(shoe=BookShoe(shoe="ward-clog", size=Size(system="EU", value="40")), panel="outer-side")
    task, _ = read_task(book, RecipeRequest(film="smooth", onto=onto))
    assert by_recipe(book, task, jobs_of(book, task, "medium"), recipe_of(book, task)) is None


def test_a_window_that_ends_before_it_is_sure_is_pressed_as_recommended(book: Book) -> None:
    """No longer than what the upper stands as the book has it."""
    leather = book.materials["upper-leather"]
    shy = replace(leather, limit=replace(leather.limit, peak_c=leather.limit.peak_c - 28.0))
    own = replace(book, revision="", materials={**book.materials, leather.id: shy})
    found = following(own)
    asked = RecipeRequest(film="smooth", onto=ShoePanel(shoe=msgspec.convert(DECK, BookShoe), panel="outer-quarter"))
    recipe = resolve(own, asked)
    assert recipe.window is not None
    assert recipe.setting == found.setting
    assert ("test-piece", False) == (found.on, found.enough)
