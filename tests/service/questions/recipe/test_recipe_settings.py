"""The settings that are tried for a recipe: temperatures, stacks over and beside old marks, the best first."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from msgspec.structs import replace

from featherline.wire.recipes import OldMark
from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe import recipe_settings
from featherline_service.questions.recipe.recipe_settings import (
    best_of,
    jobs_of,
    levels_of,
    ranked,
    settable,
    temperatures_in_range,
)
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, candidates, sureness
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


def test_a_press_is_set_in_the_steps_of_its_scale(book: Book) -> None:
    """From 150 to 160 degC: 3 steps of 5 degC on a clam, and on its other scale 305 to 320 degF in steps of 5 degF."""
    clam = replace(book.presses["clam"], step_c=5.0, step_f=5.0)

    assert (150.0, 155.0, 160.0) == settable(clam, 150.0, 160.0, "metric")
    assert pytest.approx((305.0, 310.0, 315.0, 320.0)) == [
        each * 1.8 + 32.0 for each in settable(clam, 150.0, 160.0, "us")
    ]
    assert 11 == len(settable(replace(clam, step_c=1.0), 150.0, 160.0, "metric"))
    assert 19 == len(settable(replace(clam, step_f=1.0), 150.0, 160.0, "us"))


def test_a_limit_that_is_a_step_of_the_other_scale_is_reached(book: Book) -> None:
    """A film of 148.89 to 162.78 degC, which is 300 to 325 degF in two decimals, is pressed at 300 and at 325 degF."""
    there = settable(book.presses["swing"], 148.88889, 162.77777, "us")

    assert pytest.approx((300.0, 325.0)) == (there[0] * 1.8 + 32.0, there[-1] * 1.8 + 32.0)


def test_all_levels_that_the_maker_allows_may_be_tried(book: Book) -> None:
    """The published level first; a chosen one alone."""
    film = book.films["smooth"]

    assert ("medium", "firm") == levels_of(film, task(book))
    assert ("firm",) == levels_of(film, task(book)._replace(pressure="firm"))


def test_another_level_is_tried_only_where_the_published_one_is_not_sure(book: Book) -> None:
    """On lined leather medium pressure is sure; with 11 K kept from every limit it is not, and firm is tried too."""
    levels = {
        guard_k: {each.pressure for each in ranked(book, task(book)._replace(guard_k=guard_k))}
        for guard_k in (0.0, 11.0)
    }
    medium = [each for each in ranked(book, task(book)._replace(guard_k=11.0)) if each.pressure == "medium"]

    assert {0.0: {"medium"}, 11.0: {"medium", "firm"}} == levels
    assert max(map(sureness, medium)) < 0.0


def test_a_face_that_may_not_get_as_hot_as_the_adhesive_softens_has_no_setting(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Leather stands 168 degC; 60 K from that, film that softens at 112 degC cannot bond: nothing is solved."""
    solved: list[RecipeTask] = []
    monkeypatch.setattr(recipe_settings, "ranked", lambda _, asked: solved.append(asked) or ())

    assert best_of(book, task(book)._replace(guard_k=60.0)) is None
    assert [] == solved
    assert best_of(book, task(book)._replace(guard_k=50.0)) is None
    assert 1 == len(solved)


def test_the_first_of_all_settings_is_known_by_few(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the bench's own sheet has a sure one, no other is tried; either way it is the first of all settings."""
    tried: list[tuple[str | None, ...]] = []

    def noting(*about: Any, **more: Any) -> list[Candidate]:  # noqa: ANN401 - passed on
        tried.append(about[2])
        return candidates(*about, **more)

    every = (None, *book.covers)
    for film, guard_k in (("smooth", 0.0), ("smooth", 11.0), ("stretch", 0.0), ("metallic", 0.0)):
        asked = task(book, film)._replace(covers=every, guard_k=guard_k)
        first = ranked(book, asked)[0]
        monkeypatch.setattr(recipe_settings, "candidates", noting)
        tried.clear()
        best = recipe_settings.best_ranked(book, asked)
        monkeypatch.undo()
        assert best is not None
        assert first[:3] == best[:3]
        assert first.dwell_s == best.dwell_s
        assert pytest.approx(first.span[:4]) == best.span[:4]
        sure = sureness(first) >= 0.0 and first.cover == book.bench.cover and first.pressure == "medium"
        assert ([(book.bench.cover,)] if sure else [(book.bench.cover,), every]) == tried[:2]
    other = task(book)._replace(covers=("paper",))
    assert ranked(book, other)[0] == recipe_settings.best_ranked(book, other)
    assert recipe_settings.best_ranked(book, plain_task(book, "rubber")) is None


def plain_task(book: Book, upper: str = "leather-lined", film: str = "stretch", **changes: Any) -> RecipeTask:  # noqa: ANN401
    """Return the task to press a film on an upper, some of it changed."""
    return RecipeTask(film, (book.uppers[upper],), "swing", "shoe-form", ("silicone-thin",), "metric")._replace(
        **changes
    )


@pytest.mark.parametrize(
    ("press_c", "step_c", "most", "tried"),
    [
        ((60.0, 210.0), 5.0, 3, (130.0, 135.0, 140.0)),
        ((60.0, 210.0), 10.0, 3, (130.0, 140.0)),  # no step twice
        ((60.0, 210.0), 1.0, 3, (130.0, 135.0, 140.0)),
        ((60.0, 210.0), 2.5, 2, (130.0, 140.0)),
        ((60.0, 136.0), 1.0, 3, (130.0, 133.0, 136.0)),  # no hotter than the press
        ((134.0, 210.0), 2.0, 9, (134.0, 136.0, 138.0, 140.0)),  # nor cooler
        ((60.0, 129.0), 1.0, 3, ()),
        ((141.0, 210.0), 1.0, 3, ()),
    ],
)
def test_temperatures_are_steps_of_the_press_in_the_films_range(
    book: Book, press_c: tuple[float, float], step_c: float, most: int, tried: tuple[float, ...]
) -> None:
    """Stretch film's is from 130 to 140 degC; both ends are tried, and so many in all."""
    press = replace(book.presses["swing"], coolest_c=press_c[0], hottest_c=press_c[1], step_c=step_c)

    assert tried == recipe_settings.temperatures_in_range(book.films["stretch"], press, "metric", most)


def test_a_temperature_that_was_chosen_is_the_only_one(book: Book) -> None:
    """Three are tried where none was."""
    press, film = book.presses["swing"], book.films["stretch"]

    assert (133.0,) == recipe_settings.temperatures_of(film, press, plain_task(book, temperature_c=133.0))
    assert 3 == len(recipe_settings.temperatures_of(film, press, plain_task(book)))


def test_nothing_is_ranked_where_no_film_bonds_or_no_temperature_suits(book: Book) -> None:
    """Rubber takes no film; a press may be too cool for any."""
    press = replace(book.presses["swing"], hottest_c=100.0)
    cool = replace(book, presses={**book.presses, "swing": press})

    assert () == recipe_settings.ranked(book, plain_task(book, "rubber"))
    assert () == recipe_settings.ranked(cool, plain_task(cool))
    assert recipe_settings.ranked(book, plain_task(book))
