"""Loading of a shop book: the demo book, the shop's own folders and record sources laid over it, checked as a whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any

from featherline.plugins import Installed, PluginError, describe
from featherline.wire import records
from featherline.wire.records import Kind
from featherline_service import plugins
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.font_files import font_file
from featherline_service.book.revision import revision
from featherline_service.book.shop_book import Book, Practised
from featherline_service.book.toml_records import TYPES, Entries, Entry, Reading, read_folder, read_mode, shelf
from featherline_service.book.validation import check
from featherline_service.plugins import NONE, Plugins


def demo_folder() -> Path:
    """Return the folder of the demo book."""
    return Path(str(resources.files("featherline_service.book") / "records"))


def load(folders: Sequence[Path] = (), in_use: Plugins = NONE) -> Book:
    """Load the demo book, lay the shop's folders and then the records of record sources over it, in order.

    The `book.toml` at the top of each folder says whether it replaces the book before it (``mode = "replace"``) or
    overlays it (``mode = "overlay"``: a record takes the place of the one of its kind and id, or is added).

    Args:
        folders: The shop's own folders, each with `<kind>/*.toml`.
        in_use: The plug-ins in use.

    Returns:
        The book, checked: every reference leads to a record, and there is one bench.

    Raises:
        BookError: The book has faults; all are reported together.
        PluginError: A record source fails; the message names it.
    """
    reading = read_folder(demo_folder())
    for folder in folders:
        reading = _overlaid(reading, folder)
    for source in in_use.record_sources:
        reading = _with_supplied(reading, source)
    entries = dict(sorted(reading.entries.items()))
    font_files, missing = _font_files(entries)
    # A bench may name the price policy of a plug-in.
    plugin_policies: set[tuple[Kind, str]] = {("policies", name) for name in in_use.price_policies}
    faults = (
        *reading.faults,
        *check(entries, reading.broken | plugin_policies),
        *_policy_clashes(entries, in_use),
        *missing,
    )
    if faults:
        raise BookError(faults)
    return _book(entries, font_files, in_use)


def _overlaid(before: Reading, folder: Path) -> Reading:
    """Lay a folder over the records read before it, or replace them, as its `book.toml` says."""
    mode = read_mode(folder)
    reading = read_folder(folder)
    if mode == "replace":
        return reading
    unclear = (mode,) if isinstance(mode, BookFault) else ()
    return Reading(
        {**before.entries, **reading.entries},
        before.broken | reading.broken,
        (*before.faults, *unclear, *reading.faults),
    )


def _with_supplied(before: Reading, source: Installed) -> Reading:
    """Lay the records of a record source over those read before it."""
    book = {kind: shelf(before.entries, type_) for kind, type_ in TYPES.items()}
    name, supplied = describe(source.plugin), plugins.supply(source, MappingProxyType(book))
    other = before.entries.get(("sources", supplied.source.id))
    if other is not None and other.record != supplied.source:
        raise PluginError(f"{name} names its source {supplied.source.id!r}, as {other.file} does: give it another id")
    of = Path(name)
    kinds = {type_: kind for kind, type_ in TYPES.items()}
    added = {(kinds[type(record)], record.id): Entry(record, of, of) for record in (supplied.source, *supplied.records)}
    return Reading({**before.entries, **added}, before.broken - added.keys(), before.faults)


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


def _book(entries: Entries, font_files: Mapping[str, Path], in_use: Plugins) -> Book:
    """Return the book of checked records."""
    (bench,) = shelf(entries, records.Bench).values()
    shelves: dict[str, Any] = {kind: shelf(entries, type_) for kind, type_ in TYPES.items() if kind != "benches"}
    return Book(
        revision=revision({key: entry.record for key, entry in entries.items()}, font_files, in_use.listed),
        bench=bench,
        font_files=font_files,
        practices=MappingProxyType(
            {
                f"{film.id}/{statement.id}": Practised(film.id, statement)
                for film in shelves["films"].values()
                for statement in film.practices
            }
        ),
        **shelves,
        plugins=in_use,
    )
