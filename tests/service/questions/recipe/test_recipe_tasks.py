"""Recipe tasks: what a request says of stack, cover, guard, temperature and pressure."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire.recipes import BareLayer, BareStack, OldMark, RecipeRequest, ShoePanel
from featherline.wire.shoes import BookShoe, Size
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


def faults_of(book: Book, request: RecipeRequest) -> list[str]:
    """Return where a request is wrong."""
    try:
        read_task(book, request)
    except RefusedError as error:
        return [fault.pointer for fault in error.faults]
    return []


def stacked(*layers: BareLayer, **more: Any) -> RecipeRequest:  # noqa: ANN401
    """Return the question for stretch film, of 130 to 140 degC, on a bare stack."""
    onto = BareStack(surface="woven", layers=layers or (BareLayer(material="cotton-fabric", thickness="0.5 mm"),))
    return RecipeRequest(**{"film": "stretch", "onto": onto, **more})


@pytest.mark.parametrize(
    ("press_c", "temperature", "allowed"),
    [
        ((60.0, 210.0), "130 degC", True),
        ((60.0, 210.0), "140 degC", True),
        ((60.0, 210.0), "129 degC", False),
        ((60.0, 210.0), "141 degC", False),
        ((60.0, 210.0), "130.5 degC", False),  # no step of the press
        ((60.0, 210.0), "275 degF", True),
        ((60.0, 135.0), "135 degC", True),
        ((60.0, 135.0), "136 degC", False),
        ((135.0, 210.0), "135 degC", True),
        ((135.0, 210.0), "134 degC", False),
    ],
)
def test_a_temperature_is_in_the_ranges_of_film_and_press(
    book: Book, press_c: tuple[float, float], temperature: str, allowed: bool
) -> None:
    """Their ends belong to them."""
    press = replace(book.presses["swing"], coolest_c=press_c[0], hottest_c=press_c[1])
    own = replace(book, presses={**book.presses, "swing": press})

    assert ([] if allowed else ["/temperature"]) == faults_of(own, stacked(temperature=temperature))


@pytest.mark.parametrize(
    ("thickness", "allowed"),
    [("0.01 mm", True), ("0.009 mm", False), ("30 mm", True), ("30.1 mm", False), ("3 cm", True)],
)
def test_a_layer_is_as_thick_as_one_of_a_shoe(book: Book, thickness: str, allowed: bool) -> None:
    """From a coat of paint to a thick foam."""
    layers = (
        BareLayer(material="cotton-fabric", thickness="1 mm"),
        BareLayer(material="cotton-fabric", thickness=thickness),
    )

    assert ([] if allowed else ["/onto/layers/1/thickness"]) == faults_of(book, stacked(*layers))


def test_every_fault_of_a_request_is_at_its_part(book: Book) -> None:
    """Unknown records, and texts that are no quantities."""
    thick = BareLayer(material="cotton-fabric", thickness="thick")
    unknown = BareLayer(material="tin", thickness="1 mm")
    wrong = stacked(thick, unknown, film="velvet", press="mangle", cover="foil", temperature="140 degC", guard="much")

    assert [
        "/film",
        "/press",
        "/cover",
        "/guard",
        "/onto/layers/0/thickness",
        "/onto/layers/1/material",
    ] == faults_of(book, wrong)
    assert ["/press"] == faults_of(book, stacked(press="mangle", temperature="140 degC"))
    shoe = BookShoe(shoe="barge", size=Size(system="EU", value="42"))
    onto = ShoePanel(shoe=shoe, panel="toe", old_marks=(OldMark(film="velvet"),))
    assert ["/onto/shoe/shoe", "/onto/old_marks/0/film"] == faults_of(book, RecipeRequest(film="smooth", onto=onto))


def test_a_bare_layer_is_bonded_to_the_one_above_it(book: Book) -> None:
    """Where that is said, and never the first; without a guard nothing is kept from the limits."""
    layers = [BareLayer(material="cotton-fabric", thickness="1 mm", bonded=bonded) for bonded in (True, True, False)]
    task, name = read_task(book, stacked(*layers))

    assert [False, True, False] == [layer.bonded for layer in task.uppers[0].layers]
    assert ("a bare stack", 0.0, None, None) == (name, task.guard_k, task.temperature_c, task.pressure)
    assert 0.0 == RecipeTask("smooth", (), "swing", "shoe-form", (), "metric").guard_k
