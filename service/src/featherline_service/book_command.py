"""The command that checks a book before a service uses it, and says what changes when."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Final, get_args

from featherline.plugins import PluginError
from featherline.wire.records import Kind
from featherline_service import settings as environment
from featherline_service.app import load_shop
from featherline_service.book.faults import BookError
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable, changed

UNUSABLE: Final = 2  # the exit code


def run(environ: Mapping[str, str]) -> int:
    """Load every revision of the book that the settings name, and say which there are. Returns the exit code."""
    try:
        timetable = load_shop(environment.read(environ))
    except (environment.SettingsError, PluginError, BookError) as error:
        sys.stderr.write(f"The book cannot be used: {error}\n")
        return UNUSABLE
    sys.stdout.writelines(f"{line}\n" for line in told(timetable, datetime.now(UTC)))
    return 0


def told(timetable: Timetable, at: datetime) -> Iterator[str]:
    """Yield a line for each revision: its state at an instant, from when until when, and what it changes."""
    in_force = timetable.number_at(at.timestamp())
    for number, book in enumerate(timetable.books):
        state = "in force" if number == in_force else "superseded" if number < in_force else "to come"
        yield f"{book.revision} {state}{_times(book)}{_changed(timetable.books[number - 1] if number else None, book)}"


def _times(book: Book) -> str:
    since = "" if book.since is None else f" from {book.since:%Y-%m-%dT%H:%M:%SZ}"
    return since + ("" if book.until is None else f" until {book.until:%Y-%m-%dT%H:%M:%SZ}")


def _changed(before: Book | None, book: Book) -> str:
    if before is None:
        return ""
    return ": changes " + ", ".join(f"{kind}/{name}" for kind in get_args(Kind) for name in changed(before, book, kind))
