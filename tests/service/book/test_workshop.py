from collections.abc import Callable
from pathlib import Path
from types import MappingProxyType

import pytest
from msgspec.structs import replace

from featherline_service.book.loader import load_timetable
from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop, workshop

Shop = Callable[..., Path]
OFFCUT = 'id = "new"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = 5\nheight_mm = 40\n'
START = "valid_from = 2027-01-01T00:00:00Z\n"


def test_books_that_differ_by_prices_have_one_workshop(demo: Book) -> None:
    """The workshop is the same object for books with other prices, and it has none."""
    cheaper = replace(demo, revision="sha256:cheaper", policies=MappingProxyType({}))
    assert workshop(demo) is workshop(cheaper) is workshop(workshop(demo))
    assert ({}, {}, {}) == (workshop(demo).rates, workshop(demo).policies, workshop(demo).offcuts)
    assert workshop(demo).films is demo.films


def test_books_that_differ_at_the_press_have_workshops_of_their_own(demo: Book) -> None:
    """Where recipes may differ, the workshops do."""
    warmer = replace(demo, revision="sha256:warmer", bench=replace(demo.bench, room_c=demo.bench.room_c + 5.0))
    assert workshop(demo) is not workshop(warmer)
    assert warmer.bench is workshop(warmer).bench


def test_revisions_that_are_loaded_together_share_what_is_equal(shop: Shop) -> None:
    """Revisions of one timetable hold the same shelves where they agree, and so the same workshop."""
    before, after = load_timetable([shop({"offcuts/new.toml": OFFCUT + START})]).books
    differing = [name for name in Book.__struct_fields__ if getattr(before, name) is not getattr(after, name)]
    assert ["revision", "since", "until", "offcuts"] == differing
    assert workshop(before) is workshop(after)


def test_a_function_is_called_with_the_workshop(demo: Book) -> None:
    """Whatever else it is given, it gets the workshop of the book."""

    def room_and(book: Book, name: str, *, times: int) -> tuple[str, float, str]:
        return book.revision, book.bench.room_c, name * times

    assert ("", demo.bench.room_c, "tidetide") == by_workshop(room_and)(demo, "tide", times=2)
    with pytest.raises(KeyError):
        by_workshop(lambda book: book.rates[book.bench.rates])(demo)
