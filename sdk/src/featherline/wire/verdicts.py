"""Verdicts, their reasons, and cautions."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from msgspec import UNSET, Meta, Struct, UnsetType

from featherline.wire.texts import Sentence

Verdict = Annotated[
    Literal["ready", "trial", "decline"],
    Meta(description="'ready': do it. 'trial': try it first, as the reasons say. 'decline': do not do it."),
]

Evidence = Annotated[
    Literal["published", "practice", "guess"],
    Meta(description="The evidence for a limit: a published source, common practice, or a guess."),
]

ReasonCode = Literal[
    "fit.outside",
    "fit.overlap",
    "fit.off-mark",
    "fit.fine-stroke",
    "fit.fine-gap",
    "fit.fine-island",
    "fit.fine-tip",
    "fit.fine-notch",
    "fit.touch",
    "fit.letters-spaced",
    "fit.curved",
    "fit.reach",
    "fit.sole-edge",
    "fit.opening",
    "fit.heel",
    "heat.no-window",
    "heat.worst-case",
    "heat.press-range",
    "heat.weak-evidence",
    "heat.contradiction",
    "heat.other-setting",
    "heat.film-longest",
    "heat.film-longer",
    "heat.pressed-apart",
    "heat.pressed-onto",
    "heat.beside",
    "heat.softens-old-mark",
    "heat.pressed-again",
    "surface.unsuited",
    "surface.unknown",
    "shoe.damp",
    "shoe.protective",
    "shoe.measured",
    "shoe.narrowed",
    "shoe.unnarrowed",
    "shoe.trial-risk",
    "sight.tone-on-tone",
    "sight.sideways",
    "sight.upside-down",
    "trial.first-rung",
    "trial.no-setting",
    "trial.out-of-reach",
    "trial.no-place",
    "trial.not-needed",
]


OpenReasonCode = Annotated[
    str,
    Meta(
        max_length=64,
        description=f"The kind of reason: {', '.join(get_args(ReasonCode))}. More may come, and those of plug-ins.",
        examples=["fit.outside"],
    ),
]


Audience = Literal["customer", "counter", "bench"]


class Reason(Struct, frozen=True, kw_only=True):
    """A reason for a verdict.

    `verdict` is the verdict for this reason alone; a `ready` reason is a remark. `subject` is a JSON Pointer into the
    request, or a layer of the stack. `measure` and `limit` are in `unit`, and null if nothing is measured.
    """

    code: OpenReasonCode
    verdict: Verdict
    subject: str
    sentence: Sentence
    measure: float | None = None
    limit: float | None = None
    unit: str | None = None
    evidence: Evidence | None = None
    audience: Annotated[
        Audience | UnsetType,
        Meta(
            description="Whom a reason of a plug-in is for: the customer, the counter or the bench. Left out: the "
            "bench. A reason of the service is for whom its code is."
        ),
    ] = UNSET


class Caution(Struct, frozen=True, kw_only=True):
    """A usual caution, and its source. Local rules and the film maker's sheet come first."""

    code: str
    sentence: Sentence
    source: str
