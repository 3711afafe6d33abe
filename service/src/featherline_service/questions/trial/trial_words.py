"""Sentences of a trial: how to tell uppers apart, what to look at, and what each outcome means.

All of it is common practice, no source, unless a sentence names one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Literal

from featherline.wire.records import Film
from featherline.wire.shoes import Face, Surface
from featherline.wire.trials import Look

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

FIND_OUT: Final = (
    "Find out what the upper is: ask the shoe's maker, or say as `surface` what the eye sees and as `tests` what "
    "harmless tests show, and ask again with it. "
    "Or leave the shoe unmarked."
)
STOP: Final = (
    "Stop at the first sign of harm, and for good: the shoe takes no more than the rung before.",
    "Stop at once at smoke or a sharp smell: open the press, step back, air the room.",
    "Stop climbing at the first rung that holds and harms nothing: its setting is the one to keep to.",
    "Stop when the last rung has shown nothing: hotter or longer is not safe for the film or the shoe.",
)
_WHERE: Final[Mapping[Face, str]] = {
    "tongue": "The tongue, high up where the laces cover it",
    "inner": "The inner side, low down towards the arch",
    "heel": "The heel, if it lies flat when pressed by hand, at its lower edge",
    "toe": "The toe, to the side",
    "outer": "The outer side, at its least visible corner",
}


def place(face: Face, *, itself: bool, same: bool) -> str:
    """Return where to try: on which face, whether that is the panel itself, and whether it is of the same upper."""
    if itself:
        return f"{_WHERE[face]}: the panel itself, clear of where the artwork goes. A mark stays."
    if same:
        return f"{_WHERE[face]}: it is of the same upper."
    return f"{_WHERE[face]}: only if eye and thumb find it of the same upper as the panel to be marked."


def before(owner: Literal["customer", "shop"], uppers: int) -> tuple[str, ...]:
    """Return the steps before the first rung."""
    consent = {
        "customer": "Tell the shoes' owner that a trial can leave a mark, and have a yes in writing.",
        "shop": "Try on a second-choice pair of the same model if there is one, and always before it is offered from "
        "stock.",
    }[owner]
    compare = (
        "See what eye and thumb settle first, and ask again with the `surface` that they find: the ladder is shorter."
    )
    return (
        consent,
        *([compare] if uppers > 1 else []),
        "Set up as for a pressing: platen, pad and cover sheet of the rung, no preheating of the shoe.",
        "At the place, draw two fine pencil dots 20 mm apart and measure between them.",
        "Go up rung by rung, never past one. Let the shoe cool to the touch between rungs.",
        "Give every rung a spot of its own where there is room: heat adds up.",
        "Where a rung takes film, lay a scrap 10 mm square, its carrier up; else press under the cover sheet alone.",
    )


def looks(film: Film) -> tuple[Look, ...]:
    """Return what to look at after each rung, in order."""
    when = {"hot": "while hot", "warm": "once warm", "cold": "once cold"}[film.peel.when]
    return (
        Look(at="smell", when="opening", stops=True, sentence="Smell from a distance: sharp or sweet is harm."),
        Look(
            at="gloss",
            when="cold",
            stops=True,
            sentence="Hold the place at a low angle to a lamp beside one that was not pressed: shinier, duller or "
            "another shade is harm.",
        ),
        Look(
            at="shrinkage",
            when="cold",
            stops=True,
            sentence="Measure between the pencil dots again: half a millimetre less, a pucker or a wave is harm.",
        ),
        Look(
            at="print-through",
            when="cold",
            stops=True,
            sentence="Look for the edges of cover sheet, scrap and pad, on both sides of the upper: an edge that the "
            "thumb can feel is harm.",
        ),
        Look(
            at="softness",
            when="cold",
            stops=True,
            sentence="Bend it, and press it between finger and thumb: harder, thinner or tackier than beside is harm.",
        ),
        Look(
            at="bond-by-thumb",
            when="cold",
            stops=False,
            sentence=f"Peel the carrier {when}; once cold, push the scrap's edge sideways with the thumb: it must not "
            "creep or lift.",
        ),
        Look(
            at="bond-by-peel",
            when="cold",
            stops=False,
            sentence="Lift a corner with tweezers and pull it back over itself: a bond tears the film or the face of "
            "the upper, or holds; a scrap that comes off clean has not bonded.",
        ),
    )


def afterwards(owner: Literal["customer", "shop"], *, known: bool) -> tuple[str, ...]:
    """Return how the result is used."""
    use = (
        "The book's values hold for this shoe: press it by its recipe."
        if known
        else "In the next request give the shoe the outcome's `upper`: it stands in the label's place."
    )
    return (
        use,
        "Wait a day, bend the place twenty times and pull again before the panel itself is pressed.",
        "Write on the card which rung stood, what was seen, and the shoe's maker, model and colour.",
        "Another colour or another season may be another upper: try again.",
        *(("Do not offer the model from stock on one shoe's word: try a second pair.",) if owner == "shop" else ()),
    )


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
