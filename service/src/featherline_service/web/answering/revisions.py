"""Revisions of the book: which of them answers a request, chosen once, by the clock or by what the request names.

Everything below computes by the book that was chosen. A request may name the revision in force, or one superseded no
longer ago than seals are valid: so a cart keeps its prices as long as a price that was sealed at the last moment.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from itertools import pairwise
from typing import Final

from litestar.types import Scope

from featherline.wire.book import BookRevision, BookState
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable, changed, changes
from featherline_service.web.http.context import context_of, header
from featherline_service.web.http.problems import NO_SUCH_REVISION, ProblemError

FIELD: Final = "Book-Revision"
UNTIL_FIELD: Final = "Book-Until"
VARY: Final = f"Accept-Encoding, {FIELD}"
_NAME: Final = FIELD.lower().encode()
_REVISION: Final = re.compile("sha256:[0-9a-f]{64}")


class Revisions:
    """The books of a service, by their numbers in the order of time, and which of them a request may have."""

    def __init__(self, timetable: Timetable, pinned: timedelta, clock: Callable[[], float] = time.time) -> None:
        """Let requests name a revision for the time `pinned` after it was superseded; `clock` counts from 1970."""
        self._timetable = timetable
        self._pinned = pinned
        self._clock = clock
        self._fields = tuple(map(_fields, timetable.books))
        self._changes = ((), *(tuple(changes(*both)) for both in pairwise(timetable.books)))
        self._observations = ((), *(changed(*both, "observations") for both in pairwise(timetable.books)))

    @property
    def books(self) -> tuple[Book, ...]:
        """All books, in the order of time."""
        return self._timetable.books

    def number(self) -> int:
        """Return the number of the book that is in force now."""
        return self._timetable.number_at(self._clock())

    def in_force(self) -> Book:
        """Return the book that is in force now."""
        return self.books[self.number()]

    def choose(self, scope: Scope) -> Book:
        """Choose the book that answers a request: its context has the number, and its answer names the revision.

        Raises:
            ProblemError: The request names a revision that it cannot have; the problem says what to do.
        """
        number, pin = self.number(), header(scope, _NAME)
        if pin is not None:
            number = self._find(pin, number)
        context = context_of(scope)
        context.book = number
        context.response_headers = (*context.response_headers, *self._fields[number])
        return self.books[number]

    def known(self) -> tuple[BookRevision, ...]:
        """Return all revisions, as `/v1/book` tells of them."""
        now = self.number()
        return tuple(
            BookRevision(
                revision=book.revision,
                state=_state(number, now),
                since=book.since,
                until=book.until,
                pinned_until=self._pinned_until(book),
                changes=self._changes[number],
                observations=self._observations[number],
            )
            for number, book in enumerate(self.books)
        )

    def to_come(self) -> tuple[Book, ...]:
        """Return the books that are to come."""
        return self.books[self.number() + 1 :]

    def _pinned_until(self, book: Book) -> datetime | None:
        return None if book.until is None else book.until + self._pinned

    def _find(self, pin: str, now: int) -> int:
        """Return the number of the revision that a request names: of several alike, the last one up to now."""
        numbers = [number for number, book in enumerate(self.books) if book.revision == pin]
        if not numbers:
            told = f"This service has no revision {pin}" if _REVISION.fullmatch(pin) else f"{FIELD} names no revision"
            raise _gone(told)
        past = [number for number in numbers if number <= now]
        if not past:
            raise _gone(f"The revision {pin} is in force from {_said(self.books[numbers[0]].since)} on, not before")
        until = self._pinned_until(self.books[past[-1]])
        if until is not None and until.timestamp() <= self._clock():
            raise _gone(f"The revision {pin} is superseded, and could be named until {_said(until)}")
        return past[-1]


def _state(number: int, now: int) -> BookState:
    if number == now:
        return "in-force"
    return "superseded" if number < now else "to-come"


def _said(instant: datetime | None) -> str:
    return "the start" if instant is None else f"{instant:%Y-%m-%dT%H:%M:%SZ}"


def _gone(why: str) -> ProblemError:
    return ProblemError(
        NO_SUCH_REVISION,
        f"{why}. Ask again without {FIELD}: the answer is by the revision in force, which it names in `book`; tell the "
        "customer if a price has changed. GET /v1/book lists the revisions that a request may name.",
    )


def _fields(book: Book) -> tuple[tuple[bytes, bytes], ...]:
    """Return the header fields that tell of a book."""
    revision = (FIELD.encode(), book.revision.encode())
    if book.until is None:
        return (revision,)
    return revision, (UNTIL_FIELD.encode(), format_datetime(book.until.astimezone(UTC), usegmt=True).encode())
