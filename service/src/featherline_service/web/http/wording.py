"""Types and JSON values in words, for the messages of faults."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from msgspec import inspect

LONGEST_ECHO: Final = 60


def describe_type(expected: inspect.Type) -> str:
    """Return a type in words: its own description where it has one."""
    if not isinstance(expected, inspect.Metadata):
        return _WORDS[type(expected)](expected)
    plain = describe_type(expected.type)
    description = (expected.extra_json_schema or {}).get("description")
    if description is None:
        return plain
    words = description[0].lower() + description[1:].rstrip(".")
    return words if isinstance(expected.type, inspect.StrType) else f"{plain} ({words})"


def describe_value(data: Any) -> str:  # noqa: ANN401 - JSON data
    """Return a value in words, shortened."""
    match data:
        case None | True | False:
            return {None: "null", True: "true", False: "false"}[data]
        case int() | float():
            shown = repr(data)
            return f"the bare number {shown}" if len(shown) <= LONGEST_ECHO else "a very long number"
        case str():
            shown = data if len(data) <= LONGEST_ECHO else data[:LONGEST_ECHO] + "…"
            return f"the text {shown!r}" if data else "an empty text"
        case list():
            return f"a list of {len(data)}"
        case _:
            return "an object"


def _union(union: inspect.UnionType) -> str:
    structs = [member for member in union.types if isinstance(member, inspect.StructType)]
    # That null is allowed, too, helps nobody who gave another value.
    rest = [
        describe_type(member) for member in union.types if not isinstance(member, inspect.StructType | inspect.NoneType)
    ]
    if len(structs) > 1:
        tags = " or ".join(repr(struct.tag) for struct in structs)
        return ", or ".join([f"an object whose `{structs[0].tag_field}` is {tags}", *rest])
    return ", or ".join([*map(describe_type, structs), *rest])


def _struct(struct: inspect.StructType) -> str:
    tag = [] if struct.tag_field is None else [f"`{struct.tag_field}`"]
    fields = ", ".join(tag + [f"`{field.encode_name}`" for field in struct.fields if field.required])
    return f"an object with {fields}" if fields else "an object"


def _span(shortest: int | None, longest: int | None, what: str) -> str:
    match shortest, longest:
        case None, None:
            return ""
        case None, _:
            return f" of at most {longest} {what}"
        case _, None:
            return f" of at least {shortest} {what}"
        case _:
            return f" of {shortest} to {longest} {what}"


def _bounds(number: inspect.IntType | inspect.FloatType) -> str:
    bounds = {"at least": number.ge, "above": number.gt, "at most": number.le, "below": number.lt}
    limits = " and ".join(f"{words} {bound:g}" for words, bound in bounds.items() if bound is not None)
    return f" of {limits}" if limits else ""


_WORDS: Final[Mapping[type[inspect.Type], Callable[[Any], str]]] = {
    inspect.UnionType: _union,
    inspect.StructType: _struct,
    inspect.DictType: lambda own: f"an object{_span(own.min_length, own.max_length, 'fields')}",
    inspect.VarTupleType: lambda list_: "a list" + _span(list_.min_length, list_.max_length, "items"),
    inspect.StrType: lambda text: "text" + _span(text.min_length, text.max_length, "characters"),
    inspect.LiteralType: lambda literal: " or ".join(map(repr, literal.values)),
    inspect.BoolType: lambda _: "true or false",
    inspect.IntType: lambda number: "a whole number" + _bounds(number),
    inspect.FloatType: lambda number: "a number" + _bounds(number),
    inspect.NoneType: lambda _: "null",
}
