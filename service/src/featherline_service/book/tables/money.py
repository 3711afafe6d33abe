"""Sums of money in tables: an amount alone is in the currency of the book."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, get_args

import msgspec
from msgspec import Struct

from featherline.wire.money import Charge


@cache
def sums(type_: type[Struct]) -> tuple[tuple[str, ...], ...]:
    """Return the ways to all sums of money in a type of record, such as ``("roll", "price")``."""
    return tuple(
        way
        for field in msgspec.structs.fields(type_)
        for part in _structs(field.type)
        for way in ([(field.name,)] if part is Charge else [(field.name, *inner) for inner in sums(part)])
    )


def priced(table: dict[str, object], type_: type[Struct], currency: str | None, *, in_another: bool) -> None:
    """Put the book's currency to the sums of a table that have none, or that are `in_another`.

    The table's own tables are replaced, never changed.
    """
    if currency is None:
        return
    for way in sums(type_):
        _price(table, way, currency, in_another=in_another)
    if "currency" in type_.__struct_fields__ and (in_another or "currency" not in table):
        table["currency"] = currency


def _price(table: dict[str, object], way: tuple[str, ...], currency: str, *, in_another: bool) -> None:
    name, *inner = way
    value = table.get(name)
    if inner and isinstance(value, dict):
        table[name] = copied = dict(value)
        _price(copied, tuple(inner), currency, in_another=in_another)
    elif not inner and isinstance(value, str):
        table[name] = {"amount": value, "currency": currency}
    elif not inner and isinstance(value, dict) and (in_another or "currency" not in value):
        table[name] = {**value, "currency": currency}


def _structs(annotation: Any) -> Iterator[type[Struct]]:  # noqa: ANN401 - a type
    if isinstance(annotation, type) and issubclass(annotation, Struct):
        yield annotation
    for part in get_args(annotation):
        yield from _structs(part)
