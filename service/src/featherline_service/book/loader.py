"""Loading of a shop book: the demo book, the shop's own folders and record sources laid over it, checked as a whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from importlib import resources
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Any

from msgspec.structs import replace

from featherline.plugins import Installed, PluginError, describe
from featherline.wire import records
from featherline.wire.records import Kind
from featherline_service import plugins
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.font_files import font_file
from featherline_service.book.revision import revision
from featherline_service.book.shop_book import Book, Practised
from featherline_service.book.tables.assembly import Assembled, Known, assemble
from featherline_service.book.tables.layers import Layer, laid_over, read_layer
from featherline_service.book.tables.places import located
from featherline_service.book.timetable import Timetable
from featherline_service.book.toml_records import TYPES, Entries, Entry, shelf
from featherline_service.book.validation import check
from featherline_service.plugins import NONE, Plugins


def demo_folder() -> Path:
    """Return the folder of the demo book."""
    return Path(str(resources.files("featherline_service.book") / "records"))


def load(folders: Sequence[Path] = (), in_use: Plugins = NONE, at: datetime | None = None) -> Book:
    """Load the book that is in force at an instant, as `load_timetable` does; without one, at this instant."""
    at = at or datetime.now(UTC)
    return load_timetable(folders, in_use, at).at(at)


def load_timetable(
    folders: Sequence[Path] = (), in_use: Plugins = NONE, not_before: datetime | None = None
) -> Timetable:
    """Load the demo book, lay the shop's folders and then the records of record sources over it, in order.

    The `book.toml` at the top of each folder says whether it overlays the book before it (``mode = "overlay"``: a
    record is laid over the one of its kind and id field by field, or is added), is a shop of its own (``mode = "own"``:
    nothing of the shop before it, but materials, contacts and the like) or starts from nothing (``mode = "replace"``),
    and with `valid_from` from when on. A record may have a `valid_from`, too. At each of these instants another book
    begins, unless it says the same as the one before.

    Args:
        folders: The shop's own folders, each with `<kind>/*.toml`.
        in_use: The plug-ins in use.
        not_before: Books that end at this instant or before are left out.

    Returns:
        The books, each checked: every reference leads to a record, and there is one bench. They share equal records.

    Raises:
        BookError: A book has faults; those of all are reported together, each with its line.
        PluginError: A record source fails; the message names it.
    """
    layers = read_layers(folders)
    instants = sorted({instant for layer in layers for instant in layer.instants()})
    books: list[Book] = []
    faults: dict[BookFault, BookFault] = {}
    known: Known = {}
    for start, end in pairwise([None, *instants, None]):
        if not_before is not None and end is not None and end <= not_before:
            continue
        laid = laid_over(layers, start)
        assembled = assemble(laid, known)
        for source in in_use.record_sources:
            assembled = _with_supplied(assembled, source)
        entries = dict(sorted(assembled.entries.items()))
        font_files, missing = _font_files(entries)
        # A bench may name the price policy of a plug-in.
        plugin_policies: set[tuple[Kind, str]] = {("policies", name) for name in in_use.price_policies}
        flaws = (
            *assembled.faults,
            *check(entries, assembled.broken | plugin_policies),
            *_policy_clashes(entries, in_use),
            *missing,
        )
        if not flaws and not faults:
            book = _book(entries, font_files, in_use, start, books[-1] if books else None)
            if not books or book.revision != books[-1].revision:
                books.append(book)
        is_later = bool(books or faults)
        for fault in located(flaws, laid):
            faults.setdefault(fault, _dated(fault, start) if is_later and start is not None else fault)
    if faults:
        raise BookError(tuple(faults.values()))
    return Timetable([replace(book, until=after.since) for book, after in pairwise(books)] + books[-1:])


def read_layers(folders: Sequence[Path] = ()) -> Sequence[Layer]:
    """Return the demo book and the shop's folders, as they are to be laid one over the other."""
    return [read_layer(folder) for folder in (demo_folder(), *folders)]


def with_places(faults: Iterable[BookFault], folders: Sequence[Path]) -> Sequence[BookFault]:
    """Return faults that were found in loaded records with the files and lines of these."""
    layers = read_layers(folders)
    instants = [instant for layer in layers for instant in layer.instants()]
    return tuple(located(faults, laid_over(layers, max(instants, default=None))))


def _dated(fault: BookFault, start: datetime) -> BookFault:
    """Return a fault that a book has which is to come."""
    return replace(fault, advice=f"{fault.advice} (from {start:%Y-%m-%dT%H:%M:%SZ} on)")


def _with_supplied(before: Assembled, source: Installed) -> Assembled:
    """Lay the records of a record source over those read before it."""
    book = {kind: shelf(before.entries, type_) for kind, type_ in TYPES.items()}
    name, supplied = describe(source.plugin), plugins.supply(source, MappingProxyType(book))
    other = before.entries.get(("sources", supplied.source.id))
    if other is not None and other.record != supplied.source:
        raise PluginError(f"{name} names its source {supplied.source.id!r}, as {other.file} does: give it another id")
    of = Path(name)
    kinds = {type_: kind for kind, type_ in TYPES.items()}
    added = {(kinds[type(record)], record.id): Entry(record, of, of) for record in (supplied.source, *supplied.records)}
    return Assembled({**before.entries, **added}, before.broken - added.keys(), before.faults)


def _policy_clashes(entries: Entries, in_use: Plugins) -> Iterator[BookFault]:
    """Yield the price policies of a book that a plug-in's policy has the id of."""
    for name, policy in in_use.price_policies.items():
        if ("policies", name) in entries:
            advice = f"{describe(policy.plugin)} has this name: give the policy another id, or leave the plug-in out"
            yield BookFault(str(entries["policies", name].file), name, "id", advice)


def _font_files(entries: Entries) -> tuple[Mapping[str, Path], Sequence[BookFault]]:
    """Return the fonts' files by the font's id, and the faults of those that cannot be found."""
    files: dict[str, Path] = {}
    faults = []
    for (_, name), entry in entries.items():
        if isinstance(entry.record, records.Font):
            try:
                files[name] = font_file(entry.record, entry.folder)
            except (FileNotFoundError, ValueError) as error:
                faults.append(BookFault(str(entry.file), name, "file", str(error)))
    return MappingProxyType(files), faults


def _book(
    entries: Entries, font_files: Mapping[str, Path], in_use: Plugins, since: datetime | None, before: Book | None
) -> Book:
    """Return the book of checked records; it shares the shelves of the book before it that are equal."""
    (bench,) = shelf(entries, records.Bench).values()
    shelves: dict[str, Any] = {kind: shelf(entries, type_) for kind, type_ in TYPES.items() if kind != "benches"}
    practices = MappingProxyType(
        {
            f"{film.id}/{statement.id}": Practised(film.id, statement)
            for film in shelves["films"].values()
            for statement in film.practices
        }
    )
    parts = {**shelves, "practices": practices, "bench": bench, "font_files": font_files}
    if before is not None:
        shared = {name: getattr(before, name) for name in parts}
        parts = {name: shared[name] if shared[name] == part else part for name, part in parts.items()}
    return Book(
        revision=revision({key: entry.record for key, entry in entries.items()}, font_files, in_use.listed),
        since=since,
        plugins=in_use,
        **parts,
    )
