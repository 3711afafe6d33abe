"""Recipe tasks: what a request says of stack, cover, guard, temperature and pressure."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from featherline.wire.recipes import OldMark, RecipeRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions.checks import RefusedError
from featherline_service.questions.recipe.recipe_tasks import RecipeTask, read_task

CHILD = {"kind": "book", "shoe": "minnow-trainer", "size": {"system": "EU", "value": "27"}}


def stack(*layers: dict[str, Any], surface: str = "woven") -> dict[str, Any]:
    """Return a bare stack, cotton where no layers are given."""
    cotton = {"material": "cotton-fabric", "thickness": "0.5 mm"}
    return {"kind": "stack", "surface": surface, "layers": layers or [cotton]}


def read(book: Book, **changes: Any) -> RecipeTask:  # noqa: ANN401 - JSON
    """Return the task of a request for smooth film, some of it changed."""
    request = msgspec.convert({"film": "smooth", "onto": stack(), **changes}, RecipeRequest)
    return read_task(book, request)[0]


def faults(book: Book, **changes: Any) -> list[str]:  # noqa: ANN401 - JSON
    """Return the pointers of what is wrong with a request."""
    with pytest.raises(RefusedError) as refused:
        read(book, **changes)
    return [fault.pointer for fault in refused.value.faults]


@pytest.mark.parametrize("thickness", ["0.01 mm", "30 mm"])
def test_a_layer_may_be_as_thin_or_thick_as_the_limits(book: Book, thickness: str) -> None:
    """The limits themselves are layers; what is a thousandth beyond them is none."""
    (upper,) = read(book, onto=stack({"material": "eva-foam", "thickness": thickness})).uppers
    beyond = {"0.01 mm": "0.00999 mm", "30 mm": "30.03 mm"}[thickness]

    assert float(thickness.removesuffix(" mm")) == upper.layers[0].thickness_mm
    assert ["/onto/layers/0/thickness"] == faults(book, onto=stack({"material": "eva-foam", "thickness": beyond}))


def test_faults_of_layers_name_their_layer(book: Book) -> None:
    """An unknown material and a wrong thickness of the second layer lie at the second layer."""
    first = {"material": "cotton-fabric", "thickness": "0.5 mm"}

    assert ["/onto/layers/1/material", "/onto/layers/1/thickness"] == faults(
        book, onto=stack(first, {"material": "no-such", "thickness": "9 cm"})
    )


def test_the_uppermost_layer_is_bonded_to_none(book: Book) -> None:
    """Under a bonded second layer there is no contact; the first has nothing above it but the film."""
    layer = {"material": "cotton-fabric", "thickness": "0.5 mm", "bonded": True}

    (upper,) = read(book, onto=stack(layer, layer, layer)).uppers

    assert [False, True, True] == [each.bonded for each in upper.layers]


@pytest.mark.parametrize(("surface", "bare"), [("woven", True), ("glossy", False), ("coated", False)])
def test_closed_surfaces_are_never_pressed_without_a_cover_sheet(book: Book, surface: str, bare: bool) -> None:
    """They would take the platen's print (common practice, no source); a cover that is asked for is the only one."""
    assert bare == (None in read(book, onto=stack(surface=surface)).covers)
    assert set(book.covers) == set(read(book, onto=stack(surface=surface)).covers) - {None}
    assert ("paper",) == read(book, onto=stack(surface=surface), cover="paper").covers


def test_a_shoe_is_resolved_on_the_first_platen_that_it_goes_on(book: Book) -> None:
    """EU 27 is about 180 mm long inside: too short for the large form (195 mm), long enough for the small (168 mm)."""
    task = read(book, onto={"kind": "panel", "shoe": CHILD, "panel": "outer-quarter"})

    assert "small-shoe-form" == task.platen
    assert "shoe-form" == read(book).platen


def test_guard_temperature_and_pressure_are_those_of_the_request(book: Book) -> None:
    """A guard of 9 degF is 5 K; the maker's other level of pressure may be chosen, and no third one."""
    task = read(book, guard="9 delta_degF", temperature="160 degC", pressure="firm")

    assert (pytest.approx(5.0), 160.0, "firm") == (task.guard_k, task.temperature_c, task.pressure)
    assert ["/pressure"] == faults(book, pressure="light")


@pytest.mark.parametrize("temperature", ["129 degC", "141 degC", "150.5 degC"])
def test_a_temperature_beyond_the_films_range_is_refused(book: Book, temperature: str) -> None:
    """Stretch film is pressed at 130 to 140 degC, its ends included."""
    assert ["/temperature"] == faults(book, film="stretch", temperature=temperature)
    assert [130.0, 140.0] == [
        read(book, film="stretch", temperature=f"{each} degC").temperature_c for each in (130, 140)
    ]


def test_a_temperature_between_the_steps_of_the_press_is_refused(book: Book) -> None:
    """134 degC is no step of 5 degC, nor 273.2 degF one of 5 degF; 275 degF is."""
    clam = {"film": "stretch", "press": "clam"}

    assert ["/temperature"] == faults(book, **clam, temperature="134 degC")
    assert pytest.approx(135.0) == read(book, **clam, temperature="275 degF").temperature_c


def test_the_last_of_several_films_under_a_mark_is_the_uppermost(book: Book) -> None:
    """A new film meets the film that was pressed last."""
    marks = (OldMark(film="smooth", under=True), OldMark(film="stretch", under=True), OldMark(film="flock"))

    assert "stretch" == read(book)._replace(old_marks=marks).under
    assert read(book)._replace(old_marks=marks[2:]).under is None
