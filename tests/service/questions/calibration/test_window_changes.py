"""Windows of the book's shoes before and after readings."""

from __future__ import annotations

import pytest

from featherline_service.book.shop_book import Book
from featherline_service.questions.calibration import window_changes
from featherline_service.questions.calibration.window_changes import comparison


def test_every_upper_that_bonds_is_compared_once(book: Book) -> None:
    """One panel stands for all of an upper, and those that the film does not bond to are left out."""
    film = book.films["smooth"]
    compared = comparison(book, film, book.presses["swing"], "silicone-thin")
    uppers = [job.upper.id for job in compared.jobs]
    marked = {panel.upper for shoe in book.shoes.values() for panel in shoe.panels}
    assert sorted(upper for upper in marked if book.uppers[upper].surface in film.bonds_to) == sorted(uppers)
    for (shoe, panel), upper in zip(compared.places, uppers, strict=True):
        assert upper in [one.upper for one in book.shoes[shoe].panels if one.id == panel]
    assert 0 == compared.left_out


def test_beyond_some_they_are_counted(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """A large book does not make a long answer."""
    every = len(comparison(book, book.films["smooth"], book.presses["swing"], "silicone-thin").jobs)
    monkeypatch.setattr(window_changes, "_MOST", 3)
    compared = comparison(book, book.films["smooth"], book.presses["swing"], "silicone-thin")
    assert (3, 3, every - 3) == (len(compared.jobs), len(compared.places), compared.left_out)
