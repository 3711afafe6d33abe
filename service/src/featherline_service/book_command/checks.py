"""What a book has to be told of: all its faults, what changes when, and what in it is not the shop's own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from typing import Final, get_args

from featherline.wire.records import Kind
from featherline_service.book.loader import demo_folder
from featherline_service.book.shop_book import Book
from featherline_service.book.tables.money import sums
from featherline_service.book.timetable import Timetable, changed
from featherline_service.book.toml_records import Entry
from featherline_service.book_command.opened_books import OpenedBook

GUESSES: Final = frozenset({"class-default", "guess"})
"""The sources of values that somebody guessed for want of better."""
_MOST: Final = 6


def revisions(timetable: Timetable, at: datetime) -> Iterator[str]:
    """Yield a line for each revision: its state at an instant, from when until when, and what it changes."""
    in_force = timetable.number_at(at.timestamp())
    for number, book in enumerate(timetable.books):
        state = "in force" if number == in_force else "superseded" if number < in_force else "to come"
        yield f"{book.revision} {state}{_times(book)}{_changed(timetable.books[number - 1] if number else None, book)}"


def notes(opened: OpenedBook) -> Iterator[str]:
    """Yield what an owner may want to change: amounts from a book in another currency, and values that are guesses."""
    converted = sorted(
        f"{kind}/{name}" for (kind, name), entry in opened.entries.items() if _has_foreign_sums(opened, entry)
    )
    if converted:
        yield (
            f"Note: amounts of the book before count in {opened.laid.currency} as they stand: {_some(converted)}. "
            f"Give your own: the `id` and the sum, in a file such as {converted[0]}.toml."
        )
    guessed = Counter(
        kind
        for (kind, _), entry in opened.entries.items()
        if any(cite.source in GUESSES for cite in getattr(entry.record, "cites", ())) and _is_own(entry)
    )
    if guessed:
        by_kind = ", ".join(f"{count} of {kind}" for kind, count in guessed.items())
        yield f"Note: records with values that are guesses: {by_kind}. `book explain KIND/ID` says what they matter."


def _has_foreign_sums(opened: OpenedBook, entry: Entry) -> bool:
    """Tell whether a record has a sum that is from before the book's currency was changed, in another currency."""
    ways = sums(type(entry.record))
    return any(
        part in opened.laid.in_another and (sum_ := _at(part.table, way)) is not None and _differs(sum_, opened)
        for part in entry.parts
        for way in ways
        if not any(_at(later.table, way) is not None for later in entry.parts[entry.parts.index(part) + 1 :])
    )


def _differs(value: object, opened: OpenedBook) -> bool:
    return isinstance(value, dict) and value.get("currency") != opened.laid.currency


def _at(table: object, way: tuple[str, ...]) -> object:
    for name in way:
        table = table.get(name) if isinstance(table, dict) else None
    return table


def _is_own(entry: Entry) -> bool:
    """Tell whether a folder of the shop says something of a record."""
    return entry.folder != demo_folder()


def _some(names: list[str]) -> str:
    more = len(names) - _MOST
    return ", ".join(names[:_MOST]) + (f" and {more} more" if more > 0 else "")


def _times(book: Book) -> str:
    since = "" if book.since is None else f" from {book.since:%Y-%m-%dT%H:%M:%SZ}"
    return since + ("" if book.until is None else f" until {book.until:%Y-%m-%dT%H:%M:%SZ}")


def _changed(before: Book | None, book: Book) -> str:
    if before is None:
        return ""
    return ": changes " + ", ".join(f"{kind}/{name}" for kind in get_args(Kind) for name in changed(before, book, kind))
