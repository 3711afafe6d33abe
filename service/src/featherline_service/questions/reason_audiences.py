"""Whom each reason is for, and how a customer is told of it: without a setting, a limit or a cost."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple, cast

from msgspec import UNSET

from featherline.wire.verdicts import Audience, Reason, ReasonCode


class Telling(NamedTuple):
    """Whom a reason is for; for one of the customer's, what the customer is told."""

    audience: Audience
    words: str = ""


_COUNTER: Final = Telling("counter")
_BENCH: Final = Telling("bench")


def _customer(words: str) -> Telling:
    return Telling("customer", words)


_TOO_FINE: Final = "Make it larger, or choose another lettering or film."

TELLINGS: Final[Mapping[ReasonCode, Telling]] = {
    "fit.outside": _customer("It does not fit there: make it smaller or shorter, or choose another place."),
    "fit.overlap": _customer("Two marks come too near each other: move one of them, or make it smaller."),
    "fit.off-mark": _customer("It reaches beyond the film that it lies on: make it smaller, or move it."),
    "fit.fine-stroke": _customer(f"Its strokes are thin for this film. {_TOO_FINE}"),
    "fit.fine-gap": _customer(f"Its gaps are narrow for this film. {_TOO_FINE}"),
    "fit.fine-island": _customer(f"Its small parts are too small for this film. {_TOO_FINE}"),
    "fit.fine-tip": _customer(f"Its points are fine for this film. {_TOO_FINE}"),
    "fit.fine-notch": _customer(f"Its notches are fine for this film. {_TOO_FINE}"),
    "fit.touch": _customer("Parts of it touch: set the letters further apart, or choose another lettering."),
    "fit.letters-spaced": _customer("The letters are set a little further apart, so that the film can be cut."),
    "fit.curved": _customer(
        "The shoe curves there more than the film likes: make it smaller, or choose another place."
    ),
    "fit.reach": _customer("The press does not reach it there: make it smaller, or choose another place."),
    "fit.sole-edge": _customer(
        "It comes near the sole, where the press does not reach: move it up, or make it smaller."
    ),
    "fit.opening": _COUNTER,
    "fit.heel": _customer("The heel of this shoe cannot be marked: choose another place."),
    "heat.no-window": _customer("This film cannot be put on this shoe there: choose another film, or another place."),
    "heat.worst-case": _BENCH,
    "heat.press-range": _BENCH,
    "heat.weak-evidence": _BENCH,
    "heat.film-longest": _BENCH,
    "heat.film-longer": _BENCH,
    "heat.pressed-apart": _BENCH,
    "heat.pressed-onto": _BENCH,
    "heat.beside": _BENCH,
    "heat.contradiction": _BENCH,
    "heat.other-setting": _BENCH,
    "heat.softens-old-mark": _COUNTER,
    "heat.pressed-again": _COUNTER,
    "surface.unsuited": _customer("This film does not hold on this shoe there: choose another film, or another place."),
    "surface.unknown": _COUNTER,
    "shoe.damp": _COUNTER,
    "shoe.protective": _customer(
        "This is certified protective footwear: its maker has to agree to the mark in writing."
    ),
    "shoe.measured": _COUNTER,
    "shoe.narrowed": _COUNTER,
    "shoe.unnarrowed": _COUNTER,
    "shoe.trial-risk": _COUNTER,
    "sight.tone-on-tone": _customer("It is hard to see in this colour on this shoe: choose another colour."),
    "sight.sideways": _customer("It lies sideways on the worn shoe: turn it, if it is to be read."),
    "sight.upside-down": _customer("It is upside down on the worn shoe: turn it, if it is to be read."),
    "trial.first-rung": _BENCH,
    "trial.no-setting": _BENCH,
    "trial.out-of-reach": _BENCH,
    "trial.no-place": _BENCH,
    "trial.not-needed": _BENCH,
}
"""Every code of the service's own reasons."""


def telling(reason: Reason) -> Telling:
    """Return whom a reason is for, and what the customer is told: of a plug-in's reason its own sentence."""
    known = TELLINGS.get(cast("ReasonCode", reason.code))
    if known is not None:
        return known
    return Telling("bench" if reason.audience is UNSET else reason.audience, reason.sentence)
