"""Sightings: a pressing, and what was read, seen or is practised of it."""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from featherline.wire.records import BondOutcome, GaugeKind, Upper, UpperOutcome

Range = tuple[float, float]

BONDS: Final[dict[BondOutcome, Range]] = {
    "holds": (0.0, math.inf),
    "edges-lift": (-math.inf, 0.0),
    "lifts": (-math.inf, -math.log(1.25)),
}
"""[-] Logarithm of the dwell over the shortest that bonds. A film that lifts had less than four fifths of the dwell
that it needs (from memory). That no more than its edges lift is no good news: a bad outcome never betters anything."""
LOOKS: Final[dict[UpperOutcome, Range]] = {
    "unchanged": (0.0, math.inf),
    "shiny": (-math.inf, 0.0),
    "marked": (-math.inf, -10.0),
    "deformed": (-math.inf, -20.0),
}
"""[K] How far below its limit the upper stayed. What is seen first is a change of gloss, then marks, then the shape
(from memory); that no more is seen is no good news."""
BOND_NOISE: Final = 0.1
"""[-] Standard deviation of the logarithm of the dwell that a pressing turns out to need: a hand that opens the press
by a clock, the place on the platen, the piece (from memory)."""
LOOK_NOISE_K: Final = 3.0
"""[K] Standard deviation of the temperature at which a change is seen (from memory)."""


class Reading(NamedTuple):
    """What a gauge read at the upper face of a layer: a value, or the range between two steps of a strip.

    `above` is the layer's name. `noise_k` is the standard deviation of one reading beside the error that all readings
    of the `gauge` share, `tolerance_k` the largest that its class allows for that.
    """

    above: str
    at_s: float
    low_c: float
    high_c: float
    noise_k: float
    gauge: str
    tolerance_k: float
    kind: GaugeKind = "thermocouple-class-1"


class Sighting(NamedTuple):
    """A pressing of a job under a cover sheet, and what was seen of it.

    `name` says where it stands, for people. `press` is None where it was pressed on no press of the book; what its
    platen strays by is in the noise then. `bond_noise` and `look_noise_k` are the errors of the outcomes. Sightings
    with the same `habit` have an error of the dwell in common, with the standard deviation `habit_noise` of its
    logarithm.
    """

    name: str
    job: Job
    cover: str | None
    press: str | None
    platen_c: float
    dwell_s: float
    bond: BondOutcome | None = None
    upper: UpperOutcome | None = None
    beside: UpperOutcome | None = None
    bond_noise: float = BOND_NOISE
    look_noise_k: float = LOOK_NOISE_K
    habit: str = ""
    habit_noise: float = 0.0
    readings: tuple[Reading, ...] = ()


class Job(NamedTuple):
    """A stack without its cover sheet: all that a pressing of it depends on."""

    film: str
    upper: Upper
    pad: str
    kpa: float
    beside: tuple[Upper, ...] = ()
    """The uppers beside the film, where old marks lie on some of them; none: the upper itself."""
    press: str = ""
    """The press that it is pressed on: of two jobs on one press the platen strays alike."""
    sightings: tuple[Sighting, ...] = ()
    """What was seen of pressings, those that the book records among them. Jobs in sightings have none."""


def with_readings(sightings: tuple[Sighting, ...]) -> tuple[Sighting, ...]:
    """Return the sightings with readings, without their outcomes."""
    return tuple(sighting._replace(bond=None, upper=None, beside=None) for sighting in sightings if sighting.readings)
