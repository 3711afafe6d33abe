"""The schemas of the wire's types, in the words of JSON Schema that validators and generators of clients read alike.

msgspec writes a schema for validators. Generators of clients make types, constructors and readers of it, and each reads
less than the whole of JSON Schema; what is here says the same in the part that they share:

- a union whose members have a tag is `oneOf` with a discriminator and, where the wire has a name for it, a component;
- a rule for several fields is `if` and `then`, of which no generator makes a type, and no `anyOf` beside `properties`;
- an enumeration has its type, a number its format;
- a tuple of equal items is an array of them with its length as limits;
- a pattern has no look-ahead, which the regular expressions of Go do not know;
- a default is told in the description and by `x-default`: some generators make a field with `default` a required one.

References:
    JSON Schema 2020-12; OpenAPI 3.1.1 section 4.8.24 (Schema Object), and 4.8.24.3 on oneOf and discriminators.
"""

from __future__ import annotations

import inspect
import json
from collections.abc import Iterable, Mapping, Sequence
from types import UnionType
from typing import Any, Final, get_args, get_origin

import msgspec

from featherline import wire

Json = dict[str, Any]

REFERENCE: Final = "#/components/schemas/{name}"
BINARY: Final[Json] = {"type": "string", "format": "binary"}

_TEXT: Final[Json] = {"type": "string"}
_NULL: Final[Json] = {"type": "null"}


def _fields(required: Sequence[str] = (), **fields: Json) -> Json:
    """Return the schema of an object with some fields, whatever others it has: linters would take it for closed."""
    return {**({"required": required} if required else {}), "properties": fields, "additionalProperties": True}


# Rules of a type for its fields together, which its constructor checks and no annotation can express.
_TOGETHER: Final[Mapping[str, Json]] = {
    "TextArtwork": {
        "if": _fields(["height"], height=_TEXT),
        "then": _fields(letter_height=_NULL),
        "else": _fields(["letter_height"], letter_height=_TEXT),
    },
    "Anchored": {
        "if": _fields(["line"], line={"type": "string", "enum": ["baseline"]}),
        "then": _fields(side={"type": "string", "enum": ["above", "below"]}),
    },
    "WhatIf": {"if": _fields(outlay=_NULL, at_price=_NULL), "then": _fields(["for_margin"], for_margin=_TEXT)},
    "RosterRow": {"if": _fields(["size"], size={"type": "object"}), "then": _fields(shoe=_NULL)},
}
_END: Final = r"$(?!\n)"
_NOT_ZERO: Final = "(?=[0-9.]*[1-9])"
_JSON_TYPES: Final[Mapping[type, str]] = {str: "string", int: "integer"}


def requested(types: Iterable[Any]) -> dict[str, Json]:
    """Return the components of requests, by name: a field with a default may be left out, and none is added."""
    return {name: _component(name, schema) for name, schema in _components(types).items()}


def answered(types: Iterable[Any]) -> dict[str, Json]:
    """Return the components of answers, by name: a newer service may add fields.

    Every field is there, but for one that may be unset: it has neither a default nor is it required.
    """
    return {name: _component(name, _open(schema)) for name, schema in _components(types).items()}


def unions(described: Any) -> dict[str, Json]:  # noqa: ANN401 - JSON data
    """Return the components of the named unions that a description refers to."""
    text = json.dumps(described)
    return {
        name: _one_of(json.loads(schema))
        for schema, name in _NAMES.items()
        if json.dumps(REFERENCE.format(name=name)) in text
    }


def reference(type_: Any) -> Json:  # noqa: ANN401 - a type, or a union of types
    """Return the schema that stands for a type outside the components."""
    (schema,), _ = msgspec.json.schema_components([type_], ref_template=REFERENCE)
    return _plain(schema)


def _components(types: Iterable[Any]) -> dict[str, Json]:
    _, components = msgspec.json.schema_components(types, ref_template=REFERENCE)
    return components


def _component(name: str, schema: Json) -> Json:
    """Return a component with its docstring's indentation removed, and the rules for its fields together."""
    words = {"description": inspect.cleandoc(schema["description"])} if "description" in schema else {}
    fields = {field: _plain(described) for field, described in schema["properties"].items()}
    return {**schema, **words, "properties": fields, **_TOGETHER.get(name, {})}


def _open(schema: Json) -> Json:
    """Return a component as an answer has it."""
    kept = {key: value for key, value in schema.items() if key != "additionalProperties"}
    there = [
        name for name, field in schema["properties"].items() if name in kept.get("required", ()) or "default" in field
    ]
    fields = {
        name: {key: value for key, value in field.items() if key != "default"}
        for name, field in schema["properties"].items()
    }
    return {**kept, "properties": fields, "required": there}


def _plain(schema: Json) -> Json:
    """Return the schema of a field, or of a part of one, in the shared part of JSON Schema."""
    if "default" in schema:
        return _with_default(
            _plain({key: value for key, value in schema.items() if key != "default"}), schema["default"]
        )
    if (name := _NAMES.get(json.dumps(schema))) is not None:
        return {"$ref": REFERENCE.format(name=name)}
    plain = dict(schema)
    for key in ("items", "additionalProperties", "propertyNames"):
        if isinstance(plain.get(key), dict):
            plain[key] = _plain(plain[key])
    if "prefixItems" in plain and all(item == plain["prefixItems"][0] for item in plain["prefixItems"]):
        plain["items"] = _plain(plain.pop("prefixItems")[0])
    if "anyOf" in plain:
        plain["anyOf"] = [_plain(member) for member in plain["anyOf"]]
    return _one_of(_typed(plain))


def _one_of(schema: Json) -> Json:
    """Return a union whose members have a tag as `oneOf`."""
    if "discriminator" not in schema:
        return schema
    return {"oneOf": schema["anyOf"], **{key: value for key, value in schema.items() if key != "anyOf"}}


def _typed(schema: Json) -> Json:
    """Return the schema of an enumeration, a number or a text with all that tells its type."""
    match schema:
        case {"enum": [first, *_]}:
            return {"type": _JSON_TYPES[type(first)], **schema}
        case {"type": "number"}:
            return {**schema, "format": "double"}
        case {"pattern": pattern}:
            return {**schema, **_without_look_ahead(pattern)}
    return schema


def _without_look_ahead(pattern: str) -> Json:
    """Return the schema of the texts that match a pattern of the wire.

    The look-ahead behind its `$` is for Python alone: in JSON Schema `$` is the end of the text and nothing else. That
    in front of a number keeps out those of zeros alone.

    References:
        JSON Schema 2020-12 section 6.4, which names the regular expressions of ECMA-262.
    """
    described: Json = {"pattern": pattern.removesuffix(_END).replace(_NOT_ZERO, "") + "$"}
    return {**described, "not": {"pattern": "^[0.]+ ?[A-Za-z]"}} if _NOT_ZERO in pattern else described


def _with_default(schema: Json, default: Any) -> Json:  # noqa: ANN401 - JSON data
    """Return the schema of a field that may be left out; null needs no words."""
    if default is None:
        return schema
    words = f"Without it: `{json.dumps(default, ensure_ascii=False)}`."
    described = f"{schema['description']} {words}" if "description" in schema else words
    return {**schema, "description": described, "x-default": default}


def _named() -> dict[str, str]:
    """Return the names of the wire's unions with a tag, by their schemas as JSON."""
    types = {name: getattr(wire, name) for name in wire.__all__}
    tagged = {
        name: type_
        for name, type_ in types.items()
        if get_origin(type_) is UnionType and all(member.__struct_config__.tag for member in get_args(type_))
    }
    schemas, _ = msgspec.json.schema_components(tagged.values(), ref_template=REFERENCE)
    return {json.dumps(schema): name for name, schema in zip(tagged, schemas, strict=True)}


_NAMES: Final = _named()
