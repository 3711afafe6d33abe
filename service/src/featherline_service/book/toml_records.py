"""The tables of records, read from a folder of TOML files."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Final, Literal, TypeVar

import msgspec
import rtoml
from iso4217 import Currency as IsoCurrency
from msgspec import Struct

from featherline.wire import records
from featherline.wire.money import Currency
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
REPLACES: Final = "replaces"
DEFAULTS: Final = "defaults"
"""The folder of what is usual for a class of film, a kind of shoe and the like, in a file for each kind of record."""

CURRENCIES: Final = frozenset(currency.code for currency in IsoCurrency if currency.exponent is not None)
"""ISO 4217 codes that have a minor unit: all but those for metals, for testing and for no currency."""
CODE: Final = "give an ISO 4217 code, such as 'EUR'"

Mode = Literal["replace", "own", "overlay"]
Table = Mapping[str, object]
Key = tuple[str, str]
"""Kind and id of a record; the kind of defaults of films is `defaults/films`."""
AnyRecord = TypeVar("AnyRecord", bound=Record)


class Part(Struct, frozen=True, eq=False):
    """A table that says something of a record: all of it, or the fields in which it differs. Hashed by identity.

    `place` is where the table is in its file: empty for the whole file, or such as ``record[2]``.
    """

    table: Table
    file: Path
    folder: Path
    place: str = ""


Chain = tuple[Part, ...]
"""The parts of a record, each laid over those before it."""


class Entry(Struct, frozen=True):
    """A record, the file it was read from, the folder of that book, and the parts that it is made of.

    The first `defaults` of the parts are what is usual for its class; `by_class` are the fields that are by these.
    """

    record: Record
    file: Path
    folder: Path
    parts: Chain = ()
    defaults: int = 0
    by_class: frozenset[str] = frozenset()


Entries = Mapping[tuple[Kind, str], Entry]


class Reading(Struct, frozen=True):
    """A folder's content: its tables by kind and id, the ids of records that could not be read, and the faults.

    `later` are the tables with a `valid_from`, by that instant in UTC, in the order of time.
    """

    parts: Mapping[Key, Part]
    broken: frozenset[Key]
    faults: tuple[BookFault, ...]
    later: Mapping[datetime, Mapping[Key, Part]] = {}

    def at(self, instant: datetime | None) -> Mapping[Key, Chain]:
        """Return what counts at an instant, in the order of time; without one, what has always counted."""
        chains = {key: (part,) for key, part in self.parts.items()}
        for start, dated in self.later.items():
            if instant is not None and start <= instant:
                for key, part in dated.items():
                    chains[key] = (*chains.get(key, ()), part)
        return chains


class Preface(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The `book.toml` at the top of a folder; with `valid_from`, the folder counts from that instant on.

    `currency` is that of the book: of sums without one in this folder and after it, and of all sums before it, whose
    amounts stay as they are.
    """

    mode: Mode
    valid_from: datetime | None = None
    currency: Currency | None = None


def read_preface(folder: Path) -> Preface | BookFault:
    """Read the folder's `book.toml`: how it is laid over the book before it, and from when on."""
    file = folder / "book.toml"
    how = (
        'write `mode = "own"` (a shop of its own: nothing of the demo shop, but the materials, contacts and defaults '
        'of the service), `mode = "overlay"` (add to the book before it) or `mode = "replace"` (start from '
        "nothing) in it"
    )
    if not file.is_file():
        return BookFault(str(file), "", "", f"There is no such file; {how}")
    table = _table(file)
    if isinstance(table, BookFault):
        return table
    start = _start(table)
    if isinstance(start, str):
        return BookFault(str(file), "", VALID_FROM, start)
    if "currency" in table and table["currency"] not in CURRENCIES:
        return BookFault(str(file), "", "currency", f"{table['currency']!r} is not a currency in use; {CODE}")
    try:
        return msgspec.convert({**table, VALID_FROM: start}, Preface)
    except msgspec.ValidationError as error:
        extra = f"and nothing else but `{VALID_FROM}` and `currency`"
        return BookFault(str(file), "", "mode", f"{error}; {how}, {extra}")


def read_folder(folder: Path) -> Reading:
    """Read every `<kind>/*.toml` of a folder. Each file is one record, or has `[[record]]` tables.

    A record may come again under its id with another `valid_from`, which is no part of the record.
    """
    parts: dict[datetime | None, dict[Key, Part]] = {None: {}}
    broken: dict[Key, Path] = {}
    faults = list(_misplaced(folder))
    for kind, file in _files(folder):
        tables = _tables(file)
        if isinstance(tables, BookFault):
            faults.append(tables)
            continue
        for place, table in tables.items():
            name = str(table.get("id", _unnamed(place)))
            key = (kind, name)
            start = _start(table)
            if isinstance(start, str):
                broken[key] = file
                faults.append(BookFault(str(file), name, VALID_FROM, start))
                continue
            dated = parts.setdefault(start, {})
            before = dated[key].file if key in dated else broken.get(key)
            if before is not None:
                advice = f"The id is used in {before} already; give this record another"
                faults.append(BookFault(str(file), name, "id", advice))
                continue
            dated[key] = Part({field: table[field] for field in table if field != VALID_FROM}, file, folder, place)
    undated = parts.pop(None)
    later = {start: parts[start] for start in sorted(start for start in parts if start is not None)}
    return Reading(undated, frozenset(broken), tuple(faults), later)


def _files(folder: Path) -> Iterator[tuple[str, Path]]:
    """Yield the kind of each file of records, and the file."""
    for kind in TYPES:
        for file in sorted((folder / kind).glob("*.toml")):
            yield kind, file
    for file in sorted((folder / DEFAULTS).glob("*.toml")):
        yield f"{DEFAULTS}/{file.stem}", file


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
        if path.is_dir() and path.name not in {*TYPES, DEFAULTS}:
            yield BookFault(str(path), "", "", f"Not a kind of record; the kinds are {', '.join(TYPES)}")
        if path.suffix == ".toml":
            yield BookFault(str(path), "", "", "A record belongs in the folder of its kind; move the file there")


def _table(file: Path) -> Table | BookFault:
    """Parse a TOML file."""
    try:
        return rtoml.loads(file.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, rtoml.TomlParsingError) as error:
        return BookFault(str(file), "", "", f"Cannot be read as TOML in UTF-8: {error}")


def _tables(file: Path) -> Mapping[str, Table] | BookFault:
    """Parse a TOML file into the tables of its records by their places in it."""
    table = _table(file)
    if isinstance(table, BookFault):
        return table
    if "record" not in table:
        return {"": table}
    several = table["record"]
    if len(table) > 1 or not isinstance(several, list) or not all(isinstance(record, dict) for record in several):
        return BookFault(str(file), "", "record", "A file is either one record or [[record]] tables alone; split it")
    return {f"record[{position}]": record for position, record in enumerate(several)}


def _unnamed(place: str) -> str:
    """Return what a record without an id is called in messages: ``record 2``."""
    return place.replace("[", " ").rstrip("]") or "record 0"


def _start(table: Table) -> datetime | str | None:
    """Return the `valid_from` of a table in UTC, None without one; of one that cannot be used, the advice."""
    start = table.get(VALID_FROM)
    if start is None:
        return None
    if not isinstance(start, datetime) or start.tzinfo is None or start.microsecond:
        return "Not an instant; give date, time in whole seconds and offset, such as 2027-01-01T00:00:00+01:00"
    return start.astimezone(UTC)
