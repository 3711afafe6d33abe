"""The reading that would tell most: by how much it is expected to narrow the windows.

A normal distribution narrows by a reading whatever is read, so what a reading is worth is known before it is taken: the
covariance ``S`` of the parameters becomes ``S - S s s' S / (s' S s + noise^2)`` with the reading's slopes ``s``.

References:
    Kalman, Journal of Basic Engineering 82 (1960) 35-45 (from memory).
    Chaloner & Verdinelli, Statistical Science 10 (1995) 273-304: design of experiments by what they leave unknown (from
        memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline.wire.calibrations import NextReading
from featherline.wire.records import GaugeKind
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Parameter, mean_of, positions
from featherline_service.heat.variation import SIGMAS_95, bond_margins
from featherline_service.questions.calibration.window_changes import Comparison
from featherline_service.questions.recipe.evidence.frames import bonding_of, published
from featherline_service.questions.recipe.evidence.gauges import BOND_LINE, gauged, reading_rows, stack_of
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Sighting

Floats = NDArray[np.float64]

_MOST: Final = 3
_MOST_STACKS: Final = 2
_SHARES: Final = (0.25, 0.5, 1.0)
"""Of the dwell, when a reading may be taken."""
_STEP_K: Final = 6.0
"""[K] Between two steps of a strip (common practice, no source)."""
_SAID: Final[dict[GaugeKind, str]] = {
    "thermocouple-class-1": "a thermocouple of class 1",
    "thermocouple-class-2": "a thermocouple of class 2",
    "strip": "a temperature strip",
}
_OTHER: Final = "another-gauge"
"""A gauge whose error no other reading shares."""


class _Goals(NamedTuple):
    """Slopes of the logarithms of the shortest dwells by some parameters, ``(windows, n)``, and their covariance."""

    parameters: tuple[Parameter, ...]
    slopes: Floats
    covariance: Floats


def next_readings(
    book: Book, compared: Comparison, sightings: tuple[Sighting, ...], tried: Sequence[Sighting]
) -> list[NextReading]:
    """Return the most useful readings, the best first; none where there is no window to be narrowed.

    Args:
        book: The shop book.
        compared: The jobs whose windows are to be narrower.
        sightings: All that was seen so far.
        tried: The pressings that may be repeated with a gauge.
    """
    if not compared.jobs:
        return []
    known = known_for(book, sightings)
    kinds = dict.fromkeys(reading.kind for sighting in tried for reading in sighting.readings)
    options = []
    for index in _different(tried):
        sighting = tried[index]
        stack = stack_of(book, sighting.job, sighting.cover)
        places = dict.fromkeys((BOND_LINE, *stack.names))
        readings = [
            gauged(kind, _OTHER, above=above, at_s=share * sighting.dwell_s, low_c=0.0, high_c=0.0)
            for kind in dict.fromkeys((*kinds, "strip"))
            for above in places
            for share in _SHARES
            if above != stack.names[stack.upper]  # which the bond line is
        ]
        rows = reading_rows(book, 0, sighting._replace(readings=tuple(readings)), stack, known.readings)
        goals = _goals(book, compared, sightings, rows.parameters)
        now = _spread(goals.slopes, goals.covariance)
        for reading, slope in zip(readings, rows.observations.slopes, strict=True):
            here, there = positions(goals.parameters, rows.parameters)
            by = np.zeros(len(goals.parameters))
            by[here] = slope[there]
            noise_k = math.hypot(reading.noise_k, _STEP_K / math.sqrt(12.0) if reading.kind == "strip" else 0.0)
            moved = goals.covariance @ by
            left = goals.covariance - np.outer(moved, moved) / (float(by @ moved) + noise_k**2)
            options.append((_spread(goals.slopes, left), now, index, reading))
    best = sorted(options, key=lambda option: option[0])
    chosen: dict[tuple[int, str, GaugeKind], NextReading] = {}
    for after, before, index, reading in best:
        chosen.setdefault(
            (index, reading.above, reading.kind),
            NextReading(
                pressing=index,
                above=reading.above,
                kind=reading.kind,
                at_s=reading.at_s,
                spread_before=before,
                spread_after=after,
                sentence=f"Lay {_SAID[reading.kind]} on top of the {_place(reading.above)} and read it "
                f"{reading.at_s:.0f} s after the press has closed. To be sure of the bond takes {before:.0%} longer "
                f"than it is expected to take now, and {after:.0%} longer after that reading.",
            ),
        )
    return list(chosen.values())[:_MOST]


def _place(above: str) -> str:
    return "upper, under the film" if above == BOND_LINE else above


def _different(tried: Sequence[Sighting]) -> list[int]:
    """Return the indices of the first pressings of some different stacks."""
    first: dict[object, int] = {}
    for index, sighting in enumerate(tried):
        first.setdefault((sighting.job, sighting.cover), index)
    return list(first.values())[:_MOST_STACKS]


def _goals(book: Book, compared: Comparison, sightings: tuple[Sighting, ...], others: Sequence[Parameter]) -> _Goals:
    """Return how the shortest dwells depend on the parameters, to which some are added."""
    known = known_for(book, sightings)
    belief, frames = known.bond, []
    for plain in compared.jobs:
        job, film = plain._replace(sightings=sightings), book.films[plain.film]
        parameters, bonding = bonding_of(book, job, compared.cover, known.readings, compared.press.platen_spread_k)
        point, platens_c = mean_of(belief, parameters), np.array([published(film).platen_c])
        # The margin of a dwell is the logarithm of its ratio to the shortest, at which slopes are taken.
        margin, _ = bond_margins(bonding, point, platens_c, np.array([film.setting.longest_s]))
        _, slopes = bond_margins(bonding, point, platens_c, film.setting.longest_s * np.exp(-margin))
        frames.append((parameters, slopes[0]))
    every = tuple(dict.fromkeys((*belief.parameters, *others, *(name for names, _ in frames for name in names))))
    by = np.zeros((len(frames), len(every)))
    for row, (parameters, slopes) in zip(by, frames, strict=True):
        here, there = positions(every, parameters)
        row[here] = slopes[there]
    covariance = np.eye(len(every))
    here, there = positions(every, belief.parameters)
    covariance[np.ix_(here, here)] = belief.covariance[np.ix_(there, there)]
    return _Goals(every, by, covariance)


def _spread(slopes: Floats, covariance: Floats) -> float:
    """Return by how much sure dwells are longer than those expected to bond, in the mean."""
    variance = np.maximum(np.einsum("wi,ij,wj->w", slopes, covariance, slopes), 0.0)
    return float(np.expm1(SIGMAS_95 * np.sqrt(variance)).mean())
