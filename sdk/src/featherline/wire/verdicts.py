"""Verdicts, their reasons, and cautions."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from msgspec import UNSET, Meta, Struct, UnsetType

from featherline.wire.texts import LanguageTag, Sentence

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
    "fit.no-height",
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
    "propose.height",
    "propose.spacing",
    "propose.lines",
    "propose.font",
    "propose.film",
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


class Parameter(Struct, frozen=True, kw_only=True):
    """A value of a sentence, as the sentence says it: a number, the id of a record, several ids, or a word.

    A number is in `unit`, null for a count, and said with so many `decimals`. `record` is the kind of record that ids
    are of. A null `value` means that there is none, such as no height at which an artwork fits. An amount of money is a
    decimal string in the `unit` of its currency, and an exact share a decimal string without one.
    """

    name: Annotated[str, Meta(max_length=48)]
    value: float | str | tuple[str, ...] | None
    unit: Annotated[
        Annotated[str, Meta(max_length=16)] | None, Meta(description="mm, mm2, degC, degF, s, 1 and so on.")
    ] = None
    decimals: int | None = None
    record: Annotated[
        Annotated[str, Meta(max_length=32)] | None, Meta(description="films, fonts and so on, as in the book.")
    ] = None


MessageId = Annotated[
    str,
    Meta(
        max_length=80,
        description="The message that the sentence was made of, by which a shop's book may change it. Empty: of none.",
        examples=["customer.fit.outside"],
    ),
]
SentenceLanguage = Annotated[
    LanguageTag | UnsetType,
    Meta(description="The language of the sentence, where it is not the answer's (`Content-Language`)."),
]


class Message(Struct, frozen=True, kw_only=True):
    """A sentence with the message and the values that it was made of.

    A field of this type is named after the field that has the sentence alone: `before_messages` beside `before`.
    """

    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Reason(Struct, frozen=True, kw_only=True):
    """A reason for a verdict.

    `verdict` is the verdict for this reason alone; a `ready` reason is a remark. `subject` is a JSON Pointer into the
    request, or a layer of the stack. `measure` and `limit` are in `unit`, and null if nothing is measured. The sentence
    is in the answer's language; `parameters` are the values in it.
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
            description="Whom a reason is for: the customer, the counter or the bench. A plug-in that leaves it out "
            "gives a reason for the bench."
        ),
    ] = UNSET
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Caution(Struct, frozen=True, kw_only=True):
    """A usual caution, and its source. Local rules and the film maker's sheet come first."""

    code: str
    sentence: Sentence
    source: str
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET
