"""Loading a shop book: the demo book, then the shop's own folders over it, checked as a whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib import resources
from pathlib import Path
from types import MappingProxyType

from featherline.wire import records
from featherline_service.book.checking import check
from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.reading import Entries, Reading, read_folder, read_mode, shelf
from featherline_service.book.revision import revision
from featherline_service.book.shelves import Book
from featherline_service.book.typefaces import font_file


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
    font_files, missing = _font_files(entries)
    faults = (*reading.faults, *check(entries, reading.broken), *missing)
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


def _font_files(entries: Entries) -> tuple[Mapping[str, Path], Sequence[BookFault]]:
    """Return where the fonts' files are, by the font's id, and the faults of those that are not there."""
    files: dict[str, Path] = {}
    faults = []
    for (_, name), entry in entries.items():
        if isinstance(entry.record, records.Font):
            try:
                files[name] = font_file(entry.record, entry.folder)
            except (FileNotFoundError, ValueError) as error:
                faults.append(BookFault(str(entry.file), name, "file", str(error)))
    return MappingProxyType(files), faults


def _book(entries: Entries, font_files: Mapping[str, Path]) -> Book:
    """Put checked records on their shelves."""
    (bench,) = shelf(entries, records.Bench).values()
    return Book(
        revision=revision({key: entry.record for key, entry in entries.items()}, font_files),
        bench=bench,
        sources=shelf(entries, records.Source),
        materials=shelf(entries, records.Material),
        contacts=shelf(entries, records.Contact),
        uppers=shelf(entries, records.Upper),
        labels=shelf(entries, records.LabelledUppers),
        films=shelf(entries, records.Film),
        covers=shelf(entries, records.Cover),
        pads=shelf(entries, records.Pad),
        platens=shelf(entries, records.Platen),
        presses=shelf(entries, records.Press),
        cutters=shelf(entries, records.Cutter),
        fonts=shelf(entries, records.Font),
        font_files=font_files,
        shoes=shelf(entries, records.ShoeModel),
        offcuts=shelf(entries, records.Offcut),
        rates=shelf(entries, records.Rates),
        policies=shelf(entries, records.Policy),
    )
