"""Sentences of a trial: how to tell uppers apart, what to look at, and what each outcome means.

All of it is common practice, no source, unless a sentence names one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from featherline.wire.costs import Owner
from featherline.wire.records import Film
from featherline.wire.shoes import Face, Surface
from featherline.wire.trials import Look, Sign
from featherline_service.messages.values import Named, Said, said

_STOP: Final = ("harm", "smoke", "holds", "nothing")


def tell(surface: Surface) -> Said:
    """Return how the eye and the thumb know a surface."""
    return said("try.tell", surface=surface)


def place(face: Face, *, itself: bool, same: bool) -> Said:
    """Return where to try: on which face, whether that is the panel itself, and whether it is of the same upper."""
    return said("try.place", face=face, upper="itself" if itself else "same" if same else "unsure")


def before(owner: Owner, uppers: int) -> tuple[Said, ...]:
    """Return the steps before the first rung."""
    names = ("set-up", "dots", "rungs", "spots", "scrap")
    compare = ("compare",) if uppers > 1 else ()
    return said("try.before.owner", owner=owner), *(said(f"try.before.{name}") for name in (*compare, *names))


def looks(film: Film) -> tuple[Look, ...]:
    """Return what to look at after each rung, in order."""
    return (
        _look("smell", said("try.look.smell"), when="opening"),
        _look("gloss", said("try.look.gloss")),
        _look("shrinkage", said("try.look.shrinkage")),
        _look("print-through", said("try.look.print-through")),
        _look("softness", said("try.look.softness")),
        _look("bond-by-thumb", said("try.look.bond-by-thumb", when=film.peel.when), stops=False),
        _look("bond-by-peel", said("try.look.bond-by-peel"), stops=False),
    )


def _look(at: Sign, words: Said, *, when: Literal["opening", "cold"] = "cold", stops: bool = True) -> Look:
    return Look(
        at=at,
        when=when,
        stops=stops,
        sentence=words.sentence,
        message=words.message,
        parameters=words.parameters,
    )


def stop() -> tuple[Said, ...]:
    """Return when the trial ends."""
    return tuple(said(f"try.stop.{name}") for name in _STOP)


def afterwards(owner: Owner, *, known: bool) -> tuple[Said, ...]:
    """Return how the result is used."""
    stock = ("stock",) if owner == "shop" else ()
    use = said("try.after.use", upper="known" if known else "unknown")
    return use, *(said(f"try.after.{name}") for name in ("day", "card", "others", *stock))


def bond(left: Sequence[Named], upper: Named | None) -> Said:
    """Return the meaning of a scrap that holds where nothing is harmed."""
    return said("try.outcome.bond", uppers=left, nearest=None if len(left) == 1 else upper)


def nothing(left: Sequence[Named], *, onwards: bool, blocked: Named | None) -> Said:
    """Return the meaning of neither harm nor bond."""
    if onwards:
        return said("try.outcome.nothing.onwards", uppers=left)
    if not left:
        return said("try.outcome.nothing.none")
    return said("try.outcome.nothing.last", uppers=left, blocked=blocked)


def harm(left: Sequence[Named]) -> Said:
    """Return the meaning of harm."""
    return said("try.outcome.harm", uppers=left) if left else said("try.outcome.harm.none")
