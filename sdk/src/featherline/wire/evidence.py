"""What was observed of pressings, and what an answer says of the evidence that it stands on."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, Struct

from featherline.wire.quantities import Duration, Temperature
from featherline.wire.records import GaugeKind
from featherline.wire.texts import Identifier, Name, Sentence
from featherline.wire.verdicts import MessageId, Parameter, SentenceLanguage, Verdict

Chance = Annotated[float, Meta(ge=0, le=1)]


class GaugeReading(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a gauge read in the stack while the press was closed.

    A thermocouple reads a `value` (IEC 60584, tolerance class 1 or 2). A strip has turned at `value` and not at its
    next step, `below`.
    """

    above: Annotated[
        Name, Meta(description="The layer on whose upper face the gauge lies, by its name, or 'bond line'.")
    ] = "bond line"
    at: Annotated[Duration, Meta(description="From the closing of the press.")]
    value: Temperature
    below: Temperature | None = None
    kind: GaugeKind
    gauge: Annotated[Identifier, Meta(description="Readings of one gauge share its error.")] = "gauge"


GaugeReadings = Annotated[tuple[GaugeReading, ...], Meta(max_length=40)]


class ShareBand(Struct, frozen=True, kw_only=True):
    """The share of the dose of a film's shortest published dwell that it needs: the median and a 95 % band."""

    low: float
    median: float
    high: float


class NeededShareKnown(Struct, frozen=True, kw_only=True):
    """The needed share as it is assumed, and as it is known after the observations."""

    assumed: ShareBand
    known: ShareBand
    source: Annotated[Identifier | None, Meta(description="The source of the assumption, if a record states it.")]
    sentence: Sentence
    message: MessageId = ""
    parameters: tuple[Parameter, ...] = ()
    language: SentenceLanguage = UNSET


class ObservationEffect(Struct, frozen=True, kw_only=True):
    """An observation of a film that held or did not, and how much it alone moves the shortest dwell.

    `observation` is a JSON Pointer into the request or its order, or the name of a statement or observation of the
    book. `shortest_by` is the share by which it lengthens the nominal shortest dwell, beside all others; below zero, it
    shortens it.
    """

    observation: str
    shortest_by: float
    contradicts: bool


class ParameterEffect(Struct, frozen=True, kw_only=True):
    """An uncertain quantity that the observations moved.

    `by` is how far its mean went, in standard deviations of what was known before; `spread_left` is its standard
    deviation after, as a share of that before.
    """

    parameter: str
    by: float
    spread_left: float


class WithoutObservations(Struct, frozen=True, kw_only=True):
    """The same setting by the book's records alone: without the trade's statements and without observations."""

    verdict: Verdict
    shortest_s: float | None
    sure_from_s: float | None
    sure_to_s: float | None
    chance_bonds: Chance
    chance_unharmed: Chance


class RecipeEvidence(Struct, frozen=True, kw_only=True):
    """On what evidence a recipe stands.

    `chance_bonds` and `chance_unharmed` are the chances that the recommended dwell bonds the film and that no layer
    passes its limit, each where it is least. A recipe that is `ready` has 0.975 and more of each.
    """

    chance_bonds: Chance
    chance_unharmed: Chance
    needed_share: NeededShareKnown
    observations: tuple[ObservationEffect, ...]
    moved: Annotated[tuple[ParameterEffect, ...], Meta(description="The most moved first, at most eight.")]
    without: WithoutObservations
