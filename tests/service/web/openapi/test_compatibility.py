"""The gate between descriptions: what breaks callers of the released one fails, what only adds passes."""

from __future__ import annotations

import copy
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from featherline_service.web.openapi import compatibility
from featherline_service.web.openapi.compatibility import breaking_changes, without_words

OPENAPI = Path(__file__).parents[4] / "openapi"

Json = dict[str, Any]
Change = Callable[[Json, Json], None]


@pytest.fixture(scope="module")
def present() -> Json:
    """The description as it is."""
    read: Json = json.loads((OPENAPI / "openapi.json").read_text(encoding="utf-8"))
    return read


def changed(document: Json, change: Change) -> Json:
    """Return a description that a change is made in: of its paths and its components."""
    other = copy.deepcopy(document)
    change(other["paths"], other["components"]["schemas"])
    return other


def test_nothing_that_is_released_is_taken_away(present: Json) -> None:
    """Callers of the last released description can do with today's."""
    released = json.loads((OPENAPI / "released.json").read_text(encoding="utf-8"))

    assert [] == list(breaking_changes(released, present))


def remove_member(_paths: Json, schemas: Json) -> None:
    """Take a kind of artwork away."""
    schemas["Artwork"]["oneOf"].pop()


def remove_request_field(_paths: Json, schemas: Json) -> None:
    """Take a field of requests away."""
    del schemas["Placement"]["properties"]["backing"]


def remove_header(paths: Json, _schemas: Json) -> None:
    """Take a header field of an answer away."""
    del paths["/v1/quotes"]["post"]["responses"]["429"]["headers"]["Retry-After"]


def require_parameter(paths: Json, _schemas: Json) -> None:
    """Make an optional header field of requests a required one."""
    (prefer,) = [each for each in paths["/v1/quotes"]["post"]["parameters"] if each["name"] == "Prefer"]
    prefer["required"] = True


def add_required_parameter(paths: Json, _schemas: Json) -> None:
    """Ask for a parameter that nobody sends."""
    parameter = {"name": "X-Shop", "in": "header", "required": True, "schema": {"type": "string"}}
    paths["/v1/book"]["get"]["parameters"].append(parameter)


def remove_parameter(paths: Json, _schemas: Json) -> None:
    """Take a parameter away."""
    paths["/v1/quotes"]["post"]["parameters"].clear()


def narrow_parameter(paths: Json, _schemas: Json) -> None:
    """Take shorter ids alone."""
    (identifier,) = [each for each in paths["/v1/book/films/{id}"]["get"]["parameters"] if each["name"] == "id"]
    identifier["schema"]["maxLength"] = 8


BREAKING: dict[str, tuple[Change, str]] = {
    "a nested field of answers is removed": (
        lambda _, schemas: schemas["PriceStep"]["properties"].pop("sentence"),
        "POST /v1/costs 200/price/why/items/sentence: the field is gone",
    ),
    "a field of answers becomes optional": (
        lambda _, schemas: schemas["Price"]["required"].remove("total"),
        "POST /v1/costs 200/price/total: the field may be left out",
    ),
    "a field of answers becomes null": (
        lambda _, schemas: schemas["Price"]["properties"].update(
            margin={"anyOf": [{"type": "number"}, {"type": "null"}]}
        ),
        "POST /v1/costs 200/price/margin: the type is another",
    ),
    "an enumeration of answers grows": (
        lambda _, schemas: schemas["Reason"]["properties"]["verdict"]["enum"].append("perhaps"),
        "POST /v1/recipes 200/recipe/reasons/items/verdict: the value 'perhaps' is beyond the enumeration",
    ),
    "a member of a union is removed": (
        remove_member,
        "POST /v1/fits request/artwork/kind: the value 'file' is beyond the enumeration",
    ),
    "an enumeration of requests is narrowed": (
        lambda _, schemas: schemas["Order"]["properties"]["units"]["enum"].remove("us"),
        "POST /v1/quotes request/units: the value 'us' is beyond the enumeration",
    ),
    "an optional field of requests is removed": (
        remove_request_field,
        "POST /v1/quotes request/placements/items/backing: the field is taken no more",
    ),
    "a new field of requests is required": (
        lambda _, schemas: (
            schemas["Order"]["properties"].update(shop={"type": "string"}),
            schemas["Order"]["required"].append("shop"),
        ),
        "POST /v1/quotes request/shop: the field is required",
    ),
    "a field of requests becomes required": (
        lambda _, schemas: schemas["Order"]["required"].append("press"),
        "POST /v1/quotes request/press: the field is required",
    ),
    "a type changes": (
        lambda _, schemas: schemas["Order"]["properties"]["pairs"].update(type="string"),
        "POST /v1/quotes request/pairs: the type is another",
    ),
    "a bound is tightened": (
        lambda _, schemas: schemas["TextArtwork"]["properties"]["text"].update(maxLength=100),
        "POST /v1/fits request/artwork/text: maxLength is 100 on one side and 200 on the other",
    ),
    "a list is shortened": (
        lambda _, schemas: schemas["Order"]["properties"]["placements"].update(minItems=2),
        "POST /v1/quotes request/placements: minItems is 2 on one side and 1 on the other",
    ),
    "a pattern changes": (
        lambda _, schemas: schemas["Size"]["properties"]["value"].update(pattern="^[0-9]+$"),
        (
            "POST /v1/fits request/shoe/size/value: pattern is '^[0-9]+$' on one side and "
            "'^[0-9]{1,3}(\\\\.[0-9]{1,2}| [12]/3)?$' on the other"
        ),
    ),
    "a format changes": (
        lambda _, schemas: schemas["Seal"]["properties"]["expires"].update(format="date"),
        "POST /v1/quotes 200/seal/expires: format is 'date-time' on one side and 'date' on the other",
    ),
    "a rule for several fields is added": (
        lambda _, schemas: schemas["BookShoe"].update({"if": {}, "then": False}),
        "POST /v1/fits request/shoe: if is {} on one side and None on the other",
    ),
    "a default changes": (
        lambda _, schemas: schemas["Order"]["properties"]["owner"].update({"x-default": "shop"}),
        "POST /v1/quotes request/owner: the default is another",
    ),
    "the texts of a map are bounded": (
        lambda _, schemas: schemas["RosterRow"]["properties"]["fields"]["additionalProperties"].update(maxLength=20),
        (
            "POST /v1/rosters request/rows/items/fields/additionalProperties: "
            "maxLength is 20 on one side and 200 on the other"
        ),
    ),
    "the items of a list are bounded": (
        lambda _, schemas: schemas["RowPlacement"]["properties"]["mends"].pop("items"),
        "POST /v1/rosters 200/rows/items/placements/items/mends: items is bound",
    ),
    "an operation is removed": (
        lambda paths, _: paths.pop("/v1/trials"),
        "POST /v1/trials: the operation is gone",
    ),
    "an operation has another id": (
        lambda paths, _: paths["/v1/trials"]["post"].update(operationId="tryOut"),
        "POST /v1/trials: the id is another",
    ),
    "an operation wants a key": (
        lambda paths, _: paths["/health/live"]["get"].update(security=[{"key": ["watch"]}]),
        "GET /health/live: the key that it needs is another",
    ),
    "a status is removed": (
        lambda paths, _: paths["/v1/book"]["get"]["responses"].pop("304"),
        "GET /v1/book: the status 304 is gone",
    ),
    "a success has a new status": (
        lambda paths, _: paths["/v1/book"]["get"]["responses"].update({"202": {"description": "Later"}}),
        "GET /v1/book: the status 202 is new",
    ),
    "a form of an answer is removed": (
        lambda paths, _: paths["/v1/quotes"]["post"]["responses"]["200"]["content"].pop("application/pdf"),
        "POST /v1/quotes 200: the media type application/pdf is gone",
    ),
    "a header field of an answer is removed": (
        remove_header,
        "POST /v1/quotes 429: the header field Retry-After is gone",
    ),
    "a parameter becomes required": (require_parameter, "POST /v1/quotes: the parameter Prefer is required"),
    "a required parameter is added": (add_required_parameter, "GET /v1/book: the parameter X-Shop is required"),
    "a parameter is removed": (remove_parameter, "POST /v1/quotes: the parameter Prefer is gone"),
    "a parameter is narrowed": (
        narrow_parameter,
        "GET /v1/book/films/{id} parameter id: maxLength is 8 on one side and 48 on the other",
    ),
    "a body is required": (
        lambda paths, _: paths["/v1/book"]["get"].update(requestBody={"required": True, "content": {}}),
        "GET /v1/book request: a body is required",
    ),
}


@pytest.mark.parametrize("name", BREAKING)
def test_what_breaks_callers_is_told(present: Json, name: str) -> None:
    """Each planted change is told where it is, in words, and makes the command fail."""
    change, words = BREAKING[name]

    assert words in list(breaking_changes(present, changed(present, change)))


GROWTH: dict[str, Change] = {
    "an optional field of requests is new": lambda _, schemas: schemas["Order"]["properties"].update(
        gift={"type": "boolean"}
    ),
    "a field of answers is new": lambda _, schemas: (
        schemas["Price"]["properties"].update(saved={"$ref": "#/components/schemas/Money"}),
        schemas["Price"]["required"].append("saved"),
    ),
    "an open set of texts has a new value": lambda _, schemas: schemas["Reason"]["properties"]["code"].update(
        description="The kind of reason: fit.outside, fit.unheard-of. More may come."
    ),
    "a bound of requests is loosened": lambda _, schemas: schemas["TextArtwork"]["properties"]["text"].update(
        maxLength=400
    ),
    "an enumeration of requests grows": lambda _, schemas: schemas["Order"]["properties"]["units"]["enum"].append("si"),
    "a required field of requests may be left out": lambda _, schemas: schemas["CutPiece"]["required"].remove(
        "corners"
    ),
    "a null of answers comes no more": lambda _, schemas: schemas["QuoteAnswer"]["properties"].update(
        cost={"$ref": "#/components/schemas/Cost"}
    ),
    "whole numbers come where numbers could": lambda _, schemas: schemas["Proportions"]["properties"].update(
        width={"type": "integer", "format": "double"}
    ),
    "a status of refusals is new": lambda paths, _: paths["/v1/book"]["get"]["responses"].update(
        {"418": {"description": "Short and stout"}}
    ),
    "an operation is new": lambda paths, _: paths.update({"/v1/glue": paths["/v1/fits"]}),
    "an optional parameter is new": lambda paths, _: paths["/v1/book"]["get"]["parameters"].append(
        {"name": "X-Shop", "in": "header", "schema": {"type": "string"}}
    ),
}


@pytest.mark.parametrize("name", GROWTH)
def test_what_only_adds_is_no_break(present: Json, name: str) -> None:
    """Nothing is told of growth."""
    assert [] == list(breaking_changes(present, changed(present, GROWTH[name])))


@pytest.mark.parametrize(
    ("pattern", "alternatives"),
    [
        ("^(flat|(1|2) mm)$", {"flat$", "(1|2) mm$"}),
        (r"^(a\||b)$(?!\n)", {r"a\|$(?!\n)", r"b$(?!\n)"}),
        ("^(a|b)|(c)$", {"^(a|b)|(c)$"}),
        ("^(a|b)(c)$", {"(a|b)(c)$"}),
        ("^a|b$", {"^a|b$"}),
        ("^a)|(b$", {"^a)|(b$"}),
        ("^[(|]a$", {"[(|]a$"}),
        ("a|b", {"a|b"}),
    ],
)
def test_a_pattern_may_gain_alternatives(pattern: str, alternatives: set[str]) -> None:
    """Alternatives are those of the outermost brackets; a pattern of another form has none but itself."""
    assert alternatives == compatibility._alternatives(pattern)


def test_a_request_may_take_another_alternative(present: Json) -> None:
    """Where a text of requests may be one thing more, nobody breaks; where it may be one less, callers do."""
    curvature = present["components"]["schemas"]["MeasuredPanel"]["properties"]["curvature"]
    member = next(index for index, option in enumerate(curvature["anyOf"]) if "pattern" in option)

    def change(old: str, new: str) -> Change:
        def replace(_: Json, schemas: Json) -> None:
            option = schemas["MeasuredPanel"]["properties"]["curvature"]["anyOf"][member]
            assert old in option["pattern"]
            option["pattern"] = option["pattern"].replace(old, new)

        return replace

    assert [] == list(breaking_changes(present, changed(present, change("(flat|", "(flat|round|"))))
    assert list(breaking_changes(present, changed(present, change("(flat|", "("))))


def test_a_new_kind_of_request_is_no_break_and_of_answers_is_one(present: Json) -> None:
    """A union that only requests have may get a member; one that answers have, too, may not."""
    stack = {"type": "object", "properties": {"kind": {"type": "string", "enum": ["pile"]}}, "required": ["kind"]}
    asked = changed(
        present,
        lambda _, schemas: schemas["RecipeRequest"]["properties"]["onto"]["oneOf"].append(stack),
    )
    answered = changed(present, lambda _, schemas: schemas["BulkAnswer"]["oneOf"].append(stack))

    assert [] == list(breaking_changes(present, asked))
    assert "POST /v1/bulk 200/contentSchema/kind: the value 'pile' is beyond the enumeration" in list(
        breaking_changes(present, answered)
    )


def test_words_are_not_kept(present: Json) -> None:
    """What is kept of a released description has no descriptions and no examples, but every field of those names."""
    kept = without_words({**present, "x": {"properties": {"title": {"title": "T", "type": "string"}}}})

    assert {"properties": {"title": {"type": "string"}}} == kept["x"]
    assert "examples" not in json.dumps(kept)
    assert set(present["components"]["schemas"]["Problem"]["properties"]) == set(
        kept["components"]["schemas"]["Problem"]["properties"]
    )
    assert [] == list(breaking_changes(kept, present)) == list(breaking_changes(present, kept))


def test_the_command_tells_and_fails(present: Json, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It prints what breaks and ends with 1; with one file it writes what is kept, without any how it is called."""
    fewer = changed(present, lambda paths, _: paths.pop("/v1/trials"))
    (tmp_path / "fewer.json").write_text(json.dumps(fewer), encoding="utf-8")
    described, fewer_path = str(OPENAPI / "openapi.json"), str(tmp_path / "fewer.json")

    assert 1 == compatibility.main([described, fewer_path])
    assert "POST /v1/trials: the operation is gone\n" == capsys.readouterr().out
    assert 0 == compatibility.main([fewer_path, described])
    assert "" == capsys.readouterr().out
    assert 0 == compatibility.main([described])
    assert without_words(present) == json.loads(capsys.readouterr().out)
    done = subprocess.run([sys.executable, "-m", compatibility.__name__], capture_output=True, text=True, check=False)
    assert (2, "") == (done.returncode, done.stdout)
    assert "openapi/released.json openapi/openapi.json" in done.stderr
