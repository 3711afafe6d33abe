"""Verdicts, and the reasons that stand behind them."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from msgspec import Meta, Struct

from featherline.wire.texts import Sentence

Verdict = Annotated[
    Literal["ready", "trial", "decline"],
    Meta(description="'ready': do it. 'trial': try it first as the reasons say. 'decline': do not."),
]

Evidence = Annotated[
    Literal["published", "practice", "guess"],
    Meta(description="How well a limit is known: read in a published source, common practice, or a guess."),
]

ReasonCode = Literal[
    "fit.outside",
    "fit.fine-stroke",
    "fit.fine-gap",
    "fit.fine-island",
    "fit.curved",
    "fit.reach",
    "fit.sole-edge",
    "fit.opening",
    "fit.heel",
    "heat.no-window",
    "heat.worst-case",
    "heat.press-range",
    "heat.weak-evidence",
    "heat.film-longest",
    "heat.pressed-apart",
    "heat.beside",
    "heat.softens-old-mark",
    "heat.pressed-again",
    "surface.unsuited",
    "surface.unknown",
    "shoe.protective",
    "shoe.measured",
    "sight.tone-on-tone",
    "trial.first-rung",
    "trial.no-setting",
    "trial.vinyl",
    "trial.out-of-reach",
    "trial.no-place",
    "trial.not-needed",
]


OpenReasonCode = Annotated[
    str,
    Meta(
        max_length=64,
        description=f"What it is. Known now: {', '.join(get_args(ReasonCode))}. More may come, and a shop's own.",
        examples=["fit.outside"],
    ),
]


class Reason(Struct, frozen=True, kw_only=True):
    """Why a verdict is what it is.

    `verdict` is what this reason alone leads to; a `ready` reason is a remark. `subject` says what it is about: a JSON
    Pointer into the request, or a layer of the stack. `measure` and `limit` are in `unit`; null: nothing is measured.
    """

    code: OpenReasonCode
    verdict: Verdict
    subject: str
    sentence: Sentence
    measure: float | None = None
    limit: float | None = None
    unit: str | None = None
    evidence: Evidence | None = None


class Caution(Struct, frozen=True, kw_only=True):
    """A usual caution, with the source it rests on. Local rules and the film maker's sheet come first."""

    code: str
    sentence: Sentence
    source: str
