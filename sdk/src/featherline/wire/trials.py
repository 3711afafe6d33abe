"""The question "how is a shoe never pressed before tried safely first?", and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.costs import Owner
from featherline.wire.recipes import Setting, Units
from featherline.wire.shoes import Face, Shoe, Surface
from featherline.wire.texts import Engine, Identifier, Name, Revision, Sentence
from featherline.wire.verdicts import Caution, Reason, Verdict


class TrialRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How to try a film first on a shoe that was never pressed before. Without `press`, the bench's."""

    shoe: Shoe
    panel: Identifier
    film: Identifier
    press: Identifier | None = None
    owner: Owner = "customer"
    units: Units = "metric"


class TrialCandidate(Struct, frozen=True, kw_only=True):
    """An upper that the shoe may be of: how the eye and the thumb know it, and what it would be pressed with.

    `setting` is null where no setting of the film suits this upper; the trial then only has to spare it.
    """

    upper: Identifier
    name: Name
    surface: Surface
    tell: Sentence
    setting: Setting | None


class TrialPlace(Struct, frozen=True, kw_only=True):
    """Where to try, the least visible place first."""

    panel: Identifier
    face: Face
    sentence: Sentence


class Predicted(Struct, frozen=True, kw_only=True):
    """What a rung does to the shoe, if it is of this upper.

    `bond_share` is the bond line's dose over what the film needs; null where the film does not bond to the surface.
    `layer` is the layer of the shoe that comes nearest to its limit; `margin_k` is its distance from it, and
    `worst_case_margin_k` that at the 95 % worst case of properties, contacts, platen and the limit itself. `heat` is
    `sure`: no harm even at the worst case; `likely`: none as the book has it; `past`: the limit is passed as the book
    has it.
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
    """What is seen after a rung, which uppers it leaves, and what to do then.

    `upper` is what to name as the shoe's `upper` in the next request: after a bond the one whose own setting is nearest
    to the one that stood, else the one that stands least; null where the next rung decides, or none is left.
    """

    seen: Annotated[
        Literal["harm", "nothing", "bond"],
        Meta(description="A sign of harm; neither harm nor bond; no harm, and the film holds."),
    ]
    leaves: tuple[Identifier, ...]
    then: Annotated[
        Literal["stop", "next-rung", "use"],
        Meta(description="Press no further; go on to the next rung; the setting serves."),
    ]
    upper: Identifier | None
    sentence: Sentence


class Rung(Struct, frozen=True, kw_only=True):
    """One step of the ladder. `film` is whether a scrap of film is laid: below what could bond, the cover sheet alone.

    Reached only when the rung before showed neither harm nor bond; `predicted` holds the uppers that are then still
    possible.
    """

    setting: Setting
    film: bool
    predicted: tuple[Predicted, ...]
    outcomes: tuple[Outcome, ...]


class Look(Struct, frozen=True, kw_only=True):
    """One thing to look at after a rung. `stops` is whether finding it ends the trial."""

    at: Literal["gloss", "shrinkage", "print-through", "smell", "softness", "bond-by-thumb", "bond-by-peel"]
    when: Literal["opening", "cold"]
    stops: bool
    sentence: Sentence


class Trial(Struct, frozen=True, kw_only=True):
    """A planned trial: where, a ladder of settings that only rises, what to look at, and what each outcome says.

    The first rung harms none of `candidates` even at the worst case; no rung passes a limit of the film. Declined, it
    has no rungs. `ready`: the only rung is the recipe, and sure for every upper that it may be.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    film: Identifier
    press: Identifier
    candidates: tuple[TrialCandidate, ...]
    places: tuple[TrialPlace, ...]
    before: tuple[Sentence, ...]
    rungs: tuple[Rung, ...]
    looks: tuple[Look, ...]
    stop: tuple[Sentence, ...]
    afterwards: tuple[Sentence, ...]
    cautions: tuple[Caution, ...]


class TrialAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `TrialRequest`."""

    trial: Trial
    book: Revision
    engine: Engine
