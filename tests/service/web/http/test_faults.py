"""What the walk finds, and that it finds faults exactly where msgspec refuses."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import inspect

from featherline.wire.artworks import TextArtwork
from featherline.wire.problems import Fault
from featherline_service.web.http.faults import find_faults
from featherline_service.web.routes.questions import OPERATIONS

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
REQUESTS = [
    (operation.asked, json.loads((EXAMPLES / f"{name}.json").read_text()))
    for operation in OPERATIONS
    for name, _ in operation.examples
]
ORDER = next(
    asked for operation, asked in ((each, each.asked) for each in OPERATIONS) if operation.id == "composeQuote"
)
QUOTE: dict[str, Any] = json.loads((EXAMPLES / "quote-request.json").read_text())

LENGTH = "Expected a length greater than zero, as text with its unit (mm, cm, m, in), such as '22 mm'; got "
HEIGHT = "'{}' is no height: give a number above zero with its unit (mm, cm, m, in), such as 22 mm"
PAIRS = "Give a whole number of 1 to 10,000 pairs"
ID = "Expected the id of a record: lower-case letters and digits, joined by single hyphens; got "

scalars = (
    st.none()
    | st.booleans()
    | st.integers(-3, 20_000)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=3)
    | st.sampled_from(["book", "text", "measured", "rectangle", "22 mm", "0 mm", "smooth", "both", "EU", "x" * 100_001])
)
values = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
)

KINDS = "'text' or 'path' or 'svg' or 'file'"


def faults_of(type_: Any, data: Any) -> list[Fault]:  # noqa: ANN401 - any type, any data
    """Return what the walk finds."""
    return list(find_faults(inspect.type_info(type_), data))


def changed(**changes: Any) -> dict[str, Any]:  # noqa: ANN401 - any data
    """Return the example order with some fields changed."""
    return {**QUOTE, **changes}


def placed(**changes: Any) -> dict[str, Any]:  # noqa: ANN401 - any data
    """Return the example order with some fields of its placement changed."""
    return changed(placements=[{**QUOTE["placements"][0], **changes}])


def marked(**changes: Any) -> dict[str, Any]:  # noqa: ANN401 - any data
    """Return the example order with some fields of its artwork changed; those that are `...` are left out."""
    artwork = {**QUOTE["placements"][0]["artwork"], **changes}
    return placed(artwork={name: value for name, value in artwork.items() if value is not ...})


@pytest.mark.parametrize(("type_", "data"), REQUESTS)
def test_the_examples_have_no_fault(type_: Any, data: Any) -> None:  # noqa: ANN401 - any type, any data
    """Each example request is right."""
    assert [] == faults_of(type_, data)


@pytest.mark.parametrize(
    ("data", "pointer", "detail"),
    [
        (
            marked(height=22),
            "/placements/0/artwork/height",
            LENGTH + "the bare number 22",
        ),
        (
            marked(height="22 degC"),
            "/placements/0/artwork/height",
            HEIGHT.format("22 degC"),
        ),
        (
            marked(height="-22 mm"),
            "/placements/0/artwork/height",
            HEIGHT.format("-22 mm"),
        ),
        (marked(text=""), "/placements/0/artwork/text", "There is no text: write at least one letter or digit"),
        (marked(text=...), "/placements/0/artwork/text", "Missing: give text of 1 to 200 characters"),
        (
            marked(align="left "),
            "/placements/0/artwork/align",
            "Expected 'centre' or 'left' or 'right'; got the text 'left '",
        ),
        (marked(kind=...), "/placements/0/artwork/kind", f"Missing: give {KINDS}"),
        (
            marked(kind="png"),
            "/placements/0/artwork/kind",
            "Expected 'text' or 'path' or 'svg' or 'file'; got the text 'png'",
        ),
        (
            marked(kind=7),
            "/placements/0/artwork/kind",
            "Expected 'text' or 'path' or 'svg' or 'file'; got the bare number 7",
        ),
        (
            marked(letter_height="9 mm"),
            "/placements/0/artwork",
            "Give the artwork one of `height` and `letter_height`, such as '22 mm'",
        ),
        (
            marked(line_distance=9),
            "/placements/0/artwork/line_distance",
            "Expected a number of at least 1 and at most 3; got the bare number 9",
        ),
        (
            marked(**{"a/b~c": 1}),
            "/placements/0/artwork/a~1b~0c",
            f"Unknown field; the fields here are: {', '.join(sorted(['kind', *TextArtwork.__struct_fields__]))}",
        ),
        (
            placed(artwork="MARLOW"),
            "/placements/0/artwork",
            "Expected an object whose `kind` is 'text' or 'path' or 'svg' or 'file'; got the text 'MARLOW'",
        ),
        (changed(pairs="3"), "/pairs", "Expected a whole number of at least 1 and at most 10000; got the text '3'"),
        (
            changed(pairs=3.5),
            "/pairs",
            PAIRS,
        ),
        (changed(pairs=True), "/pairs", "Expected a whole number of at least 1 and at most 10000; got true"),
        (changed(pairs=0), "/pairs", PAIRS),
        (changed(placements=[]), "/placements", "Expected a list of 1 to 12 items; got a list of 0"),
        (
            changed(owner=None),
            "/owner",
            "Expected 'customer' or 'shop' (whose pair it is: it decides what a spoilt pair costs); got null",
        ),
        (
            changed(press="Swing"),
            "/press",
            ID + "the text 'Swing'",
        ),
        (
            changed(press="swing\n"),
            "/press",
            ID + "the text 'swing\\n'",
        ),
        ("MARLOW", "", "Expected an object with `shoe`, `placements`; got the text 'MARLOW'"),
    ],
)
def test_a_fault_has_its_place_and_says_what_to_write(data: Any, pointer: str, detail: str) -> None:  # noqa: ANN401
    """A single fault is found where it is, with what to write instead."""
    (fault,) = faults_of(ORDER, data)
    assert (pointer, detail) == (fault.pointer, fault.detail)
    starts = {
        "Missing": "missing",
        "Unknown": "unknown-field",
        "The name": "wrong-name",
        HEIGHT[-30:]: "height.unusable",
        "There is no text": "text.empty",
        PAIRS: "pairs.out-of-bounds",
    }
    assert next((code for start, code in starts.items() if start in detail), "wrong-value") == fault.code
    for parameter in fault.parameters:
        value = f"{parameter.value:,.0f}" if isinstance(parameter.value, float) else parameter.value
        values = value if isinstance(value, tuple) else (str(value),)
        assert all(value in detail for value in values)


def test_all_faults_come_together() -> None:
    """The walk goes on after a fault."""
    data = changed(pairs=0, owner="me", placements=[{**QUOTE["placements"][0], "film": 3, "colour": None}, 5])

    assert ["/owner", "/pairs", "/placements/0/film", "/placements/0/colour", "/placements/1"] == [
        fault.pointer for fault in faults_of(ORDER, data)
    ]


class Items(list[Any]):
    """A list of which few items may be looked at."""

    def __iter__(self) -> Iterator[Any]:
        """Yield some items, and fail at the next."""
        yield from ({} for _ in range(100))
        raise AssertionError("too many are looked at")


def test_faults_are_found_as_they_are_asked_for() -> None:
    """Of a list with very many faults no more is looked at than whoever asks wants to know."""
    found = list(islice(find_faults(inspect.type_info(ORDER), changed(placements=Items())), 50))

    assert 50 == len({fault.pointer for fault in found})


def test_what_was_got_is_shortened() -> None:
    """A long text or number is not sent back whole."""
    (text,) = faults_of(ORDER, changed(press="x" * 10_000))
    (number,) = faults_of(ORDER, changed(owner=10**100))

    assert text.detail.endswith("got the text '" + "x" * 60 + "…'")
    assert number.detail.endswith("got a very long number")


@given(st.sampled_from(REQUESTS), st.data())
def test_the_walk_finds_faults_exactly_where_msgspec_refuses(request_: tuple[Any, Any], data: st.DataObject) -> None:
    """Whatever is changed in a right request, walk and decoder agree on whether it is still right."""
    type_, right = request_
    wrong = json.loads(json.dumps(right))
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.sampled_from(list(places(wrong))))
        wrong = change(wrong, place, data)
    whole = json.loads(
        json.dumps(wrong), parse_float=lambda text: int(float(text)) if float(text).is_integer() else float(text)
    )

    try:
        msgspec.convert(whole, type_)
    except msgspec.ValidationError:
        refused = True
    else:
        refused = False

    assert refused == bool(faults_of(type_, wrong))


def places(data: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:  # noqa: ANN401 - any data
    """Yield the way to every value in JSON data."""
    yield at
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield from places(value, (*at, key))


def change(whole: Any, place: tuple[Any, ...], data: st.DataObject) -> Any:  # noqa: ANN401 - any data
    """Return JSON data with the value at a place replaced, left out, or another put beside it."""
    if not place:
        return data.draw(values)
    holder = whole
    for key in place[:-1]:
        holder = holder[key]
    match data.draw(st.sampled_from(["replace", "drop", "add"])):
        case "drop":
            del holder[place[-1]]
        case "add" if isinstance(holder, dict):
            holder[data.draw(st.text(max_size=5) | st.sampled_from(["kind", "height", "letter_height"]))] = data.draw(
                values
            )
        case _:
            holder[place[-1]] = data.draw(values)
    return whole
