"""Loading a shop book: the demo book, then the shop's own folders over it, checked as a whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Final, TypeVar, get_args

from iso4217 import Currency as IsoCurrency

from featherline.wire import records
from featherline.wire.records import Kind, Record
from featherline.wire.shoes import Label
from featherline_service.book.consistency import inconsistencies
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.reading import Entry, Reading, read_folder, read_mode
from featherline_service.book.references import dangling, uncoloured
from featherline_service.book.revision import revision
from featherline_service.book.shelves import Book
from featherline_service.book.typefaces import font_file
from featherline_service.book.walking import walk

AnyRecord = TypeVar("AnyRecord", bound=Record)
Entries = Mapping[tuple[Kind, str], Entry]

_CURRENCIES: Final = frozenset(currency.code for currency in IsoCurrency if currency.exponent is not None)
"""ISO 4217 codes that have a minor unit: not the codes for metals, for testing and for no currency."""


def demo_folder() -> Path:
    """Return the folder of the demo book."""
    return Path(str(resources.files("featherline_service.book") / "records"))


def load(folders: Sequence[Path] = ()) -> Book:
    """Load the demo book and the shop's folders over it, in order.

    The `book.toml` at the top of each folder says whether it replaces the book before it (``mode = "replace"``) or
    overlays it (``mode = "overlay"``: a record takes the place of the one of its kind and id, or is added).

    Args:
        folders: The shop's own folders, with `<kind>/*.toml` in each.

    Returns:
        The book, checked: every reference leads to a record, and there is one bench.

    Raises:
        BookError: The book has faults; all are told together.
    """
    reading = read_folder(demo_folder())
    for folder in folders:
        reading = _over(reading, folder)
    entries = dict(sorted(reading.entries.items()))
    font_files: dict[str, Path] = {}
    faults = [*reading.faults, *_faults(entries, reading.broken), *_fill(font_files, entries)]
    if faults:
        raise BookError(faults)
    return _book(entries, font_files)


def _over(before: Reading, folder: Path) -> Reading:
    """Lay a folder over what was read before, or put it in its place, as its `book.toml` says."""
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


def _faults(entries: Entries, broken: frozenset[tuple[Kind, str]]) -> Iterator[BookFault]:
    """Yield what is wrong within and between records. A broken record counts as there: its fault is told already."""
    named = entries.keys() | broken
    films = _shelf(entries, records.Film)
    for (kind, name), entry in entries.items():
        found = [*inconsistencies(kind, entry.record), *dangling(kind, entry.record, named)]
        if isinstance(entry.record, records.Offcut):
            found += uncoloured(entry.record, films)
        yield from (BookFault(str(entry.file), name, key, advice) for key, advice in found)
    yield from _of_currency(entries)
    yield from _of_contacts(entries)
    yield from _of_number(named)


def _of_currency(entries: Entries) -> Iterator[BookFault]:
    """Yield sums whose currency is none, or is not that of the bench's rates: sums are added up, never converted."""
    rates = _shelf(entries, records.Rates)
    benches = _shelf(entries, records.Bench).values()
    shop = next((rates[bench.rates].currency for bench in benches if bench.rates in rates), None)
    for (_, name), entry in entries.items():
        for key, value in walk(entry.record):
            if key == "currency" or key.endswith(".currency"):
                if value not in _CURRENCIES:
                    advice = f"{value} is no currency in use; give its ISO 4217 code, such as 'EUR'"
                elif shop is not None and value != shop:
                    advice = f"{value} is not {shop}, in which the bench's rates are; give all sums in one currency"
                else:
                    continue
                yield BookFault(str(entry.file), name, key, advice)


def _of_contacts(entries: Entries) -> Iterator[BookFault]:
    """Yield contacts between two faces that another contact is for already."""
    seen: dict[tuple[str, str], str] = {}
    for (_, name), entry in entries.items():
        if isinstance(entry.record, records.Contact):
            faces = (entry.record.above, entry.record.below)
            if faces in seen:
                advice = f"{seen[faces]} is the contact of {faces[0]} over {faces[1]} already; keep one"
                yield BookFault(str(entry.file), name, "below", advice)
            seen[faces] = name


def _of_number(named: frozenset[tuple[Kind, str]] | set[tuple[Kind, str]]) -> Iterator[BookFault]:
    """Yield what a book must hold and does not."""
    benches = sorted(name for kind, name in named if kind == "benches")
    if len(benches) != 1:
        there = " and ".join(benches) or "none"
        yield BookFault("benches", "", "", f"A book has one bench, here: {there}; keep one, or give both the same id")
    for label in get_args(get_args(Label)[0]):
        if ("labels", label) not in named:
            yield BookFault("labels", label, "", "Missing; say which uppers the label may stand for")


def _fill(font_files: dict[str, Path], entries: Entries) -> Iterator[BookFault]:
    """Fill in where every font's file is, and yield those that are not there."""
    for (_, name), entry in entries.items():
        if isinstance(entry.record, records.Font):
            try:
                font_files[name] = font_file(entry.record, entry.folder)
            except (FileNotFoundError, ValueError) as error:
                yield BookFault(str(entry.file), name, "file", str(error))


def _shelf(entries: Entries, type_: type[AnyRecord]) -> Mapping[str, AnyRecord]:
    """Return the records of one type by id."""
    return MappingProxyType(
        {name: entry.record for (_, name), entry in entries.items() if isinstance(entry.record, type_)}
    )


def _book(entries: Entries, font_files: Mapping[str, Path]) -> Book:
    """Put checked records on their shelves."""
    (bench,) = _shelf(entries, records.Bench).values()
    return Book(
        revision=revision({key: entry.record for key, entry in entries.items()}, font_files),
        bench=bench,
        sources=_shelf(entries, records.Source),
        materials=_shelf(entries, records.Material),
        contacts=_shelf(entries, records.Contact),
        uppers=_shelf(entries, records.Upper),
        labels=_shelf(entries, records.LabelledUppers),
        films=_shelf(entries, records.Film),
        covers=_shelf(entries, records.Cover),
        pads=_shelf(entries, records.Pad),
        platens=_shelf(entries, records.Platen),
        presses=_shelf(entries, records.Press),
        cutters=_shelf(entries, records.Cutter),
        fonts=_shelf(entries, records.Font),
        font_files=MappingProxyType(dict(font_files)),
        shoes=_shelf(entries, records.ShoeModel),
        offcuts=_shelf(entries, records.Offcut),
        rates=_shelf(entries, records.Rates),
        policies=_shelf(entries, records.Policy),
    )
