"""What readings of gauges tell of the properties of stacks."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline.wire.records import GaugeKind
from featherline_service.book.shop_book import Book
from featherline_service.book.workshop import by_workshop
from featherline_service.evidence.beliefs import Belief, Parameter, mean_of, prior
from featherline_service.evidence.observations import Observations
from featherline_service.heat.variation import (
    SIGMAS_95,
    SolvedStack,
    interface_response,
    interface_temperatures,
    solved_stack,
    stack_at,
)
from featherline_service.questions.recipe.evidence.rows import (
    ROUNDS,
    Rows,
    belief_of,
    joined,
    nothing,
    unit,
    within_step,
)
from featherline_service.questions.recipe.evidence.sightings import Job, Reading, Sighting
from featherline_service.questions.recipe.stacks import Pile, logs_in, pile
from featherline_service.questions.shoes.presses import offset_k
from featherline_service.runtime.cache import cached

Floats = NDArray[np.float64]

BOND_LINE: Final = "bond line"
"""What a reading calls the upper's face under the film, whatever the upper's first layer is named."""
_TOLERANCES: Final[dict[GaugeKind, tuple[float, float]]] = {
    "thermocouple-class-1": (1.5, 0.004),
    "thermocouple-class-2": (2.5, 0.0075),
    "strip": (2.0, 0.0),
}
"""Tolerance [K], and as a share of the temperature in degC where that is more. Thermocouples of types K and J: IEC
60584-1, tolerance classes 1 and 2. Irreversible strips: 1 to 2 K (common practice, no source)."""
_NOISE_K: Final[dict[GaugeKind, float]] = {"thermocouple-class-1": 1.0, "thermocouple-class-2": 1.0, "strip": 1.0}
"""[K] Standard deviation of one reading beside the gauge's own error: where it lies, and what it takes up (from
memory)."""
CLOSING_S: Final = 0.25
"""[s] Standard deviation of the moment from which the times of a pressing's readings count: whoever starts a clock by
hand is off by half a second at most times (from memory)."""
_BESIDE_S: Final = 0.05
"""[s] Beside a time, to see how fast an interface heats up."""
_RECTANGULAR: Final = 3.0**0.5
"""[-] An error of which its largest value alone is known is taken to be anywhere below it: its standard deviation is
the largest value over this (JCGM 100:2008, clause 4.3.7, from memory)."""


Solved = dict[tuple[Job, str | None], SolvedStack]
"""Solved stacks by job and cover sheet."""


class Readings(NamedTuple):
    """What readings tell, and they themselves as they are linear there."""

    belief: Belief
    rows: Rows


def gauged(kind: GaugeKind, gauge: str, *, above: str, at_s: float, low_c: float, high_c: float) -> Reading:
    """Return what a gauge of a kind read, with the errors of its kind."""
    least_k, share = _TOLERANCES[kind]
    return Reading(above, at_s, low_c, high_c, _NOISE_K[kind], gauge, max(least_k, share * low_c), kind)


@by_workshop
@cached
def readings_of(book: Book, sightings: tuple[Sighting, ...]) -> Readings:
    """Return what the readings of sightings tell of the properties of their stacks.

    The rows' sightings are indices among those given.

    Raises:
        ValueError: A reading's layer is not in its stack.
    """
    belief, rows = prior(()), nothing()
    stacks = [stack_of(book, sighting.job, sighting.cover) for sighting in sightings]
    for _ in range(ROUNDS if sightings else 0):
        solved: Solved = {}
        rows = joined(
            [
                reading_rows(book, at, *each, belief, solved=solved)
                for at, each in enumerate(zip(sightings, stacks, strict=True))
            ]
        )
        belief = within_step(belief_of(rows), belief)
    return Readings(belief_of(rows), rows)


def stack_of(book: Book, job: Job, cover: str | None) -> Pile:
    """Return the stack of a job under a cover sheet; of a job without a film, that beside it."""
    film = book.films[job.film] if job.film else None
    sheet = None if cover is None else book.covers[cover]
    return pile(book, film, job.upper, book.pads[job.pad], cover=sheet, pressure_kpa=job.kpa)


def layer_above(stack: Pile, name: str) -> int:
    """Return the index of the layer whose upper face is named.

    Raises:
        ValueError: There is no such layer.
    """
    return stack.upper if name == BOND_LINE else stack.names.index(name)


def reading_rows(
    book: Book, index: int, sighting: Sighting, stack: Pile, before: Belief, *, solved: Solved | None = None
) -> Rows:
    """Return the readings of a sighting, linear at the mean of what is known before.

    Of stacks that were solved at this mean each is taken from `solved`, and any other is added.
    """
    press = sighting.press
    gauges: dict[Parameter, float] = {
        ("gauge", reading.gauge): reading.tolerance_k / _RECTANGULAR for reading in sighting.readings
    }
    platen: tuple[Parameter, ...] = () if press is None else (("platen", press),)
    closing: Parameter = ("closing", sighting.name)
    parameters = (*stack.properties, *platen, *gauges, closing)
    point, logs = mean_of(before, parameters), logs_in(stack, parameters)
    platen_k, platen_c = np.zeros(len(parameters)), sighting.platen_c + offset_k(book, press or "")
    if press is not None:
        platen_k = unit(parameters, ("platen", press), book.presses[press].platen_spread_k / SIGMAS_95)
    bias_k = np.array([gauges.get(name, 0.0) for name in parameters])
    solved, key = {} if solved is None else solved, (sighting.job, sighting.cover)
    if key not in solved:
        solved[key] = solved_stack(stack_at(stack.closed, logs, point))
    count = len(sighting.readings)
    value, by_all = np.zeros(count), np.zeros((count, len(parameters)))
    late_s = unit(parameters, closing, CLOSING_S)
    for above in dict.fromkeys(reading.above for reading in sighting.readings):
        here = [at for at, reading in enumerate(sighting.readings) if reading.above == above]
        times_s = np.maximum([sighting.readings[at].at_s + float(point @ late_s) for at in here], _BESIDE_S)
        beside_s = np.concatenate((times_s, times_s - _BESIDE_S, times_s + _BESIDE_S))
        interface = interface_response(solved[key], layer_above(stack, above), beside_s)
        temperatures, slopes = interface_temperatures(
            interface, logs, point, platen_c=platen_c, platen_k=platen_k, room_c=book.bench.room_c
        )
        read_c, earlier_c, later_c = np.split(temperatures, 3)
        _, earlier_s, later_s = np.split(beside_s, 3)
        rate_k_s = (later_c - earlier_c) / (later_s - earlier_s)
        value[here] = read_c
        by_all[here] = slopes[: len(here)] + rate_k_s[:, None] * late_s
    own = [[name == ("gauge", reading.gauge) for name in parameters] for reading in sighting.readings]
    own_k = bias_k * np.array(own, dtype=np.float64)
    value, by_all = value + own_k @ point, by_all + own_k
    return Rows(
        parameters,
        Observations(
            value - by_all @ point,
            by_all,
            np.array([reading.noise_k for reading in sighting.readings]),
            np.array([reading.low_c for reading in sighting.readings]),
            np.array([reading.high_c for reading in sighting.readings]),
        ),
        np.full(count, index, dtype=np.intp),
        np.zeros(count, dtype=np.intp),
    )
