"""Edits of a folder's records that leave comments, order and all else in its files as they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import tomlkit
from tomlkit import TOMLDocument
from tomlkit.items import AoT, InlineTable, Table

Values = Mapping[str, object]
"""Values by their fields, such as ``roll.price``."""
ADDED: Final = "added"
CHANGED: Final = "changed"


def set_record(folder: Path, kind: str, name: str, values: Values) -> str:
    """Set values of a record in the file that has it, or add it to the kind's own file. Returns what was done."""
    for file, document, record in _records(folder, kind):
        if record.get("id") == name:
            for field, value in values.items():
                _set(record, field, value)
            file.write_text(tomlkit.dumps(document), "utf-8")
            return CHANGED
    _add(folder / kind, kind, {"id": name, **values})
    return ADDED


def plain_table(values: Values) -> Table:
    """Return a table of values by their fields; tables in it are written in a line."""
    table = tomlkit.table()
    for field, value in values.items():
        _set(table, field, value)
    return table


def _records(folder: Path, kind: str) -> Iterator[tuple[Path, TOMLDocument, Any]]:
    for file in sorted((folder / kind).glob("*.toml")):
        document = tomlkit.parse(file.read_text("utf-8"))
        several = document.get("record")
        for record in several if isinstance(several, AoT) else (document,):
            # A change to come is another record of the same id.
            if "valid_from" not in record:
                yield file, document, record


def _add(folder: Path, kind: str, values: Values) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / f"{kind}.toml"
    document = tomlkit.parse(file.read_text("utf-8")) if file.is_file() else tomlkit.document()
    if document and "record" not in document:  # the file is one record
        file, document = folder / f"{values['id']}.toml", tomlkit.document()
        for field, value in plain_table(values).items():
            document.add(field, value)
    else:
        rows = document.setdefault("record", tomlkit.aot())
        rows.append(plain_table(values))
    file.write_text(tomlkit.dumps(document), "utf-8")


def _set(table: Any, field: str, value: object) -> None:  # noqa: ANN401 - a table of any form
    name, _, inner = field.partition(".")
    if inner:
        if name not in table:
            table[name] = tomlkit.inline_table()
        _set(table[name], inner, value)
    elif not _same(table.get(name), value):
        table[name] = _item(value)


def _same(before: object, value: object) -> bool:
    plain = before.unwrap() if hasattr(before, "unwrap") else before
    return plain == value and type(plain) is type(value)


def _item(value: object) -> Any:  # noqa: ANN401 - an item of any form
    if isinstance(value, Mapping):
        table: InlineTable = tomlkit.inline_table()
        for name, inner in value.items():
            table[name] = _item(inner)
        return table
    if isinstance(value, list | tuple):
        array = tomlkit.array()
        for inner in value:
            array.append(_item(inner))
        return array
    return tomlkit.item(value)
