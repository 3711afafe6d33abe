"""Typed records read from a folder of TOML files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Final, Literal, TypeVar, cast

import msgspec
import rtoml
from msgspec import Struct

from featherline.wire import records
from featherline.wire.records import Kind, Record
from featherline_service.book.faults import BookFault

TYPES: Final[Mapping[Kind, type[Record]]] = {
    "sources": records.Source,
    "materials": records.Material,
    "contacts": records.Contact,
    "uppers": records.Upper,
    "labels": records.TongueLabel,
    "films": records.Film,
    "covers": records.Cover,
    "pads": records.Pad,
    "platens": records.Platen,
    "presses": records.Press,
    "cutters": records.Cutter,
    "fonts": records.Font,
    "shoes": records.ShoeModel,
    "offcuts": records.Offcut,
    "rates": records.Rates,
    "policies": records.Policy,
    "benches": records.Bench,
    "observations": records.RecordedPressing,
}

VALID_FROM: Final = "valid_from"
Mode = Literal["replace", "overlay"]
Table = Mapping[str, object]
AnyRecord = TypeVar("AnyRecord", bound=Record)


class Entry(Struct, frozen=True):
    """A record, the file it was read from, and the folder of that book."""

    record: Record
    file: Path
    folder: Path


Entries = Mapping[tuple[Kind, str], Entry]


class Reading(Struct, frozen=True):
    """A folder's content: its records by kind and id, the ids of records that could not be read, and the faults.

    `later` are the records with a `valid_from`, by that instant in UTC, in the order of time.
    """

    entries: Entries
    broken: frozenset[tuple[Kind, str]]
    faults: tuple[BookFault, ...]
    later: Mapping[datetime, Entries] = {}

    def at(self, instant: datetime | None) -> Entries:
        """Return the records that count at an instant; without one, those that have always counted."""
        entries = dict(self.entries)
        for start, dated in self.later.items():
            if instant is not None and start <= instant:
                entries |= dated
        return entries


class Preface(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The `book.toml` at the top of a folder; with `valid_from`, the folder counts from that instant on."""

    mode: Mode
    valid_from: datetime | None = None


def read_preface(folder: Path) -> Preface | BookFault:
    """Read the folder's `book.toml`: whether it replaces the book before it or overlays it, and from when on."""
    file = folder / "book.toml"
    how = 'write `mode = "overlay"` (add to the book before it) or `mode = "replace"` (start afresh) in it'
    if not file.is_file():
        return BookFault(str(file), "", "", f"There is no such file; {how}")
    table = _table(file)
    if isinstance(table, BookFault):
        return table
    start = _start(table)
    if isinstance(start, str):
        return BookFault(str(file), "", VALID_FROM, start)
    try:
        return msgspec.convert({**table, VALID_FROM: start}, Preface)
    except msgspec.ValidationError as error:
        return BookFault(str(file), "", "mode", f"{error}; {how}, and nothing else but `{VALID_FROM}`")


def read_folder(folder: Path) -> Reading:
    """Read every `<kind>/*.toml` of a folder. Each file is one record, or has `[[record]]` tables.

    A record may come again under its id with another `valid_from`, which is no part of the record.
    """
    entries: dict[datetime | None, dict[tuple[Kind, str], Entry]] = {None: {}}
    broken: dict[tuple[Kind, str], Path] = {}
    faults = list(_misplaced(folder))
    for kind, type_ in TYPES.items():
        for file in sorted((folder / kind).glob("*.toml")):
            tables = _tables(file)
            if isinstance(tables, BookFault):
                faults.append(tables)
                continue
            for position, table in enumerate(tables):
                name = table.get("id", f"record {position}")
                key = (kind, str(name))
                start = _start(table)
                if isinstance(start, str):
                    broken[key] = file
                    faults.append(BookFault(str(file), str(name), VALID_FROM, start))
                    continue
                record = {field: value for field, value in table.items() if field != VALID_FROM}
                dated = entries.setdefault(start, {})
                before = dated[key].file if key in dated else broken.get(key)
                if before is not None:
                    faults.append(
                        BookFault(
                            str(file), str(name), "id", f"The id is used in {before} already; give this record another"
                        )
                    )
                    continue
                try:
                    dated[key] = Entry(msgspec.convert(record, type_), file, folder)
                except msgspec.ValidationError:
                    broken[key] = file
                    faults += (BookFault(str(file), str(name), *fault) for fault in _misfits(record, type_))
    undated = entries.pop(None)
    later = {start: entries[start] for start in sorted(start for start in entries if start is not None)}
    return Reading(undated, frozenset(broken), tuple(faults), later)


def text_of(records_of_kind: Sequence[Record]) -> str:
    """Return records of one kind as the text of a file that is read as them."""
    return rtoml.dumps({"record": [_stated(record) for record in records_of_kind]}, pretty=True)


def _stated(value: object) -> object:
    """Return a value as TOML has it: fields that have their default are left out, among them all that are null."""
    if isinstance(value, Struct):
        parts = ((field, getattr(value, field.name)) for field in msgspec.structs.fields(value))
        return {field.name: _stated(part) for field, part in parts if part != field.default}
    return [_stated(part) for part in value] if isinstance(value, tuple) else value


def shelf(entries: Entries, type_: type[AnyRecord]) -> Mapping[str, AnyRecord]:
    """Return the records of one type by id, as a read-only mapping."""
    return MappingProxyType(
        {name: entry.record for (_, name), entry in entries.items() if isinstance(entry.record, type_)}
    )


def _misplaced(folder: Path) -> Iterator[BookFault]:
    """Yield the faults of a folder's top level: files and folders there that would not be read."""
    if not folder.is_dir():
        yield BookFault(str(folder), "", "", "There is no such folder; correct the path")
        return
    for path in sorted(folder.iterdir()):
        if path.name.startswith(".") or path.name == "book.toml":
            continue
        if path.is_dir() and path.name not in TYPES:
            yield BookFault(str(path), "", "", f"Not a kind of record; the kinds are {', '.join(TYPES)}")
        if path.suffix == ".toml":
            yield BookFault(str(path), "", "", "A record belongs in the folder of its kind; move the file there")


def _table(file: Path) -> Table | BookFault:
    """Parse a TOML file."""
    try:
        return rtoml.loads(file.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, rtoml.TomlParsingError) as error:
        return BookFault(str(file), "", "", f"Cannot be read as TOML in UTF-8: {error}")


def _tables(file: Path) -> list[Table] | BookFault:
    """Parse a TOML file into the tables of its records."""
    table = _table(file)
    if isinstance(table, BookFault) or "record" not in table:
        return table if isinstance(table, BookFault) else [table]
    several = table["record"]
    if len(table) > 1 or not isinstance(several, list) or not all(isinstance(record, dict) for record in several):
        return BookFault(str(file), "", "record", "A file is either one record or [[record]] tables alone; split it")
    return cast("list[Table]", several)


def _start(table: Table) -> datetime | str | None:
    """Return the `valid_from` of a table in UTC, None without one; of one that cannot be used, the advice."""
    start = table.get(VALID_FROM)
    if start is None:
        return None
    if not isinstance(start, datetime) or start.tzinfo is None or start.microsecond:
        return "Not an instant; give date, time in whole seconds and offset, such as 2027-01-01T00:00:00+01:00"
    return start.astimezone(UTC)


def _misfits(table: Table, type_: type[Record]) -> Iterator[tuple[str, str]]:
    """Yield key and advice for every field of a table that does not fit its type."""
    fields = {field.name: field for field in msgspec.structs.fields(type_)}
    for name in sorted(table.keys() - fields.keys()):
        yield name, f"Unknown; take it out, or correct it to one of {', '.join(fields)}"
    for name, field in fields.items():
        if name not in table:
            if field.required:
                yield name, "Missing; add it"
            continue
        try:
            msgspec.convert(table[name], field.type)
        except msgspec.ValidationError as error:
            advice, _, at = str(error).partition(" - at `$")
            yield name + at.removesuffix("`"), f"{advice}; correct it"
