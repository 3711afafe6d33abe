"""Sentences of a trial: how to tell uppers apart, what to look at, and what each outcome means.

All of it is common practice, no source, unless a sentence names one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

from featherline.wire.costs import Owner
from featherline.wire.records import Film
from featherline.wire.shoes import Face, Surface
from featherline.wire.trials import Look, Sign
from featherline_service.messages.values import Said, said

TELLS: Final[Mapping[Surface, str]] = {
    "leather": "Pores and wrinkles that no two places share; a cut edge shows fibres; a drop of water darkens it.",
    "suede": "A nap that changes its shade when brushed; a drop of water soaks in at once.",
    "coated": "A grain that repeats, under a closed film; water beads; a cut edge shows a layer on a backing.",
    "glossy": "A mirror-like, closed face; water beads; the thumb squeaks on it.",
    "woven": "Threads that cross at right angles and hardly give when pulled along them.",
    "knit": "Rows of loops, or an open mesh, that give when pulled.",
    "foam": "Very light; a thumbnail leaves a dent that comes back slowly.",
    "rubber": "Heavy and springy; it grips the thumb, and a dent comes back at once.",
}
"""How the eye and the thumb know a surface."""

_STOP: Final = ("harm", "smoke", "holds", "nothing")


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


def bond(left: Sequence[str], upper: str | None) -> str:
    """Return the meaning of a scrap that holds where nothing is harmed."""
    nearest = (
        ""
        if upper is None or len(left) == 1
        else f" Name {upper}, whose own setting is the nearest; what stood here goes before what its recipe says."
    )
    return f"This setting bonds and harms nothing: keep to it. The upper is, or behaves as, {any_of(left)}.{nearest}"


def nothing(left: Sequence[str], *, onwards: bool, blocked: str | None) -> str:
    """Return the meaning of neither harm nor bond."""
    if onwards:
        return f"The upper may be {any_of(left)}: go on to the next rung."
    if not left:
        return (
            "The upper is none of those that it may be: the film should have held. See that pressure and temperature "
            "are what the press says, and that the face is clean and dry; go no hotter, and do not mark this shoe yet."
        )
    more = (
        f" Hotter or longer, a limit of the film or of the upper would be passed if it is {blocked}."
        if blocked is not None
        else ""
    )
    return (
        f"The upper may be {any_of(left)}, and the film does not hold at the last setting that is safe for all of "
        f"these.{more} Press no further: ask "
        "again naming one of these, or for another film."
    )


def harm(left: Sequence[str]) -> str:
    """Return the meaning of harm."""
    if not left:
        return (
            "None of the uppers that it may be would show harm here, even at the worst case. Press no further, and do "
            "not mark this shoe: nobody knows what it is."
        )
    return (
        f"Press no further. The upper is, or behaves as, {any_of(left)}: ask again with its name for a cooler film, "
        "or leave the shoe unmarked."
    )


def any_of(names: Sequence[str]) -> str:
    """Return names as a choice."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
