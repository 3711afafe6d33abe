"""The values of a record with their keys, such as ``layers[0].material``."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache, lru_cache
from typing import Any, Final, get_args

import msgspec
from msgspec import Struct

_INDEX: Final = re.compile(r"\[[0-9]+\]")


def walk(value: object, key: str = "") -> Sequence[tuple[str, object]]:
    """Return key and value of a record and of everything in it, outermost first."""
    values: list[tuple[str, object]] = []
    _gather(value, key, values)
    return values


def _gather(value: object, key: str, values: list[tuple[str, object]]) -> None:
    # A generator for each level takes twice as long, seconds for a book of thousands of records.
    values.append((key, value))
    if isinstance(value, Struct):
        for name in value.__struct_fields__:
            _gather(getattr(value, name), f"{key}.{name}" if key else name, values)
    elif type(value) is tuple:
        for index, item in enumerate(value):
            _gather(item, f"{key}[{index}]", values)


@lru_cache(4096)  # all shoes of a book have the same few hundred keys
def field_of(key: str) -> str:
    """Return a key without its indices: ``layers[0].material`` becomes ``layers.material``."""
    return _INDEX.sub("", key)


def at(value: object, field: str, key: str = "") -> Iterator[tuple[str, object]]:
    """Yield key and value of a field of a record, such as ``layers.material``, wherever it is there."""
    if type(value) is tuple:
        for index, item in enumerate(value):
            yield from at(item, field, f"{key}[{index}]")
    elif not field:
        yield key, value
    elif isinstance(value, Struct):
        name, _, inner = field.partition(".")
        yield from at(getattr(value, name), inner, f"{key}.{name}" if key else name)


@cache
def fields_named(kind: type[Struct], name: str) -> tuple[str, ...]:
    """Return every field of a type of record, and of what is in it, that ends with a name."""
    fields = [name] if name in kind.__struct_fields__ else []
    for field in msgspec.structs.fields(kind):
        fields += (f"{field.name}.{inner}" for part in _structs(field.type) for inner in fields_named(part, name))
    return tuple(fields)


def _structs(annotation: Any) -> Iterator[type[Struct]]:  # noqa: ANN401 - a type
    if isinstance(annotation, type) and issubclass(annotation, Struct):
        yield annotation
    for part in get_args(annotation):
        yield from _structs(part)
