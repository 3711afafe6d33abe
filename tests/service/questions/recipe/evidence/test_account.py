"""What answers say of the evidence that they stand on."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.evidence import RecipeEvidence
from featherline.wire.recipes import Recipe, RecipeRequest
from featherline.wire.records import Overpressing
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.recipes import resolve

ONTO = {
    "kind": "panel",
    "shoe": {"kind": "book", "shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}},
    "panel": "outer-quarter",
}


def recipe(book: Book, *observations: dict[str, Any], **more: Any) -> Recipe:  # noqa: ANN401 - as JSON
    """Return the recipe of smooth film on a deck shoe, after pressings at 160 degC under the thin sheet."""
    pressed = {"cover": "silicone-thin", "temperature": "160 degC", "dwell": "30 s"}
    asked = {"film": "smooth", "onto": ONTO, "observations": [{**pressed, **each} for each in observations], **more}
    return resolve(book, msgspec.convert(asked, RecipeRequest))


def evidence(found: Recipe) -> RecipeEvidence:
    """Return the evidence of a recipe that has one."""
    assert found.evidence is not None
    return found.evidence


def test_ready_bonds_and_is_unharmed(book: Book) -> None:
    """A recipe that is ready has a chance of 97.5 % of each, and says what it is without the observations."""
    found = recipe(book)
    told = evidence(found)
    assert "ready" == found.verdict
    assert told.chance_bonds >= 0.975
    assert told.chance_unharmed >= 0.975
    assert told.chance_bonds > told.without.chance_bonds
    assert found.window is not None
    assert told.without.sure_from_s is not None
    assert found.window.worst_case.shortest_s is not None
    assert told.without.sure_from_s > found.window.worst_case.shortest_s
    assert "trial" == told.without.verdict


def test_needed_share_is_said(book: Book) -> None:
    """The share that is assumed, with its source, and what is known of it after the observations."""
    share = evidence(recipe(book)).needed_share
    assert (0.53, 1.06, "from-memory") == (
        pytest.approx(share.assumed.low),
        pytest.approx(share.assumed.high),
        share.source,
    )
    assert share.known.high < share.assumed.high
    assert share.known.low < share.known.median < share.known.high
    assert "0.53 to 1.06" in share.sentence


def test_what_each_observation_moves(book: Book) -> None:
    """The moves add up, in logarithms, to that of the shortest dwell from what is known without any."""
    told = evidence(recipe(book, {"bond": "holds", "dwell": "24 s"}))
    assert len(book.practices) + 1 == len(told.observations)
    own = told.observations[-1]
    assert ("/observations/0", False) == (own.observation, own.contradicts)
    assert own.shortest_by < -0.01
    assert {("deck shoe" in each.observation) for each in told.observations} == {True, False}
    assert sorted(told.moved, key=lambda each: -abs(each.by)) == list(told.moved)
    assert all(0.0 < each.spread_left <= 1.0 for each in told.moved)


def test_nothing_observed(book: Book) -> None:
    """In a book without statements nothing is moved, and the setting is the same without observations."""
    found = recipe(replace(book, practices={}))
    told = evidence(found)
    assert ((), ()) == (told.observations, told.moved)
    assert (found.verdict, told.chance_bonds) == (told.without.verdict, told.without.chance_bonds)


def test_contradictions_bar_ready(book: Book) -> None:
    """A film that holds at 140 degC and lifts at 150 degC: both pressings are named, and the shoe is tried first."""
    found = recipe(book, {"bond": "holds", "temperature": "140 degC"}, {"bond": "lifts", "temperature": "150 degC"})
    named = {reason.subject for reason in found.reasons if reason.code == "heat.contradiction"}
    assert ("trial", {"/observations/0", "/observations/1"}) == (found.verdict, named)
    assert named == {each.observation for each in evidence(found).observations if each.contradicts}


def test_bad_outcomes_lengthen_and_shorten(book: Book) -> None:
    """A film that lifted begins the window at 160 degC later, an upper that shone ends it sooner."""
    plain, lifted, shone = (
        recipe(book, *each, temperature="160 degC", cover="silicone-thin").window
        for each in ((), ({"bond": "lifts"},), ({"upper": "shiny", "dwell": "50 s"},))
    )
    assert plain is not None
    assert lifted is not None
    assert shone is not None
    assert plain.shortest_s is not None
    assert lifted.shortest_s is not None
    assert plain.worst_case.longest_s is not None
    assert shone.worst_case.longest_s is not None
    assert lifted.shortest_s > plain.shortest_s
    assert shone.worst_case.longest_s < plain.worst_case.longest_s
    assert (plain.longest_s, plain.worst_case.longest_s) == (lifted.longest_s, lifted.worst_case.longest_s)


def test_weak_evidence_yields_to_evidence(book: Book) -> None:
    """A guessed limit is no reason for a trial once the upper was pressed hotter and looked unchanged."""
    leather = book.materials["upper-leather"]
    guess = replace(leather, limit=replace(leather.limit, evidence="guess", spread_k=12.0))
    own = replace(book, materials={**book.materials, leather.id: guess}, practices={})
    seen = {"bond": "holds", "upper": "unchanged", "beside": "unchanged", "dwell": "60 s"}
    codes = [{reason.code for reason in recipe(own, *each).reasons} for each in ((), (seen,))]
    assert "heat.weak-evidence" in codes[0]
    assert "heat.weak-evidence" not in codes[1]


def test_the_harm_of_a_film_counts_among_the_chances(book: Book) -> None:
    """Above the dwell that is sure to leave the film unharmed, the chance to harm nothing is below 97.5 %."""
    smooth = book.films["smooth"]
    found = []
    for longest_s in (21.0, 60.0):
        harm = Overpressing(harm="it yellows", longest_s=longest_s, evidence="guess")
        own = replace(book, films={**book.films, "smooth": replace(smooth, overpressing=harm)})
        found.append(recipe(own, temperature="160 degC", cover="silicone-thin", pressure="medium"))
    soon, late = found

    assert (soon.verdict, late.verdict) == ("trial", "ready")
    assert soon.setting is not None
    assert soon.window is not None
    assert soon.window.worst_case.longest_s is not None
    assert soon.window.worst_case.longest_s < soon.setting.dwell_s
    assert evidence(soon).chance_unharmed < 0.975 <= evidence(late).chance_unharmed
    assert "heat.film-longest" in {reason.code for reason in soon.reasons}


def test_a_declined_recipe_stands_on_nothing(book: Book) -> None:
    """A foam that no film bonds to without harm shows no evidence of a setting."""
    onto = {**ONTO, "shoe": {**ONTO["shoe"], "shoe": "ward-clog"}, "panel": "outer-side"}  # type: ignore[dict-item]
    assert None is recipe(book, onto=onto).evidence


def test_no_sure_end(book: Book) -> None:
    """Where no dwell is sure to bond, the chance of the one that is set is still told, and it is no sure one."""
    astray = replace(book.presses["swing"], platen_spread_k=40.0)  # at its coldest the film never softens
    found = recipe(replace(book, presses={**book.presses, "swing": astray}))
    assert found.window is not None
    assert ("trial", None) == (found.verdict, found.window.worst_case.shortest_s)
    assert 0.5 < evidence(found).chance_bonds < 0.975
