"""The OpenAPI document: up to date, valid, and true of what the service takes."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from importlib import resources
from pathlib import Path
from typing import Any, get_args

import jsonschema_rs
import msgspec
import pytest

from featherline.wire.records import Kind
from featherline_service.web.http.bodies import Body
from featherline_service.web.openapi import describe, description
from featherline_service.web.openapi.description import OPERATIONS
from featherline_service.web.routes.operations import Operation

ROOT = Path(__file__).parents[4]
EXAMPLES = ROOT / "openapi" / "examples"
SHOWN = [each for each in OPERATIONS if each.examples]
# Text, and the description itself; of the paths of records, one list and one record are shown.
WITHOUT_EXAMPLE = {
    "readTracingSheet",
    "tracePanel",
    "readDescription",
    "readDocs",
    "readMetrics",
    "readPicture",
    "readSecurityContact",
}
COMMITTED = ROOT / "openapi" / "openapi.json"

Json = dict[str, Any]


@pytest.fixture(scope="module")
def document() -> Json:
    """The committed description."""
    found: Json = json.loads(COMMITTED.read_text(encoding="utf-8"))
    return found


def objects(value: Any) -> list[Json]:  # noqa: ANN401 - JSON data
    """Return every object in JSON data."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [*([value] if isinstance(value, dict) else []), *(found for each in inner for found in objects(each))]


def values(shown: Any) -> list[Any]:  # noqa: ANN401 - JSON data
    """Return what an example shows: lines are values each."""
    return [json.loads(line) for line in shown.splitlines()] if isinstance(shown, str) else [shown]


def request_schema(document: Json, operation: Operation) -> Json:
    """Return the schema of an operation's request body, by the description alone."""
    described = document["paths"][operation.path]["post"]["requestBody"]["content"][operation.takes[0]]["schema"]
    return {**described.get("contentSchema", described), "components": document["components"]}


def validator(document: Json, operation: Operation) -> jsonschema_rs.Draft202012Validator:
    """Return a validator of an operation's request body, by the description alone."""
    return jsonschema_rs.Draft202012Validator(request_schema(document, operation))


def test_the_committed_description_is_up_to_date() -> None:
    """What the command writes is what is committed; if not, run it (it is named in the module it tests)."""
    assert description.text(EXAMPLES) == COMMITTED.read_text(encoding="utf-8")


def test_the_served_description_is_the_committed_one() -> None:
    """The package has the very bytes."""
    shipped = resources.files("featherline_service.web.openapi") / "openapi.json"
    assert COMMITTED.read_bytes() == shipped.read_bytes()


def test_the_command_writes_the_same_each_time() -> None:
    """Another process, with another hash seed, writes the same bytes."""
    command = [sys.executable, "-m", "featherline_service.web.openapi.describe", str(EXAMPLES)]
    done = subprocess.run(command, capture_output=True, check=True, env={"PYTHONHASHSEED": "1"})

    assert COMMITTED.read_bytes() == done.stdout


def test_the_command_says_how_it_is_called(capsys: pytest.CaptureFixture[str]) -> None:
    """Without the folder of examples it writes nothing, and says what to write."""
    assert 2 == describe.main([])

    written = capsys.readouterr()
    assert "" == written.out
    assert "describe openapi/examples > openapi/openapi.json" in written.err


def test_the_description_is_valid(document: Json, monkeypatch: pytest.MonkeyPatch) -> None:
    """OpenAPI 3.1's own schema accepts it, and every reference in it leads somewhere."""
    # Imported here, and without the grammars of international addresses, which the description has none of: both take
    # seconds.
    monkeypatch.setitem(sys.modules, "rfc3987_syntax", None)
    importlib.import_module("openapi_spec_validator").OpenAPIV31SpecValidator(document).validate()


def test_every_operation_says_what_it_can_answer(document: Json) -> None:
    """Each has an id of its own, a summary, its problems as problem documents, and the request id on every answer."""
    described = [each for path in document["paths"].values() for each in path.values()]

    assert [each.id for each in OPERATIONS] == [each["operationId"] for each in described]
    assert len(described) == len({each["operationId"] for each in described})
    for operation, words in zip(OPERATIONS, described, strict=True):
        assert words["summary"]
        assert operation.examples or operation.tag == "book" or operation.id in WITHOUT_EXAMPLE
        success = {"200", "304"} if operation.revalidated or operation.immutable else {"200"}
        assert success | {str(kind.status) for kind in operation.problems} == set(words["responses"])
        for status, response in words["responses"].items():
            assert "X-Request-Id" in response["headers"]
            assert (status[0] in "23") or list(response["content"]) == ["application/problem+json"]


def test_every_operation_says_which_key_it_needs(document: Json) -> None:
    """What is public needs none; the rest names the one scheme, its scope, and the refusals of keys with their fields.

    References:
        OpenAPI 3.1.1, Security Requirement Object: for `http` the list may name roles; an empty list of requirements
        means that there are none.
    """
    ((name, scheme),) = document["components"]["securitySchemes"].items()
    assert ("http", "bearer") == (scheme["type"], scheme["scheme"])
    for operation in OPERATIONS:
        described = document["paths"][operation.path][operation.method.lower()]
        refusals = {
            status: set(response["headers"]) & {"WWW-Authenticate", "Retry-After"}
            for status, response in described["responses"].items()
            if status in {"401", "403", "429"}
        }
        if operation.scope is None:
            assert ([], {}) == (described["security"], refusals)
        else:
            assert [{name: [operation.scope]}] == described["security"]
            assert {"401": {"WWW-Authenticate"}, "403": {"WWW-Authenticate"}, "429": {"Retry-After"}} == refusals
            assert f"`{operation.scope}`" in scheme["description"]


def test_requests_are_closed_and_answers_are_open(document: Json) -> None:
    """A request's objects take no further fields; an answer's may gain some, and have every field they name."""
    schemas = document["components"]["schemas"]
    references = [
        json.dumps(request_schema(document, operation)) for operation in OPERATIONS if operation.asked is not None
    ]
    assert references
    for name in ("Order", "Placement", "TextArtwork", "RecipeRequest", "FitRequest", "MeasuredShoe", "CutPiece"):
        assert schemas[name]["additionalProperties"] is False
    for name in ("QuoteAnswer", "Recipe", "Fit", "Cost", "Film", "ShoeModel", "BookAnswer", "Problem"):
        assert "additionalProperties" not in schemas[name]
        assert set(schemas[name]["properties"]) == set(schemas[name]["required"])
    # A plug-in names the audience of its reason, or does not; a sentence in another language than the answer names it.
    assert "additionalProperties" not in schemas["Reason"]
    assert {"audience", "language"} == set(schemas["Reason"]["properties"]) - set(schemas["Reason"]["required"])


def test_every_union_of_objects_has_its_discriminator(document: Json) -> None:
    """Where one of several types of objects may stand, `kind` tells which, and exactly one fits."""
    described = objects([document["paths"], document["components"]["schemas"]])
    several = [
        each
        for each in described
        if len([option for name in ("anyOf", "oneOf") for option in each.get(name, []) if "$ref" in option]) > 1
    ]

    assert several
    assert all(each["discriminator"]["propertyName"] == "kind" for each in several)
    assert all(
        [each["discriminator"]["mapping"][name] for name in sorted(each["discriminator"]["mapping"])]
        == [option["$ref"] for option in sorted(each["oneOf"], key=tag_of(document))]
        for each in several
    )


def tag_of(document: Json) -> Callable[[Json], str]:
    """Return a function from a reference to the tag of the component that it leads to."""
    schemas = document["components"]["schemas"]
    return lambda option: str(schemas[option["$ref"].rpartition("/")[2]]["properties"]["kind"]["enum"][0])


def test_what_stops_generators_is_said_in_another_way(document: Json) -> None:
    """No keyword stands anywhere that a generator of clients stumbles over; the module says what stands instead."""
    described = objects(document["components"]["schemas"])
    schemas = [each for each in described if isinstance(each.get("type"), str)]

    assert not [each for each in schemas if {"anyOf", "oneOf", "allOf", "not"} & set(each) and "properties" in each]
    assert not [each for each in described if "prefixItems" in each]
    assert not [each for each in schemas if "default" in each]
    assert not [each for each in schemas if "(?" in each.get("pattern", "")]
    assert not [each for each in described if isinstance(each.get("enum"), list) and "type" not in each]
    assert {"double"} == {each.get("format") for each in schemas if each["type"] == "number"}
    pose = document["components"]["schemas"]["Placement"]["properties"]["pose"]
    assert {"kind": "centred", "rotation": None} == pose["x-default"]
    assert '`{"kind": "centred", "rotation": null}`' in pose["description"]


def test_a_field_that_may_be_left_out_is_not_required(document: Json) -> None:
    """A request's required fields are those of its type without a default, and every other default is told."""
    for operation in OPERATIONS:
        for type_ in get_args(operation.asked) or ([operation.asked] if operation.asked is not None else []):
            described = document["components"]["schemas"][type_.__name__]
            fields = msgspec.structs.fields(type_)
            tag = [] if type_.__struct_config__.tag is None else [type_.__struct_config__.tag_field]
            assert [*tag, *(field.encode_name for field in fields if field.required)] == described["required"]
            told = {name for name, field in described["properties"].items() if "x-default" in field}
            assert told == {field.encode_name for field in fields if not field.required and field.default is not None}


def test_pictures_and_documents_are_files(document: Json) -> None:
    """Pictures, photos, a PDF and a body of lines are binary, so that clients hand them over as they are."""
    content = {
        media_type: described["schema"]
        for path in document["paths"].values()
        for operation in path.values()
        for shower in (operation.get("requestBody", {"content": {}}), operation["responses"]["200"])
        for media_type, described in shower["content"].items()
    }

    binary = {"type": "string", "format": "binary"}
    assert {"image/svg+xml", "image/png", "image/jpeg", "application/pdf", "application/jsonl"} == {
        media_type for media_type, schema in content.items() if binary.items() <= schema.items()
    }


def test_each_kind_of_record_has_its_paths(document: Json) -> None:
    """A list and a record of every kind are described by themselves, each with one type."""
    for kind in get_args(Kind):
        for path in (f"/v1/book/{kind}", f"/v1/book/{kind}/{{id}}"):
            content = document["paths"][path]["get"]["responses"]["200"]["content"]
            assert "$ref" in content["application/json"]["schema"]
    assert {"listFilms", "readFilm", "listShoes", "readShoeModel"} <= {each.id for each in OPERATIONS}


def test_every_example_file_is_shown(document: Json) -> None:
    """Each file of the examples is in the description, whole, as a request or as an answer."""
    shown = {
        name: example["value"]
        for path in document["paths"].values()
        for operation in path.values()
        for shower in (operation.get("requestBody", {"content": {}}), operation["responses"]["200"])
        for content in shower["content"].values()
        for name, example in content.get("examples", {}).items()
    }

    assert shown == {
        **{path.stem: json.loads(path.read_text(encoding="utf-8")) for path in EXAMPLES.glob("*.json")},
        **{path.stem: path.read_text(encoding="utf-8") for path in EXAMPLES.glob("*.jsonl")},
    }


@pytest.mark.parametrize("operation", [each for each in OPERATIONS if each.asked is not None], ids=lambda each: each.id)
def test_the_described_schema_takes_the_examples(document: Json, operation: Operation) -> None:
    """An independent validator accepts each example by the description alone."""
    content = document["paths"][operation.path]["post"]["requestBody"]["content"]

    assert operation.examples
    assert [operation.takes[0]] == list(content)
    for example in content[operation.takes[0]]["examples"].values():
        for each in values(example["value"]):
            validator(document, operation).validate(each)


@pytest.mark.parametrize(
    "changes",
    [
        {"pairs": 3.0},
        {"pairs": 3},
        {"pairs": 3.5},
        {"pairs": "3"},
        {"pairs": True},
        {"pairs": 0},
        {"pairs": None},
        {"press": None},
        {"press": "swing\n"},
        {"press": "Swing"},
        {"placements": []},
        {"placements": 13 * ["example"]},
        {"placements": 12 * ["example"]},
        {"shoe": {"kind": "measured"}},
        {"shoe": {"kind": "hat", "shoe": "x"}},
        {"shoe": {"shoe": "regatta-deck", "size": {"system": "EU", "value": "42"}}},
        {"extra": 1},
        {"height": "22 mm\n"},
        {"height": "0.0 mm"},
        {"height": "0.01 in"},
        {"height": 22},
        {"height": "22 degC"},
        {"height": "22 mm", "letter_height": "9 mm"},
        {"height": "22 mm", "letter_height": None},
        {"height": None, "letter_height": None},
        {"height": None, "letter_height": "9 mm"},
        {"height": "00.000 mm"},
        {"height": "00.010mm"},
        {"height": "0000000001 mm"},
        {"letter_height": "9 mm"},
        {"text": "x" * 200},
        {"text": "x" * 201},
        {"text": ""},
        {"arc": 0.5},
        {"arc": -1},
        {"arc": None},
        {"line_distance": 1},
        {"line_distance": 3.0001},
        {"pose": {"kind": "anchored", "side": "above", "edge": "panel", "distance": "2 mm", "line": "baseline"}},
        {"pose": {"kind": "anchored", "side": "behind", "edge": "panel", "distance": "2 mm", "line": "baseline"}},
        {"pose": {"kind": "anchored", "side": "behind", "edge": "panel", "distance": "2 mm", "line": "box"}},
        {"pose": {"kind": "anchored", "side": "behind", "edge": "panel", "distance": "2 mm"}},
    ],
    ids=str,
)
def test_the_description_is_exact(document: Json, changes: Json) -> None:
    """What the described schema takes the service decodes, and what it does not take the service refuses."""
    operation = next(each for each in OPERATIONS if each.id == "composeQuote")
    order = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
    placement = order["placements"][0]
    for name, value in changes.items():
        if name in {"height", "letter_height", "text", "arc", "line_distance"}:
            placement["artwork"][name] = value
        elif name == "pose":
            placement[name] = value
        elif name == "placements":
            order[name] = [placement] * len(value)
        else:
            order[name] = value

    described = validator(document, operation).is_valid(order)
    try:
        Body[Any](operation.asked).decode(msgspec.json.encode(order))
    except Exception:  # noqa: BLE001 - refused, in whatever way
        taken = False
    else:
        taken = True

    assert described == taken


@pytest.mark.parametrize("operation", SHOWN, ids=lambda each: each.id)
def test_the_example_answers_are_as_described(document: Json, operation: Operation) -> None:
    """An independent validator accepts each example answer by the description alone."""
    method = document["paths"][operation.path][operation.method.lower()]
    content = method["responses"]["200"]["content"][operation.produces]
    schema_ = content["schema"].get("contentSchema", content["schema"])
    described = jsonschema_rs.Draft202012Validator({**schema_, "components": document["components"]})

    assert content["examples"]
    for example in content["examples"].values():
        for each in values(example["value"]):
            described.validate(each)


def reached(document: Json, schema_: Any) -> Iterator[tuple[str, Json]]:  # noqa: ANN401 - JSON data
    """Yield every schema that a schema leads to, components once, each with where it is."""
    components, seen, left = document["components"]["schemas"], set[str](), [("", schema_)]
    while left:
        where, found = left.pop()
        if isinstance(found, list):
            left += [(f"{where}/{index}", each) for index, each in enumerate(found)]
        elif isinstance(found, dict):
            yield where, found
            name = found.get("$ref", "").rpartition("/")[2]
            if name and name not in seen:
                seen.add(name)
                left.append((name, components[name]))
            # What fields owe one another (if, then, else) stands beside their own schemas, and bounds nothing itself.
            data = {"x-default", "examples", "enum", "required", "discriminator", "not", "if", "then", "else"}
            left += [(f"{where}/{key}", each) for key, each in found.items() if key not in data]


@pytest.mark.parametrize("operation", [each for each in OPERATIONS if each.asked is not None], ids=lambda each: each.id)
def test_everything_in_a_request_has_its_limit(document: Json, operation: Operation) -> None:
    """Every text, list and number is bounded, every object closed or of so many fields."""
    bounds = {
        "string": ({"maxLength"}, {"enum"}, {"const"}),
        "array": ({"maxItems"},),
        "integer": ({"maximum", "minimum"},),
        "number": ({"maximum", "minimum"}, {"maximum", "exclusiveMinimum"}),
        "object": ({"additionalProperties"}, {"maxProperties"}),
    }
    body = document["paths"][operation.path]["post"]["requestBody"]["content"][operation.takes[0]]["schema"]
    schemas = list(reached(document, body.get("contentSchema", body)))

    assert schemas
    assert [] == [
        (where, found)
        for where, found in schemas
        if found.get("type") in bounds and not any(some <= set(found) for some in bounds[found["type"]])
    ]
    assert not any(found.get("additionalProperties") is True for _, found in schemas)
