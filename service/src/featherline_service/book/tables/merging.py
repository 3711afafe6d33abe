"""Tables laid over one another, and which of them each value is from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache, partial
from itertools import takewhile
from typing import NamedTuple, cast

from featherline_service.book.toml_records import Table


def merged(tables: Sequence[Table]) -> dict[str, object]:
    """Return tables laid over one another: tables in them field by field, lists and all else as a whole.

    A table of another `kind` replaces the one before it.
    """
    result: dict[str, object] = {}
    for table in tables:
        for name, value in table.items():
            before = result.get(name)
            if isinstance(before, dict) and isinstance(value, dict) and not _differ(before, value):
                result[name] = merged([before, value])
            else:
                result[name] = value
    return result


class Origin(NamedTuple):
    """Where a value of merged tables is from: the index of the table; and whether it is a number.

    `repeats` are the tables before it, the last first, that say the very same.
    """

    table: int
    is_number: bool
    repeats: tuple[int, ...] = ()


def origins(tables: Sequence[Table]) -> Mapping[str, Origin]:
    """Return for each field of the merged tables that is no table the last table that says it.

    Fields have no indices: ``layers.thickness_mm``.
    """
    result: dict[str, Origin] = {}
    _trace(list(enumerate(tables)), "", result)
    return result


def _trace(tables: Sequence[tuple[int, Table]], field: str, result: dict[str, Origin]) -> None:
    for name in dict.fromkeys(name for _, table in tables for name in table):
        path = f"{field}.{name}" if field else name
        said = [(index, table[name]) for index, table in tables if name in table]
        index, last = said.pop()
        inner: list[tuple[int, Table]] = []
        while isinstance(last, dict):
            inner.insert(0, (index, last))
            if not said or not isinstance(said[-1][1], dict) or _differ(said[-1][1], last):
                break
            index, last = said.pop()
        if inner:
            _trace(inner, path, result)
        else:
            repeats = tuple(before for before, _ in takewhile(partial(_says, last), reversed(said)))
            _gather(last, path, Origin(index, False, repeats), result)


def _says(value: object, said: tuple[int, object]) -> bool:
    return said[1] == value


def _gather(value: object, field: str, origin: Origin, result: dict[str, Origin]) -> None:
    if isinstance(value, dict):
        for name, inner in value.items():
            _gather(inner, f"{field}.{name}" if field else name, origin, result)
    elif isinstance(value, list) and value:
        for inner in value if isinstance(value[0], dict) else value[:1]:
            _gather(inner, field, origin, result)
    else:
        is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if is_number or field not in result:
            result[field] = origin._replace(is_number=is_number)


def within(field: str, other: str) -> bool:
    """Tell whether a field is another one or a part of it."""
    return field == other or field.startswith(f"{other}.")


@lru_cache(1024)  # all shoes of a kind ask the same
def grouped(chosen: frozenset[str], every: frozenset[str], depth: int = 1) -> tuple[str, ...]:
    """Return fields that name some of all fields and no others, as few as do: a field names all within it."""
    result: list[str] = []
    for head in sorted({".".join(field.split(".")[:depth]) for field in chosen}):
        below = frozenset(field for field in every if within(field, head))
        result += (head,) if below <= chosen else grouped(chosen & below, below, depth + 1)
    return tuple(result)


def spread_where_unsaid(usual: Table, own: Table) -> dict[str, object]:
    """Return what is usual without the spreads of values that a record says itself: they are not spread so widely."""
    result: dict[str, object] = {}
    for name, value in usual.items():
        stem, is_spread, _ = name.partition("_spread")
        if is_spread and any(said.startswith(f"{stem}_") for said in own):
            continue
        inner = own.get(name)
        both = isinstance(value, dict) and isinstance(inner, dict)
        result[name] = spread_where_unsaid(cast("Table", value), cast("Table", inner)) if both else value
    return result


def _differ(before: Table, after: Table) -> bool:
    return "kind" in before and "kind" in after and before["kind"] != after["kind"]
