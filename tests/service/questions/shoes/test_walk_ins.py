from __future__ import annotations

from typing import Any

import msgspec
import pytest

from featherline.wire.fits import FitRequest
from featherline.wire.recipes import RecipeRequest
from featherline.wire.shoes import MeasuredShoe
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.recipe import recipes
from featherline_service.questions.shoes.walk_ins import uppers_of

PANEL = {"panel": "side", "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}, "curvature": "flat"}
RULER: dict[str, Any] = {"kind": "measured", "label": "textile", "panels": [PANEL], "inside_length": "270 mm"}


def shoe(**changes: str) -> MeasuredShoe:
    """Return a walk-in shoe, some of it changed."""
    return msgspec.convert({**RULER, **changes}, MeasuredShoe)


def found(book: Book, asked: MeasuredShoe) -> list[str]:
    """Return the ids of the uppers that a shoe may be of."""
    checks = Checks()
    uppers = uppers_of(book, asked, checks)
    checks.settle()
    return [upper.id for upper in uppers]


def recipe(film: str = "smooth", **changes: str) -> RecipeRequest:
    """Return the question for a recipe on a walk-in shoe."""
    onto = {"kind": "panel", "shoe": {**RULER, **changes}, "panel": "side"}
    return msgspec.convert({"film": film, "onto": onto}, RecipeRequest)


def test_a_label_allows_what_the_book_says(book: Book) -> None:
    """Without more, the shoe may be every upper of its label."""
    assert list(book.labels["textile"].uppers) == found(book, shoe())


def test_the_eye_leaves_the_uppers_with_the_surface_it_sees(book: Book) -> None:
    """A knit surface rules canvas out, and no more: the eye does not see what it is knitted of."""
    assert ["polyester-knit", "nylon-mesh"] == found(book, shoe(surface="knit"))


def test_a_known_upper_stands_in_the_labels_place(book: Book) -> None:
    """An upper that is named may be one that the label's list does not have, if it is so labelled."""
    assert ["webbing"] == found(book, shoe(upper="webbing"))


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"upper": "suede"}, "/shoe/upper"),
        ({"upper": "no-such-upper"}, "/shoe/upper"),
        ({"surface": "rubber"}, "/shoe/surface"),
        ({"upper": "canvas", "surface": "knit"}, "/shoe/surface"),
    ],
)
def test_what_contradicts_itself_is_refused(book: Book, changes: dict[str, str], pointer: str) -> None:
    """An upper of another label, a surface that none of the uppers has: the fault says where."""
    with pytest.raises(RefusedError) as error:
        found(book, shoe(**changes))
    assert [pointer] == [fault.pointer for fault in error.value.faults]


def test_a_fit_and_a_recipe_refuse_the_same_contradiction(book: Book) -> None:
    """Each question points at it in its own request."""
    with pytest.raises(RefusedError) as of_recipe:
        recipes.resolve(book, recipe(upper="suede"))
    asked = {
        "shoe": {**RULER, "upper": "suede"},
        "panel": "side",
        "film": "smooth",
        "artwork": {"kind": "path", "d": "M0 0H40V10H0Z", "height": "10 mm"},
    }
    with pytest.raises(RefusedError) as of_fit:
        fits.check(book, msgspec.convert(asked, FitRequest))

    assert ["/onto/shoe/upper"] == [fault.pointer for fault in of_recipe.value.faults]
    assert ["/shoe/upper"] == [fault.pointer for fault in of_fit.value.faults]


def test_an_upper_that_is_known_has_its_own_verdict(book: Book) -> None:
    """By its label alone a textile shoe is to be tried first; known to be canvas it is ready, and says why."""
    by_label, known = recipes.resolve(book, recipe()), recipes.resolve(book, recipe(upper="canvas"))

    assert ("trial", "ready") == (by_label.verdict, known.verdict)
    assert [("shoe.measured", "ready", "/onto/shoe/upper")] == [
        (reason.code, reason.verdict, reason.subject) for reason in known.reasons
    ]


def test_a_surface_that_is_seen_is_still_to_be_tried(book: Book) -> None:
    """The eye does not make a shoe known: canvas is the one woven upper of its label, and yet the verdict is trial."""
    assert "trial" == recipes.resolve(book, recipe(surface="woven")).verdict
