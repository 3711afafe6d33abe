"""Stacks solved where readings put their properties."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from pressed_stacks import job_on, pressed

from featherline_service.book.shop_book import Book
from featherline_service.heat.pressing import Pressed, PressingResponse, pressing_responses
from featherline_service.questions.recipe.evidence import solved
from featherline_service.questions.recipe.evidence.sightings import Reading
from featherline_service.questions.recipe.evidence.solved import beside, followed, reference, solve
from featherline_service.runtime import cache

READING = Reading("bond line", 20.0, 120.0, 120.0, 1.0, "probe", 1.5)


def test_outcomes_and_presses_do_not_solve_anew(book: Book) -> None:
    """A stack is solved once for every press, whatever was seen of films and uppers."""
    plain, job = followed(book, job_on(book), "paper"), job_on(book)
    seen = (pressed(book, bond="holds", looks="unchanged"),)
    assert plain is followed(book, job._replace(press="clam", sightings=seen), "paper")
    assert reference(book, "smooth") is reference(book, "smooth", seen)


def test_readings_do(book: Book) -> None:
    """A bond line read colder than expected is solved colder, in the same stack under another cover too."""
    colder = (pressed(book)._replace(readings=(READING,)),)
    for cover in ("silicone-thin", "paper"):
        (_, plain), (_, found) = (
            followed(book, job_on(book)._replace(sightings=sightings), cover) for sightings in ((), colder)
        )
        assert bool((found.bond[10:] < plain.bond[10:]).all())
    read_c = book.bench.room_c + (160.0 - book.bench.room_c) * np.interp(
        20.0,
        np.linspace(0.0, 1.0, 81) ** 2 * 120.0,
        followed(book, job_on(book)._replace(sightings=colder), "silicone-thin")[1].bond,
    )
    assert pytest.approx(120.0, abs=6.0) == read_c


def test_beside_the_film_for_all_films_together(book: Book) -> None:
    """The stack beside the film is the same whichever film is pressed."""
    upper = book.uppers["suede"]
    smooth, stretch = (beside(book, upper, job_on(book, "suede", film), "paper") for film in ("smooth", "stretch"))
    assert smooth is stretch


def test_stacks_under_several_covers_are_solved_in_one_computation(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Under the film and beside it; each is known by itself afterwards, the same as one that is solved alone."""
    counts: list[int] = []

    def counted(stacks: Sequence[Pressed]) -> list[PressingResponse]:
        counts.append(len(stacks))
        return pressing_responses(stacks)

    alone = followed(book, job_on(book), "paper")[1]
    cache.clear()
    monkeypatch.setattr(solved, "pressing_responses", counted)
    solve(book, [(job_on(book), cover) for cover in ("paper", "silicone-thin", None)])
    again = followed(book, job_on(book), "paper")[1]
    beside(book, job_on(book).upper, job_on(book), "silicone-thin")
    assert [5] == counts
    assert (True, True) == (
        bool((alone.bond == again.bond).all()),
        bool((alone.peak_slopes == again.peak_slopes).all()),
    )
