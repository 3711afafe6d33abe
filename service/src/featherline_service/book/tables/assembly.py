"""Records assembled from the tables of several layers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Final, NamedTuple

import msgspec
from msgspec import Struct

from featherline.wire.records import Kind, Record
from featherline_service.book.faults import BookFault
from featherline_service.book.tables import class_defaults
from featherline_service.book.tables.citations import AT, CITES, SOURCE, citations
from featherline_service.book.tables.fitting import is_missing, misfits, unknown
from featherline_service.book.tables.layers import Laid
from featherline_service.book.tables.merging import Origin, merged, origins, spread_where_unsaid
from featherline_service.book.tables.money import priced, sums
from featherline_service.book.toml_records import DEFAULTS, REPLACES, TYPES, Chain, Entries, Entry, Part, Table

_NO_FIELDS: Final = frozenset({CITES, SOURCE, AT, REPLACES})


class Assembled(Struct, frozen=True):
    """The records of a book by kind and id, the ids of those that could not be read, and the faults."""

    entries: Entries
    broken: frozenset[tuple[Kind, str]]
    faults: tuple[BookFault, ...]


_KINDS: Final[Mapping[str, Kind]] = {kind: kind for kind in TYPES}

Made = Entry | tuple[BookFault, ...]
Known = dict[tuple[object, ...], Made]
"""Records made before, by kind, id, what they were made from and the currency: books of one timetable share them."""


def assemble(laid: Laid, known: Known | None = None) -> Assembled:
    """Return the records of layers: each merged, over what is usual for its class, in the currency of the book."""
    known = {} if known is None else known
    made: dict[tuple[Kind, str], Made] = {}
    faults: list[BookFault] = list(laid.faults)
    layers = tuple(part for (kind, _), chain in laid.chains.items() if kind == f"{DEFAULTS}/layers" for part in chain)
    for (shelf, name), chain in laid.chains.items():
        kind = _KINDS.get(shelf)
        if kind is None:
            faults += _of_defaults(shelf, name, chain, laid)
            continue
        table = merged([_stripped(part.table) for part in chain])
        usual = class_defaults.defaults_of(kind, table, laid.chains)
        named = layers if isinstance(table.get("upper"), list) or kind == "uppers" else ()
        by: tuple[object, ...] = (name, laid.currency, usual, chain, named, laid.in_another.intersection(usual + chain))
        if kind == "shoes":
            faults += (_fault(chain, name, *flaw) for flaw in class_defaults.unknown_kind(table, laid.chains))
            upper = class_defaults.upper_of_shoe(table, name)
            if upper is not None:
                made["uppers", name] = _kept(known, ("uppers", *by), partial(_upper_of_shoe, upper, name, chain, laid))
        made[kind, name] = _kept(known, (kind, *by), partial(_made, kind, name, usual, chain, laid))
    entries = {key: entry for key, entry in made.items() if isinstance(entry, Entry)}
    faults += (fault for flaws in made.values() if not isinstance(flaws, Entry) for fault in flaws)
    unread = {(kind, name) for shelf, name in laid.broken if (kind := _KINDS.get(shelf)) is not None}
    return Assembled(entries, frozenset(unread | (made.keys() - entries.keys())), tuple(faults))


def _kept(known: Known, key: tuple[object, ...], make: Callable[[], Made]) -> Made:
    if key not in known:
        known[key] = make()
    return known[key]


def _made(kind: Kind, name: str, usual: Chain, chain: Chain, laid: Laid) -> Made:
    """Return a record, or what is wrong with it."""
    type_: Any = TYPES[kind]
    parts = (*usual, *chain)
    tables = [_priced(part, type_, laid) for part in parts]
    own = merged([_stripped(part.table) for part in chain])
    tables[: len(usual)] = [spread_where_unsaid(table, own) for table in tables[: len(usual)]]
    is_whole = len(parts) == 1 and SOURCE not in tables[0] and kind != "uppers"  # then its citations stay as they are
    said = {} if is_whole else origins([_stripped(table) for table in tables])
    table = merged([_stripped(table) for table in tables])
    table["id"] = chain[-1].table.get("id")
    flaws: list[class_defaults.Advice] = []
    expanded = class_defaults.Expanded(table)
    if kind == "films":
        class_defaults.single_setting(table)
        expanded = class_defaults.Expanded(table)
    elif kind == "shoes":
        if isinstance(table.get("upper"), list):
            table["upper"] = name
        expanded = class_defaults.panels_by_face(table, merged([part.table for part in usual]))
    elif kind == "uppers":
        expanded, flaws = class_defaults.layers_by_name(table, laid.chains)
    made = _entry(kind, name, _Merged(parts, len(usual), tables, said, expanded, tuple(flaws)))
    return made if isinstance(made, Entry) else tuple(_without_class(kind, name, chain, laid, made))


def _without_class(kind: Kind, name: str, chain: Chain, laid: Laid, faults: Sequence[BookFault]) -> Iterator[BookFault]:
    """Yield the faults of a record but for fields that it lacks as its class is unknown: that is one fault, its own."""
    own = merged([part.table for part in chain])
    usual = class_defaults.unclassed(kind, own, laid.chains)
    lacking = [
        fault
        for fault in faults
        if is_missing(fault.advice) and fault.key != "panels" and fault.key.partition("[")[0] in usual
    ]
    yield from (fault for fault in faults if fault not in lacking)
    if lacking and kind == "shoes" and class_defaults.SHOE_KIND not in own:
        kinds = ", ".join(class_defaults.kinds_of_shoe(laid.chains))
        fields = ", ".join(fault.key for fault in lacking)
        yield _fault(chain, name, class_defaults.SHOE_KIND, f"Missing; give one of {kinds}, or all of {fields}")


class _Merged(NamedTuple):
    """The parts of a record, the first `defaults` of them by class; their tables, and what these say together."""

    parts: Chain
    defaults: int
    tables: Sequence[Table]
    said: Mapping[str, Origin]
    record: class_defaults.Expanded
    flaws: tuple[class_defaults.Advice, ...]


def _entry(kind: Kind, name: str, merged_: _Merged) -> Made:
    type_ = TYPES[kind]
    parts, defaults, tables, said, record, flaws = merged_
    record = class_defaults.Expanded(record, record.by_class)
    if record.get("id") is None:
        record.pop("id", None)
    is_plain = len(parts) == 1 and not record.by_class and SOURCE not in tables[0]
    if CITES in type_.__struct_fields__:
        cites = tables[0].get(CITES, []) if is_plain else None
        if cites is None:
            cites = citations(tables, said, record.by_class, _class_name(kind, parts[:defaults]), defaults)
        record[CITES] = cites
    else:
        flaws = (*flaws, *((field, unknown(type_)) for field in (CITES, SOURCE) if field in tables[-1]))
    flaws = (*flaws, *(flaw for part in parts for flaw in _wrong_replaces(part.table)))
    if not flaws:
        try:
            made = msgspec.convert(record, type_)
        except msgspec.ValidationError:
            flaws = tuple(misfits(record, type_))
        else:
            last = parts[-1]
            folder = next((part.folder for part in reversed(parts) if "file" in part.table), last.folder)
            usual = {field for field, origin in said.items() if origin.table < defaults} | record.by_class
            return Entry(made, last.file, folder, parts, defaults, frozenset(usual))
    return tuple(_fault(parts, name, key, advice) for key, advice in flaws)


def _upper_of_shoe(upper: dict[str, object], name: str, chain: Chain, laid: Laid) -> Made:
    """Return the upper of a shoe that names its layers."""
    expanded, flaws = class_defaults.layers_by_name(upper, laid.chains)
    last = chain[-1]
    part = Part({**upper, **({SOURCE: last.table[SOURCE]} if SOURCE in last.table else {})}, last.file, last.folder)
    made = _entry("uppers", name, _Merged((part,), 0, [part.table], {}, expanded, tuple(flaws)))
    if isinstance(made, Entry):
        return made
    return tuple(_fault(chain, name, f"upper{fault.key.removeprefix('layers')}", fault.advice) for fault in made)


def _priced(part: Part, type_: type[Record], laid: Laid) -> dict[str, object]:
    table = dict(part.table)
    priced(table, type_, laid.currency, in_another=part in laid.in_another)
    return table


def _stripped(table: Table) -> dict[str, object]:
    return {name: value for name, value in table.items() if name not in _NO_FIELDS}


def _class_name(kind: Kind, usual: Chain) -> str:
    """Return what a citation says of the class that values are usual for."""
    if kind == "uppers":
        return "layers by name"
    return f"{kind}: {', '.join(dict.fromkeys(str(part.table.get('id')) for part in usual))}"


def _fault(parts: Chain, name: str, key: str, advice: str) -> BookFault:
    """Return a fault in the file of the last part that has its field."""
    first = key.partition(".")[0].partition("[")[0]
    file: Path = next((part.file for part in reversed(parts) if first in part.table), parts[-1].file)
    return BookFault(str(file), name, key, advice)


def _wrong_replaces(table: Table) -> Iterator[class_defaults.Advice]:
    if table.get(REPLACES, True) is not True:
        yield REPLACES, "Not true; write `replaces = true` for a whole record, or take it out"


def _of_defaults(kind: str, name: str, chain: Chain, laid: Laid) -> Iterator[BookFault]:
    """Yield the faults of what is usual for a class: fields that its records have not, and values that do not fit."""
    of = kind.partition("/")[2]
    type_: Any = TYPES.get(of)  # type: ignore[call-overload]
    if of == "layers":
        return
    if type_ is None:
        files = ", ".join((*TYPES, "layers"))
        yield BookFault(str(chain[0].file), name, "", f"Not defaults of a kind of record; the kinds are {files}")
        return
    more = {"kind", "upper", "colour", "panels"} if of == "shoes" else set()
    if laid.currency is None:
        more |= {way[0] for way in sums(type_)}
    tables = [_priced(part, type_, laid) for part in chain]
    table = {field: value for field, value in merged(tables).items() if field not in more}
    for key, advice in misfits({**table, "id": name}, type_):
        if not is_missing(advice):
            yield _fault(chain, name, key, advice)
