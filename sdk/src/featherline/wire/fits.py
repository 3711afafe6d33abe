"""The question "does it fit, and can it be cut and seen?", and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, Struct

from featherline.wire.artworks import Artwork, Centred, Footprint, Pose
from featherline.wire.measures import Measures, Mends
from featherline.wire.quantities import Clearance
from featherline.wire.recipes import Units
from featherline.wire.shoes import Face, Shoe
from featherline.wire.texts import BookUntil, Engine, Identifier, Revision, Sentence
from featherline.wire.verdicts import MessageId, Parameter, Reason, SentenceLanguage, Verdict


class FitRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Does this artwork fit this panel in this film?

    Without `colour` the answer has no contrast; without `clearance` or `press` the bench's is used. On both shoes the
    artwork must fit the panel of the right shoe and that of the left one: the panel is mirrored, the artwork is not.
    """

    shoe: Shoe
    panel: Identifier
    film: Identifier
    colour: Identifier | None = None
    artwork: Artwork
    pose: Pose = Centred()
    footprint: Footprint = "exact"
    clearance: Clearance | None = None
    sides: Literal["both", "left", "right"] = "both"
    press: Identifier | None = None
    units: Units = "metric"


class Placed(Struct, frozen=True, kw_only=True):
    """The centre of the artwork's box, from the panel's centre: `x_mm` towards the toe, `y_mm` up.

    `sentence` says it as it is measured at the bench.
    """

    x_mm: float
    y_mm: float
    rotation_deg: float
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class Largest(Struct, frozen=True, kw_only=True):
    """The largest scaled copy with the same rotation, at the same centre or the same distance from its edge."""

    scale: float
    width_mm: float
    height_mm: float
    letter_height_mm: float | None


class Contrast(Struct, frozen=True, kw_only=True):
    """The contrast of film and upper: the colour difference CIEDE2000 and the WCAG 2 contrast ratio."""

    delta_e: float
    ratio: float
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class FootLength(Struct, frozen=True, kw_only=True):
    """The foot length of a size, and the convention that gives it."""

    foot_mm: float
    convention: Sentence


class Fit(Struct, frozen=True, kw_only=True):
    """Whether and how an artwork fits a panel.

    `clearance_mm` is the distance from the artwork to the nearest edge or keep-out, negative by the overlap. `largest`
    is null if no copy fits at that centre. `platens` are those of the press that take the shoe and the artwork; the
    first is the best.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    mends: Mends = ()
    panel: Identifier
    face: Face
    placed: Placed
    artwork: Measures
    clearance_mm: float
    clearance_needed_mm: float
    bound_by: Annotated[str, Meta(description="The nearest boundary: 'edge', or a keep-out.")]
    largest: Largest | None
    platens: tuple[Identifier, ...]
    contrast: Contrast | None
    size: FootLength | None


class FitAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `FitRequest`."""

    fit: Fit
    book: Revision
    book_until: BookUntil = None
    engine: Engine
