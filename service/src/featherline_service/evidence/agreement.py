"""How well observations agree with one another and with what was assumed."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.evidence.normal import chi_square_tail, log_cumulative
from featherline_service.evidence.observations import Observations
from featherline_service.evidence.propagation import Posterior, posterior

Floats = NDArray[np.float64]

LEAST_CHANCE: Final = 1e-3
"""[-] Observations that are less likely than this are a contradiction: of a thousand true ones, one is named so."""
_SURE: Final = 1e-12
"""[-] Stands for a deviation of zero, in ratios."""
_MOST_OUTLIERS: Final = 8
"""Observations that are named at most: where more do not go together, no single one is to blame."""
_FAR: Final = 40.0
"""[-] Standard deviations beyond which a chance is zero in double precision."""


class Innovations(NamedTuple):
    """The readings' distance from what was expected of them.

    `chi_square` is distributed as chi-square on as many degrees as there are `readings` if all that is assumed is
    right; `chance` is the probability of so large a value.
    """

    chi_square: float
    readings: int
    chance: float


def innovations(observations: Observations) -> Innovations:
    """Return how far the readings are, together, from what is expected before anything is observed.

    References:
        Bar-Shalom, Li & Kirubarajan, Estimation with Applications to Tracking and Navigation (2001), section 5.4: tests
            of a filter's consistency (from memory).
    """
    readings = observations.is_reading
    if not readings.any():
        return Innovations(0.0, 0, 1.0)
    slopes = observations.slopes[readings]
    expected = slopes @ slopes.T + np.diag(observations.noise[readings] ** 2)
    off = observations.low[readings] - observations.offset[readings]
    chi_square = float(off @ np.linalg.solve(expected, off))
    return Innovations(chi_square, off.size, chi_square_tail(chi_square, off.size))


def left_out_chances(observations: Observations, posterior: Posterior) -> Floats:
    """Return for each observation, ``(observations,)``, how likely it is by all others.

    It is the probability of what was seen or of anything farther to the same side; of a reading, of a value as far off
    to either side.
    """
    scale = np.maximum(np.sqrt(posterior.left_out_variance + observations.noise**2), _SURE)
    low, high = ((end - posterior.left_out_mean) / scale for end in (observations.low, observations.high))
    below, above = (np.exp(log_cumulative(np.clip(end, -_FAR, _FAR))) for end in (high, -low))
    either = np.minimum(1.0, 2.0 * np.minimum(below, above))
    return np.where(observations.is_reading, either, np.minimum(below, above))


class Outlier(NamedTuple):
    """The index `at` which an observation is that does not go with the others, and how likely so far off is one of all.

    Of many observations one is far off by chance sooner than of few.
    """

    at: int
    chance: float


def outliers(observations: Observations) -> list[Outlier]:
    """Return the observations that do not go with the others, the farthest off first.

    One that is far off pulls the others with it, so the farthest is left out before the next is looked for.

    Raises:
        ArithmeticError: As `posterior`.
    """
    left = np.arange(observations.noise.size)
    found: list[Outlier] = []
    while left.size > 1 and len(found) < _MOST_OUTLIERS:
        rest = Observations(*(column[left] for column in observations))
        known = posterior(rest)
        chances = left_out_chances(rest, known)
        scale = np.maximum(np.sqrt(known.left_out_variance + rest.noise**2), _SURE)
        beyond = np.maximum(rest.low - known.left_out_mean, known.left_out_mean - rest.high) / scale
        farthest = int(np.argmax(beyond))
        chance = min(1.0, float(chances[farthest]) * left.size)
        if chance >= LEAST_CHANCE:
            break
        found.append(Outlier(int(left[farthest]), chance))
        left = np.delete(left, farthest)
    return found


def pair_chances(observations: Observations) -> Floats:
    """Return for each pair of observations how likely the two are beside each other, ``(observations, observations)``.

    It is the probability, before anything is observed, that the difference of both is as it was seen or farther off to
    the same side. Of outcomes of one stack nearly nothing but their errors can make a difference.
    """
    slopes, noise = observations.slopes, observations.noise
    square = (slopes**2).sum(axis=1)
    apart = np.maximum(square[:, None] + square - 2.0 * slopes @ slopes.T, 0.0)
    scale = np.maximum(np.sqrt(apart + noise[:, None] ** 2 + noise**2), _SURE)
    expected = observations.offset[:, None] - observations.offset
    least, most = observations.low[:, None] - observations.high, observations.high[:, None] - observations.low
    below, above = (
        np.exp(log_cumulative(np.clip(end / scale, -_FAR, _FAR))) for end in (most - expected, expected - least)
    )
    chances = np.minimum(below, above)
    np.fill_diagonal(chances, 1.0)
    return np.asarray(chances)


def disagree(observations: Observations, posterior: Posterior) -> NDArray[np.bool_]:
    """Return which observations are named as contradicting the others, ``(observations,)``.

    Those that are less likely than `LEAST_CHANCE` by all others, and all readings where they are so together.
    """
    alone = left_out_chances(observations, posterior) < LEAST_CHANCE
    together = innovations(observations).chance < LEAST_CHANCE
    return np.asarray(alone | (observations.is_reading & together))
