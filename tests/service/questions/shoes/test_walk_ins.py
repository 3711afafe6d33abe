from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest

from featherline.wire.fits import FitRequest
from featherline.wire.recipes import RecipeRequest
from featherline.wire.shoes import MeasuredShoe
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import Checks, RefusedError
from featherline_service.questions.fit import fits
from featherline_service.questions.recipe import recipes
from featherline_service.questions.shoes.observations import OBSERVATIONS
from featherline_service.questions.shoes.shoes import find_shoe
from featherline_service.questions.shoes.walk_ins import uppers_of

PANEL = {"panel": "side", "shape": {"kind": "rectangle", "width": "90 mm", "height": "40 mm"}, "curvature": "flat"}
RULER: dict[str, Any] = {"kind": "measured", "label": "textile", "panels": [PANEL], "inside_length": "270 mm"}


def shoe(**changes: Any) -> MeasuredShoe:  # noqa: ANN401
    """Return a walk-in shoe, some of it changed."""
    return msgspec.convert({**RULER, **changes}, MeasuredShoe)


def found(book: Book, asked: MeasuredShoe) -> list[str]:
    """Return the ids of the uppers that a shoe may be of."""
    checks = Checks()
    uppers = uppers_of(book, asked, checks)
    checks.settle()
    return [upper.id for upper in uppers]


def recipe(film: str = "smooth", **changes: Any) -> RecipeRequest:  # noqa: ANN401
    """Return the question for a recipe on a walk-in shoe."""
    onto = {"kind": "panel", "shoe": {**RULER, **changes}, "panel": "side"}
    return msgspec.convert({"film": film, "onto": onto}, RecipeRequest)


def test_a_label_allows_what_the_book_says(book: Book) -> None:
    """Without more, the shoe may be every upper of its label."""
    assert [upper.id for upper in book.uppers.values() if "textile" in upper.labels] == found(book, shoe())


def test_the_eye_leaves_the_uppers_with_the_surface_it_sees(book: Book) -> None:
    """A knit surface rules canvas out, and no more: the eye does not see what it is knitted of."""
    assert ["nylon-mesh", "polyester-knit"] == found(book, shoe(surface="knit"))


def test_a_known_upper_stands_in_the_labels_place(book: Book) -> None:
    """Of all that are sold under the label, the one that is named is left."""
    assert ["webbing"] == found(book, shoe(upper="webbing"))


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"upper": "suede"}, "/shoe/upper"),
        ({"upper": "no-such-upper"}, "/shoe/upper"),
        ({"surface": "rubber"}, "/shoe/surface"),
        ({"upper": "canvas", "surface": "knit"}, "/shoe/surface"),
        ({"upper": "polypropylene", "tests": {"thread": "sinks"}}, "/shoe/tests/thread"),
        ({"label": "other", "tests": {"water_drop": "soaks-in"}}, "/shoe/tests"),
    ],
)
def test_what_contradicts_itself_is_refused(book: Book, changes: dict[str, Any], pointer: str) -> None:
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
    by_label, known = recipes.resolve(book, recipe("stretch")), recipes.resolve(book, recipe("stretch", upper="canvas"))

    assert ("trial", "ready") == (by_label.verdict, known.verdict)
    assert [("shoe.measured", "ready", "/onto/shoe/upper")] == [
        (reason.code, reason.verdict, reason.subject) for reason in known.reasons
    ]


def test_a_surface_that_is_seen_is_still_to_be_tried(book: Book) -> None:
    """The eye does not make a shoe known: glossy is the one upper of its label that shines, and yet it is tried."""
    assert ["glossy"] == found(book, shoe(label="other", surface="glossy"))
    assert "trial" == recipes.resolve(book, recipe(label="other", surface="glossy")).verdict


def test_a_new_upper_of_a_shop_appears_by_its_label_alone(tmp_path: Path) -> None:
    """An upper in a book laid over the demo book is one that a shoe so labelled may have, without another edit."""
    (tmp_path / "uppers").mkdir()
    (tmp_path / "book.toml").write_text('mode = "overlay"\n', "utf-8")
    (tmp_path / "uppers" / "own.toml").write_text(
        'id = "thin-sailcloth"\nname = "Thin sailcloth"\nlabels = ["textile", "other"]\nsurface = "woven"\n'
        'layers = [{ name = "sailcloth", material = "polyester-fabric", thickness_mm = 0.2 }]\n'
        'cites = [{ values = ["layers"], source = "from-memory" }]\n',
        "utf-8",
    )
    own = load([tmp_path])

    for label in ("textile", "other"):
        assert "thin-sailcloth" in found(own, shoe(label=label))
    assert "thin-sailcloth" not in found(own, shoe(label="leather"))


def test_the_lasting_margin_counts_where_a_panel_lies_over_it(book: Book) -> None:
    """A leather panel clear of the sole is not taken for one over the sole's glue; one that reaches down is."""
    clear, down = (
        find_shoe(book, msgspec.convert({**RULER, "label": "leather", "panels": [panel]}, MeasuredShoe), Checks())
        for panel in (PANEL, {**PANEL, "over_lasting_margin": True})
    )

    assert clear is not None
    assert down is not None
    assert {"leather-lasted"} == {upper.id for upper in down.panels[0].uppers} - {
        upper.id for upper in clear.panels[0].uppers
    }


TESTS = [
    ("textile", {"thread": "sinks"}, {"polypropylene"}),
    ("other", {"fingernail": "none"}, {"eva-foam"}),
    ("other", {"marking": "pvc-free"}, {"pvc-coated"}),
    ("leather", {"water_drop": "soaks-in"}, set()),
    ("textile", {"thread": "floats", "water_drop": "beads", "fingernail": "dents", "marking": "pvc"}, set()),
    ("other", {"thread": "floats", "water_drop": "beads", "fingernail": "dents", "marking": "none"}, set()),
]


@pytest.mark.parametrize(("label", "tests", "out"), TESTS)
def test_a_test_rules_out_only_what_cannot_pass_it(
    book: Book, label: str, tests: dict[str, str], out: set[str]
) -> None:
    """A thread that sinks is no polypropylene (910 kg/m3, EN 12524); the rest is common practice, no source."""
    every = set(found(book, shoe(label=label)))

    assert every - out == set(found(book, shoe(label=label, tests=tests)))


def test_what_a_test_rules_out_is_said_with_its_source(book: Book) -> None:
    """The recipe names the uppers that the test leaves out and how well it is known, and is no better than a trial."""
    narrowed = recipes.resolve(book, recipe(tests={"thread": "sinks"}))
    (reason,) = (reason for reason in narrowed.reasons if reason.code == "shoe.narrowed")

    assert "trial" == narrowed.verdict
    assert ("ready", "/onto/shoe/tests/thread", "published") == (reason.verdict, reason.subject, reason.evidence)
    assert "Woven polypropylene" in reason.sentence


@pytest.mark.parametrize(("label", "film"), [("textile", "smooth"), ("other", "smooth"), ("other", "stretch")])
def test_a_declined_walk_in_asks_for_what_would_narrow_it(book: Book, label: str, film: str) -> None:
    """The reason names fields of the request, and with all that it asks for the shoe is tried."""
    declined = recipes.resolve(book, recipe(film, label=label))
    (reason,) = (reason for reason in declined.reasons if reason.code == "shoe.unnarrowed")
    asked = {one.field: one.value for one in OBSERVATIONS if f"`tests.{one.field}`: {one.value!r}" in reason.sentence}

    assert ("decline", "decline", "/onto/shoe") == (declined.verdict, reason.verdict, reason.subject)
    assert asked
    assert "`upper`" in reason.sentence
    answered = recipes.resolve(book, recipe(film, label=label, tests=asked))
    if answered.verdict == "decline":  # rubber: the eye tells it from a glossy face
        (again,) = (reason for reason in answered.reasons if reason.code == "shoe.unnarrowed")
        assert "`surface`, if eye and thumb find it coated or glossy" in again.sentence
        answered = recipes.resolve(book, recipe(film, label=label, tests=asked, surface="glossy"))
    assert "trial" == answered.verdict
