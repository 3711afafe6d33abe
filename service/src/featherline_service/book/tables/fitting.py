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
_NO_MEMBER: Final = re.compile(r"Invalid enum value '(.*)'")
_MISMATCH: Final = re.compile(r"Expected `([a-z]+)(?: \| null)?`, got `[a-z]+`")
_WRITTEN: Final[Mapping[str, str]] = {
    "float": "write a number without quotes or a unit; the field's name ends in its unit",
    "int": "write a whole number without quotes",
    "str": "write it in quotes",
    "bool": "write true or false, without quotes",
    "array": "write a list, in brackets",
    "object": "write a table, in braces",
}
"""How a value of a type is written in TOML."""
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
                yield name, MISSING
            continue
        try:
            msgspec.convert(table[name], field.type)
        except msgspec.ValidationError as error:
            fault, _, at = str(error).partition(" - at `$")
            key = name + at.removesuffix("`")
            if tuple(key.split(".")) in sums(type_):
                yield key, _sum_advice(table, key)
            else:
                yield key, _of_pattern(fault) or f"{fault}; {_cure(fault, type_, key)}"


def is_missing(advice: str) -> bool:
    """Tell whether an advice is of a field that is not there."""
    return advice == MISSING or "missing required field" in advice


@cache  # to find them takes longer than to look at a record
def _fields(type_: type[Struct]) -> Mapping[str, FieldInfo]:
    return {field.name: field for field in msgspec.structs.fields(type_)}


def unknown(type_: type[Record]) -> str:
    """Return what is to be done about a field that a record has not."""
    return f"Unknown; take it out, or correct it to one of {', '.join(type_.__struct_fields__)}"


def _cure(fault: str, type_: type[Struct], key: str) -> str:
    """Return what to do about a value of a type or range that does not fit."""
    if field := _UNKNOWN.match(fault):
        names = {name for part in _parts(_at(type_, key), Struct) for name in part.__struct_fields__}
        return f"correct it to one of {listed(field[1], sorted(names))}"
    if member := _NO_MEMBER.match(fault):
        values = [value for part in _parts(_at(type_, key), None) for value in get_args(part)]
        return f"give one of {listed(member[1], values)}"
    if mismatch := _MISMATCH.match(fault):
        return _WRITTEN.get(mismatch[1], "correct it")
    return "correct it"


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
