"""The question "how is a film tried safely on an unknown shoe?", and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct

from featherline.wire.costs import Owner
from featherline.wire.evidence import Chance
from featherline.wire.quantities import Duration, Temperature
from featherline.wire.recipes import Observations, Setting, Units
from featherline.wire.records import PressureLevel
from featherline.wire.shoes import Face, Shoe, Surface
from featherline.wire.texts import BookUntil, Engine, Identifier, Name, Revision, Sentence
from featherline.wire.verdicts import Caution, Message, MessageId, Parameter, Reason, SentenceLanguage, Verdict


class TrialRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How to try a film on a shoe that was never pressed before. Without `press`, the bench's is used."""

    shoe: Shoe
    panel: Identifier
    film: Identifier
    press: Identifier | None = None
    owner: Owner = "customer"
    units: Units = "metric"
    observations: Observations = ()


class TrialCandidate(Struct, frozen=True, kw_only=True):
    """An upper that the shoe may have: how eye and thumb recognise it, and its setting.

    `setting` is null if no setting of the film suits this upper; the trial then must only not harm it.
    """

    upper: Identifier
    name: Name
    surface: Surface
    tell: Sentence
    tell_message: Message | None = None
    setting: Setting | None


class TrialPlace(Struct, frozen=True, kw_only=True):
    """A place for the trial; the least visible comes first."""

    panel: Identifier
    face: Face
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Predicted(Struct, frozen=True, kw_only=True):
    """The effect of a rung on a shoe with this upper.

    `bond_share` is the dose of the bond line divided by the dose that the film needs, null if the film does not bond to
    the surface. `layer` is the layer of the shoe that comes nearest to its limit, `margin_k` its distance from the
    limit, and `worst_case_margin_k` the distance in the 95 % worst case of properties, contacts, platen and limit.
    `heat` is `sure` (no harm even in the worst case), `likely` (no harm with the book's values) or `past` (beyond the
    limit with the book's values).
    """

    upper: Identifier
    bond_share: float | None
    layer: Name
    peak_c: float
    limit_c: float
    margin_k: float
    worst_case_margin_k: float
    heat: Literal["sure", "likely", "past"]


class Outcome(Struct, frozen=True, kw_only=True):
    """An observation after a rung, the uppers that remain possible, and what to do next.

    `upper` is the value for the shoe's `upper` in the next request: after a bond the upper whose own setting is nearest
    to this one, else the one that withstands the least heat; null if the next rung decides, or if none remains.
    """

    seen: Annotated[
        Literal["harm", "nothing", "bond"],
        Meta(
            description="'harm': a sign of harm. 'nothing': neither harm nor bond. 'bond': no harm, and the film holds."
        ),
    ]
    leaves: tuple[Identifier, ...]
    then: Annotated[
        Literal["stop", "next-rung", "use"],
        Meta(description="'stop': press no further. 'next-rung': go on to the next rung. 'use': use this setting."),
    ]
    upper: Identifier | None
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Rung(Struct, frozen=True, kw_only=True):
    """One rung of the ladder.

    `film` is whether a scrap of film is pressed; where it could not bond, only the cover sheet is. A rung is reached
    only if the rung before showed neither harm nor bond; `predicted` has the uppers that are then still possible.
    """

    setting: Setting
    film: bool
    predicted: tuple[Predicted, ...]
    outcomes: tuple[Outcome, ...]


Sign = Literal["gloss", "shrinkage", "print-through", "smell", "softness", "bond-by-thumb", "bond-by-peel"]


class Look(Struct, frozen=True, kw_only=True):
    """A sign to look for after a rung. `stops` is whether it ends the trial."""

    at: Sign
    when: Literal["opening", "cold"]
    stops: bool
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class TrialObservation(Struct, frozen=True, kw_only=True):
    """A pressing as the `observations` of a request take it, once what was seen of it is added.

    These are `bond` (where film was pressed), `upper`, and `beside` for where the cover sheet lay on it; `onto` is as
    in the request, with the `upper` named.
    """

    film: Identifier
    press: Identifier
    cover: Identifier | None
    temperature: Temperature
    pressure: PressureLevel
    dwell: Duration


class NextPressing(Struct, frozen=True, kw_only=True):
    """The next pressing of a trial that learns from each, or that no more are needed.

    Where the upper is known it is the dwell that is recommended by what is known, observations of the request and of
    the book among it; else the first rung. `enough`: another pressing would take no doubt away, and `setting` is the
    one to keep to. `chance_bonds` and `chance_unharmed` are the chances that it bonds the film, and that no layer
    passes its limit. A test piece is a scrap of the same upper or a second-choice shoe.
    """

    enough: bool
    on: Literal["shoe", "test-piece"]
    setting: Setting
    film: Annotated[bool, Meta(description="Whether a scrap of film is pressed, or the cover sheet alone.")]
    chance_bonds: Chance
    chance_unharmed: Chance
    observation: Annotated[TrialObservation | None, Meta(description="To be kept; null where there is enough.")]
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Trial(Struct, frozen=True, kw_only=True):
    """The plan of a trial: places, a ladder of rising settings, the signs to look for, and what each outcome means.

    The first rung harms none of the `candidates` even in the worst case; no rung is beyond a limit of the film, or by
    the book's values beyond a limit of an upper that is still possible. Where no setting bonds and harms none of the
    candidates, the trial is declined: it has no rungs, and says what would narrow the candidates. A `ready` one has the
    recipe as its only rung, which is `sure` for every candidate.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    film: Identifier
    press: Identifier
    candidates: tuple[TrialCandidate, ...]
    places: tuple[TrialPlace, ...]
    before: tuple[Sentence, ...]
    before_messages: tuple[Message, ...] = ()
    rungs: tuple[Rung, ...]
    looks: tuple[Look, ...]
    stop: tuple[Sentence, ...]
    stop_messages: tuple[Message, ...] = ()
    afterwards: tuple[Sentence, ...]
    afterwards_messages: tuple[Message, ...] = ()
    cautions: tuple[Caution, ...]
    next: Annotated[NextPressing | None, Meta(description="Null where the trial is declined.")] = None


class TrialAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `TrialRequest`."""

    trial: Trial
    book: Revision
    book_until: BookUntil = None
    engine: Engine
