"""Which book answers a request: the one in force, or the one that the request names."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import cast

import pytest
from litestar.types import Scope
from msgspec.structs import replace

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable
from featherline_service.web.answering.revisions import Revisions
from featherline_service.web.http.context import context_of
from featherline_service.web.http.problems import NO_SUCH_REVISION, ProblemError

NEW_YEAR = datetime(2027, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
WINTER, SPRING, SUMMER = (f"sha256:{season:064x}" for season in (1, 2, 3))


class Shop:
    """Revisions of a shop whose prices change on the days 10 and 20, and return on day 30, with a clock to set."""

    def __init__(self) -> None:
        demo, days = load(), [None, *(NEW_YEAR + day * DAY for day in (10, 20, 30)), None]
        books = [
            replace(demo, revision=revision, since=since, until=until)
            for revision, since, until in zip((WINTER, SPRING, SUMMER, WINTER), days, days[1:], strict=False)
        ]
        self.day = 0.0
        self.revisions = Revisions(Timetable(books), 15 * DAY, self.seconds)

    def seconds(self) -> float:
        """Return what the clock says."""
        return (NEW_YEAR + self.day * DAY).timestamp()

    def asked(self, pin: str | None = None) -> tuple[Book, Scope]:
        """Ask, with or without the name of a revision; return the book chosen and the request's scope."""
        headers = [] if pin is None else [(b"book-revision", pin.encode())]
        scope = cast("Scope", {"type": "http", "headers": headers})
        return self.revisions.choose(scope), scope

    def refused(self, pin: str) -> str:
        """Ask for a revision that is refused; return why."""
        with pytest.raises(ProblemError) as told:
            self.asked(pin)
        assert NO_SUCH_REVISION is told.value.kind
        assert "Ask again without Book-Revision" in told.value.detail
        return told.value.detail


@pytest.fixture
def shop() -> Shop:
    """Return the shop."""
    return Shop()


@pytest.mark.parametrize(
    ("day", "number", "fields"),
    [
        (9.99, 0, {b"Book-Revision": WINTER.encode(), b"Book-Until": b"Mon, 11 Jan 2027 00:00:00 GMT"}),
        (10.0, 1, {b"Book-Revision": SPRING.encode(), b"Book-Until": b"Thu, 21 Jan 2027 00:00:00 GMT"}),
        (30.0, 3, {b"Book-Revision": WINTER.encode()}),
    ],
)
def test_the_clock_chooses(shop: Shop, day: float, number: int, fields: dict[bytes, bytes]) -> None:
    """The book in force answers; the request's context has its number, and its answer names it and its end."""
    shop.day = day
    book, scope = shop.asked()
    assert (number, shop.revisions.books[number]) == (context_of(scope).book, book)
    assert fields == dict(context_of(scope).response_headers)
    assert book is shop.revisions.in_force()
    assert shop.revisions.books[number + 1 :] == shop.revisions.to_come()


def test_a_request_may_name_a_revision(shop: Shop) -> None:
    """A revision that was in force answers for fifteen days more, whatever came after it; then it is gone."""
    shop.day = 24.99
    assert (WINTER, SPRING, SUMMER) == tuple(shop.asked(pin)[0].revision for pin in (WINTER, SPRING, SUMMER))
    assert 0 == context_of(shop.asked(WINTER)[1]).book
    shop.day = 25.0
    assert "is superseded, and could be named until 2027-01-26T00:00:00Z" in shop.refused(WINTER)


def test_a_revision_that_comes_back_is_in_force(shop: Shop) -> None:
    """Of two books with one revision the last one up to now answers."""
    shop.day = 31.0
    book, scope = shop.asked(WINTER)
    assert (3, None) == (context_of(scope).book, book.until)


def test_a_revision_to_come_is_refused(shop: Shop) -> None:
    """Nobody gets a price before its time; the problem says when that is."""
    assert f"The revision {SPRING} is in force from 2027-01-11T00:00:00Z on, not before" in shop.refused(SPRING)


@pytest.mark.parametrize(
    ("pin", "why"),
    [
        (f"sha256:{9:064x}", f"This service has no revision sha256:{9:064x}."),
        ("", "Book-Revision names no revision."),
        (f"{WINTER}, {WINTER}", "Book-Revision names no revision."),
        (WINTER.upper(), "Book-Revision names no revision."),
    ],
)
def test_what_is_no_revision_is_refused(shop: Shop, pin: str, why: str) -> None:
    """A revision that no book has, and a text that is none, which is not repeated."""
    assert shop.refused(pin).startswith(why)


def test_all_revisions_are_told(shop: Shop) -> None:
    """Each with its state, its times and until when it may be named; what changes is told by ids."""
    shop.day = 12.0
    known = shop.revisions.known()
    assert ["superseded", "in-force", "to-come", "to-come"] == [each.state for each in known]
    assert [25, 35, 45, None] == [each.pinned_until and (each.pinned_until - NEW_YEAR).days for each in known]
    assert [(), (), (), ()] == [each.changes for each in known]
    assert [(), (), (), ()] == [each.observations for each in known]
    assert [(each.since, each.until) for each in known] == [(book.since, book.until) for book in shop.revisions.books]
