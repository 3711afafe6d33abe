"""The settings that are tried for a recipe: temperatures, stacks over and beside old marks, the best first."""

from __future__ import annotations

import itertools

import pytest

from featherline.wire.recipes import OldMark
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.recipe_settings import best_of, jobs_of, ranked, temperatures_in_range
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.shoes.old_marks import marked_upper


def task(book: Book, film: str = "smooth", upper: str = "leather-lined", *marks: OldMark) -> RecipeTask:
    """Return the task to press a film on an upper with films on it already."""
    platen = book.presses["swing"].platens[0]
    covers = tuple(book.covers)
    return RecipeTask(film, (book.uppers[upper],), "swing", platen, covers, "metric", old_marks=marks)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_the_ends_of_a_films_range_are_tried(book: Book, units: str) -> None:
    """However few temperatures are tried, the coolest and the hottest that the press can be set to are among them."""
    wide = 0
    for film, press in itertools.product(book.films.values(), book.presses.values()):
        there, some = (temperatures_in_range(film, press, units, most) for most in (1000, 3))  # type: ignore[arg-type]
        assert min(3, len(there)) == len(some)
        assert there[:1] + there[-1:] == some[:1] + some[-1:]
        wide += len(there) > len(some)
    assert wide


def test_a_film_goes_on_an_old_mark_or_beside_it(book: Book) -> None:
    """Over an old mark the stack has its layers; beside it the stack is the upper, and both must stand the heat."""
    upper = book.uppers["leather-lined"]
    marked = marked_upper(book, upper, "smooth")
    (over,), (beside,), (plain,) = (
        jobs_of(book, task(book, "smooth", "leather-lined", *marks), "medium")
        for marks in ((OldMark(film="smooth", under=True),), (OldMark(film="smooth"),), ())
    )

    assert [(marked, (upper, marked)), (upper, (upper, marked)), (upper, ())] == [
        (job.upper, job.beside) for job in (over, beside, plain)
    ]


def test_the_best_setting_counts_though_others_have_no_dwell(book: Book) -> None:
    """Where one setting has a dwell and the others have none, that one is the best."""
    asked = task(book, "stretch", "polypropylene")
    first, *others = ranked(book, asked)

    assert first.dwell_s is not None
    assert others[-1].dwell_s is None
    assert first == best_of(book, asked)
