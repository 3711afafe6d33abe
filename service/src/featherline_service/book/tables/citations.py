"""The citations of a record that several tables say something of: each value is cited where it is from."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Final, cast

from featherline_service.book.tables.class_defaults import CLASS_DEFAULT
from featherline_service.book.tables.merging import Origin, grouped, within
from featherline_service.book.toml_records import Table

CITES: Final = "cites"
SOURCE: Final = "source"
"""The source of all physical values of a table that no citation of it covers."""
AT: Final = "at"
_NO_VALUES: Final = frozenset(
    {"id", "name", "note", "kind", "currency", "replaces", "upper", "colour", CITES, SOURCE, AT}
)

Citation = dict[str, object]


def citations(
    tables: Sequence[Table], said: Mapping[str, Origin], by_class: Collection[str], class_name: str, first_own: int
) -> list[object]:
    """Return the citations of the tables, each for the values that are still its own table's.

    A value by class is cited from `CLASS_DEFAULT`; a value of a table with a `source` from that, unless a citation
    covers it.

    Args:
        tables: The tables that the record is merged from, the defaults of its class first.
        said: Which of them each field is from.
        by_class: Fields that are by class though a table of the record has the list that they are in.
        class_name: What the class is called.
        first_own: The index of the first table that is no default.
    """
    fields = {
        field: _cited_origin(field, origin, tables, first_own) for field, origin in said.items() if _has_value(field)
    }
    usual = frozenset(field for field, origin in fields.items() if origin.table < first_own)
    usual |= frozenset(filter(_has_value, by_class))
    every = frozenset(fields) | usual
    numbers = frozenset(field for field, origin in fields.items() if origin.is_number)
    money = frozenset(field for field in fields if field.endswith(".amount"))
    result: list[object] = []
    for index, table in enumerate(tables[first_own:], first_own):
        own = _own_cites(table)
        later = {name for other in tables[index + 1 :] for cite in _own_cites(other) for name in _names(cite)}
        result += (left for cite in own if (left := _still(cite, index, fields, every, later)) is not None)
        if SOURCE in table:
            covered = [name for cite in own for name in _names(cite)]
            plain = frozenset(
                field
                for field in numbers
                if fields[field].table == index and not any(within(field, name) for name in covered)
            )
            if plain:
                result.append(_cite(grouped(plain, numbers | usual | money), str(table[SOURCE]), table.get(AT, "")))
    if usual:
        result.append(_cite(grouped(usual, every), CLASS_DEFAULT, class_name))
    return result


def _own_cites(table: Table) -> list[object]:
    own = table.get(CITES, [])
    return own if isinstance(own, list) else [own]  # the record's type says what is wrong with it


def _cited_origin(field: str, origin: Origin, tables: Sequence[Table], first_own: int) -> Origin:
    """Return where a value is cited: of tables of the record that say the same, the last that has a source for it."""
    same = (origin.table, *(index for index in origin.repeats if index >= first_own))
    if origin.table < first_own:
        return origin
    cited = (index for index in same if SOURCE in tables[index] or _cites(tables[index], field))
    return origin._replace(table=next(cited, same[-1]))


def _cites(table: Table, field: str) -> bool:
    return any(within(field, name) for cite in _own_cites(table) for name in _names(cite))


def _still(
    cite: object, index: int, said: Mapping[str, Origin], every: frozenset[str], later: Collection[str]
) -> object | None:
    """Return a citation for those of its values that no later table says otherwise; None where there are none left.

    What no table says, such as a spread that is left out, is cited where it is cited last.
    """
    names = _names(cite)
    if not names:
        return cite  # the record's type says what is wrong with it
    gone = frozenset(field for field, origin in said.items() if origin.table > index)
    values: list[str] = []
    for name in names:
        if any(within(field, name) for field in gone):
            below = frozenset(field for field in every if within(field, name))
            values += grouped(below - gone, every)
        elif name not in later or any(within(field, name) for field in every):
            values.append(name)
    return {**cast("Citation", cite), "values": values} if values else None


def _cite(values: Sequence[str], source: str, place: object) -> Citation:
    return {"values": list(values), "source": source, "at": place}


def _names(cite: object) -> list[str]:
    values = cite.get("values") if isinstance(cite, dict) else None
    return [value for value in values if isinstance(value, str)] if isinstance(values, list) else []


def _has_value(field: str) -> bool:
    first, _, rest = field.partition(".")
    return first not in _NO_VALUES and rest.rpartition(".")[2] not in {"id", "name", "face"}
