"""Remedies where there is no window: the nearest changes that open one, computed, or what it would take."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

from featherline.wire.recipes import Help
from featherline.wire.records import Film, Upper
from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop
from featherline_service.messages.values import Value, said
from featherline_service.questions.recipe.evidence.frames import published
from featherline_service.questions.recipe.recipe_settings import best_of
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate
from featherline_service.runtime.cache import cached

_MOST_HELP: Final = 3
_MOST_KINDS: Final = 24
"""Kinds of film that are tried, the one that was asked for included."""
_NOT_PRESSED: Final = frozenset({"id", "name", "finest", "cutting", "colours", "roll", "cites", "note"})
"""Fields of a film that no window depends on."""


@by_workshop
@cached
def helps(book: Book, task: RecipeTask) -> tuple[Help, ...]:
    """Return changes that open the window, nearest first: another cover sheet, film, panel or press."""
    return tuple(itertools.islice(_found_help(book, task), _MOST_HELP))


def _found_help(book: Book, task: RecipeTask) -> Iterator[Help]:
    if len(task.covers) == 1:
        best = _best_of_all(book, task._replace(covers=tuple(book.covers)))
        if best is not None and best.cover is not None:
            yield _helped("cover", best.cover, best, cover=book.covers[best.cover])
    middle_c = published(book.films[task.film]).platen_c
    others = sorted(
        _tried(book, task.film),
        key=lambda film: (film.id != task.film, abs(published(film).platen_c - middle_c), film.id),
    )
    hopeless = set[tuple[object, ...]]()
    for film in others:
        if film.id == task.film or _pressed(film) in hopeless:
            continue
        best = _best_of_all(book, task._replace(film=film.id, temperature_c=None))
        if best is not None:
            yield _helped("film", film.id, best, film=film)
        hopeless |= {_pressed(film)} if best is None else set()
    if task.shoe is not None:
        yield from _other_panels(book, task, others)
    for press in book.presses.values():
        best = _best_of_all(book, task._replace(press=press.id)) if press.id != task.press else None
        if best is not None:
            yield _helped("press", press.id, best, press=press)


def _best_of_all(book: Book, task: RecipeTask) -> Candidate | None:
    """Return the best setting for all uppers of a task, as `best_of`; sooner None where one of them alone has none."""
    film = book.films[task.film]

    def stands_c(upper: Upper) -> float:
        return min(book.materials[layer.material].limit.peak_c for layer in upper.layers)

    suited = [upper for upper in task.uppers if upper.surface in film.bonds_to]
    if len(task.uppers) > 1:
        for upper in sorted(suited, key=stands_c):
            if best_of(book, task._replace(uppers=(upper,))) is None:
                return None
    return best_of(book, task)


def _other_panels(book: Book, task: RecipeTask, films: Sequence[Film]) -> Iterator[Help]:
    """Yield the shoe's panels of another upper, or without old marks, that have a window.

    For this film, or else for the film nearest to it that has one.
    """
    for panel in book.shoes[task.shoe or ""].panels:
        upper = book.uppers[panel.upper]
        if panel.id == task.panel or (upper in task.uppers and not task.old_marks):
            continue
        hopeless = set[tuple[object, ...]]()
        for film in films:
            if film.id != task.film and _pressed(film) in hopeless:
                continue
            bare = task._replace(uppers=(upper,), old_marks=())
            best = _best_of_all(book, bare if film.id == task.film else bare._replace(film=film.id, temperature_c=None))
            if best is not None:
                yield _helped("panel", panel.id, best, panel=panel.name, upper=upper, film=film)
                break
            hopeless |= {_pressed(film)} if film.id != task.film else set()


def _tried(book: Book, wanted: str) -> Sequence[Film]:
    """Return the films that are tried, all of a book that has few kinds: of many those that soften coolest.

    Where there is no window, mostly something gets too hot. To try each kind takes some hundredths of a second.
    """
    coolest_first = sorted(book.films.values(), key=lambda film: (film.id != wanted, film.adhesive.onset_c, film.id))
    kinds = tuple(dict.fromkeys(map(_pressed, coolest_first)))[:_MOST_KINDS]
    return [film for film in coolest_first if _pressed(film) in kinds]


def _pressed(film: Film) -> tuple[object, ...]:
    """Return what of a film a window depends on. Of a book's hundreds of films many are alike but for their colours."""
    return tuple(getattr(film, name) for name in film.__struct_fields__ if name not in _NOT_PRESSED)


def _helped(change: Literal["film", "cover", "press", "panel"], to: str, best: Candidate, **what: Value) -> Help:
    span, dwell_s = best.span, best.dwell_s or 0.0
    sure = span.sure_from_s <= dwell_s <= span.sure_to_s
    words = said(f"help.{change}", **what, first="no" if sure else "yes")
    return Help(change=change, to=to, **words._asdict())


class Takes(NamedTuple):
    """What would open the window where nothing in the book does: a film that softens cooler than any.

    `tried` is whether all films were tried; `coolest_c` is where the coolest of those that bond softens, None if none
    bonds to all that the shoe may be.
    """

    tried: Literal["all", "some"]
    coolest_c: float | None


def what_it_takes(book: Book, task: RecipeTask) -> Takes:
    """Return what would open the window where nothing in the book does."""
    surfaces = {upper.surface for upper in task.uppers}
    onsets = [film.adhesive.onset_c for film in book.films.values() if surfaces <= set(film.bonds_to)]
    tried: Literal["all", "some"] = "some" if len(_tried(book, task.film)) < len(book.films) else "all"
    return Takes(tried, min(onsets, default=None))
