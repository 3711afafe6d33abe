"""How tables fit the types of records: what is missing, unknown or out of range, and what would do."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, Final, Literal, get_args, get_origin

import msgspec
from msgspec import Struct
from msgspec.structs import FieldInfo

from featherline.wire.records import Record
from featherline_service.book.tables.money import sums
from featherline_service.book.toml_records import Table
from featherline_service.identifiers import listed

MISSING: Final = "Missing; add it"
_UNKNOWN: Final = re.compile(r"Object contains unknown field `(.*)`")
_LACKING: Final = re.compile(r"Object missing required field `(.*)`")
_NO_MEMBER: Final = re.compile(r"Invalid enum value '(.*)'")
_MISMATCH: Final = re.compile(r"Expected `([a-z| ]+)`, got `[a-z]+`")
_BOUND: Final = re.compile(r"Expected `(?:float|int)(?: \| null)?` (>=?|<=?) (\S+)")
_LENGTH: Final = re.compile(r"Expected `(str|array)(?: \| null)?` of length (>= |<= |)(\d+)")
_BOUNDS: Final[Mapping[str, str]] = {
    ">": "Too small; give more than",
    ">=": "Too small; the least is",
    "<": "Too large; give less than",
    "<=": "Too large; the most is",
}
_LENGTHS: Final[Mapping[str, str]] = {
    ">= ": "Too short; give at least", "<= ": "Too long; give at most", "": "Give exactly",
}  # fmt: skip
_WRITTEN: Final[Mapping[str, tuple[str, str]]] = {
    "float": ("a number", "write one without quotes or a unit, such as 12.5; the field's name ends in its unit"),
    "int": ("a whole number", "write one without quotes, such as 3"),
    "str": ("a text", 'write it in quotes, such as "12.50"'),
    "bool": ("true or false", "write one of the two, without quotes"),
    "array": ("a list", 'write it in brackets, such as ["leather", "textile"]'),
    "object": ("a table", 'write it in braces, such as { when = "hot" }'),
}
"""What a value of a type is called, and how it is written in TOML."""
_PATTERNS: Final[Mapping[str, str]] = {
    "^[0-9]{1,15}": 'Not a decimal number; write digits and a point in quotes, such as "12.50"',
    "^[a-z0-9]+(-[a-z0-9]+)*": 'Not an id; write small letters, digits and hyphens, such as "deck-shoe"',
    "^#[0-9a-f]{6}": 'Not a colour; write # and six digits of 0 to 9 and a to f, such as "#1d2b44"',
}
"""What is told instead of a pattern, by how the pattern begins."""


def misfits(table: Table, type_: type[Record]) -> Iterator[tuple[str, str]]:
    """Yield key and advice for every field of a table that does not fit its type."""
    fields = _fields(type_)
    for name in sorted(table.keys() - fields.keys()):
        yield name, unknown(type_)
    for name, field in fields.items():
        if name not in table:
            if field.required:
                yield name, _missing(_values([field.type], ""))
            continue
        try:
            msgspec.convert(table[name], field.type)
        except msgspec.ValidationError as error:
            fault, _, at = str(error).partition(" - at `$")
            key = name + at.removesuffix("`")
            if tuple(key.split(".")) in sums(type_):
                yield key, _sum_advice(table, key)
            else:
                yield key, _of_pattern(fault) or _of_set(fault, type_, key) or _of_size(fault) or f"{fault}; correct it"


def is_missing(advice: str) -> bool:
    """Tell whether an advice is of a field that is not there."""
    return advice.startswith(MISSING.partition(";")[0]) or "is missing; " in advice


@cache  # to find them takes longer than to look at a record
def _fields(type_: type[Struct]) -> Mapping[str, FieldInfo]:
    return {field.name: field for field in msgspec.structs.fields(type_)}


def unknown(type_: type[Record]) -> str:
    """Return what is to be done about a field that a record has not."""
    return f"Unknown; take it out, or correct it to one of {', '.join(type_.__struct_fields__)}"


def _missing(values: str) -> str:
    """Return what to do about a field that is not there, by the values that it may have, if they are known."""
    return f"Missing; give one of {values}" if values else MISSING


def _of_set(fault: str, type_: type[Struct], key: str) -> str | None:
    """Return what to do about a field or value that is none of those that there are, or no value of its type."""
    types = _at(type_, key)
    if field := _UNKNOWN.match(fault):
        names = {name for part in _parts(types, Struct) for name in part.__struct_fields__}
        return f"Unknown field `{field[1]}`; correct it to one of {listed(field[1], sorted(names))}"
    if field := _LACKING.match(fault):
        values = _values(_at(type_, f"{key}.{field[1]}"), "")
        return f"`{field[1]}` is missing; {f'give one of {values}' if values else 'add it'}"
    if member := _NO_MEMBER.match(fault):
        return f"{member[1]!r} is not known; give one of {_values(types, member[1])}"
    if mismatch := _MISMATCH.match(fault):
        wanted = [name for name in mismatch[1].split(" | ") if name in _WRITTEN]
        names_of = [_WRITTEN[name] for name in wanted]
        values = _values(types, "") if wanted == ["str"] else ""
        how = f"give one of {values}, in quotes" if values else names_of[0][1]
        return f"Not {' or '.join(name for name, _ in names_of)}; {how}"
    return None


def _of_size(fault: str) -> str | None:
    """Return what to do about a value out of its range, or of a wrong length."""
    if bound := _BOUND.match(fault):
        return f"{_BOUNDS[bound[1]]} {float(bound[2]):g}"
    if length := _LENGTH.match(fault):
        return f"{_LENGTHS[length[2]]} {length[3]} {'characters' if length[1] == 'str' else 'entries'}"
    return None


def _values(types: list[Any], wrong: str) -> str:
    """Return the values that a field may have, of many those like a wrong one; nothing where they are no set."""
    values = [value for part in _parts(types, None) for value in get_args(part)]
    return listed(wrong, values) if wrong else ", ".join(values)


def _of_pattern(fault: str) -> str | None:
    """Return what is told of a text that does not match a pattern; None where the fault is another."""
    _, is_pattern, pattern = fault.partition(" matching regex '")
    return next((told for begin, told in _PATTERNS.items() if is_pattern and pattern.startswith(begin)), None)


def _at(type_: Any, key: str) -> list[Any]:  # noqa: ANN401 - a type
    """Return the types that the value under a key of a type may have."""
    types = [type_]
    for name in re.findall(r"[a-z0-9_]+(?=\.|\[|$)", re.sub(r"\[[0-9]+\]", "", re.sub(r"\[\.\.\.\]", "", key))):
        types = [
            field.type for part in _parts(types, Struct) for field in msgspec.structs.fields(part) if field.name == name
        ]
    return types


def _parts(annotations: list[Any], kind: type[Struct] | None) -> Iterator[Any]:
    """Yield the structures in annotations; with no kind, the literals."""
    for annotation in annotations:
        is_literal = get_origin(annotation) is Literal
        if is_literal if kind is None else isinstance(annotation, type) and issubclass(annotation, kind):
            yield annotation
        elif not is_literal:
            yield from _parts(list(get_args(annotation)), kind)


def _sum_advice(table: Table, key: str) -> str:
    """Return how a sum of money is written."""
    value: object = table
    for name in key.split("."):
        value = value.get(name) if isinstance(value, dict) else None
    if isinstance(value, str):
        return 'No currency; write `currency = "EUR"`, or which it is, in the `book.toml` of the folder'
    return 'Not a sum of money; write the amount as text, such as "12.50"'
