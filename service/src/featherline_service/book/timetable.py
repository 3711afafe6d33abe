"""The timetable of a shop's books: which of them is in force at an instant."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import get_args

from featherline.wire.book import Shelf
from featherline.wire.records import Kind, Record, ShelfKind
from featherline_service.book.shop_book import Book


class Timetable:
    """A shop's books in the order of time, one after the other without a gap; each is complete.

    The first is also in force before its `since`, the last has no `until`. Of several books one after another no two
    have the same revision; a revision may come again later, where a change is taken back.
    """

    def __init__(self, books: Sequence[Book]) -> None:
        self.books = tuple(books)
        self._changes_s = [book.since.timestamp() for book in self.books[1:] if book.since is not None]
        if len(self._changes_s) != len(self.books) - 1 or self._changes_s != sorted(set(self._changes_s)):
            raise ValueError("Every book but the first needs a `since`, later than that of the book before it")

    def number_at(self, seconds: float) -> int:
        """Return the index of the book that is in force at an instant, in seconds since 1970."""
        return bisect_right(self._changes_s, seconds)

    def at(self, instant: datetime) -> Book:
        """Return the book that is in force at an instant."""
        return self.books[self.number_at(instant.timestamp())]


def records_of(book: Book, kind: Kind) -> dict[str, Record]:
    """Return the records of one kind by their ids."""
    return {book.bench.id: book.bench} if kind == "benches" else dict(getattr(book, kind))


def changes(before: Book, after: Book) -> Iterator[Shelf]:
    """Yield the kinds and ids of the records in which two books differ, but for observations."""
    for kind in get_args(ShelfKind):
        if ids := changed(before, after, kind):
            yield Shelf(kind=kind, ids=ids)


def changed(before: Book, after: Book, kind: Kind) -> tuple[str, ...]:
    """Return the ids of one kind in which two books differ: added, taken away or changed."""
    old, new = records_of(before, kind), records_of(after, kind)
    return tuple(sorted(name for name in old.keys() | new.keys() if old.get(name) != new.get(name)))
