"""Tails of the normal and of the chi-square distribution.

Two functions of a library that is not needed otherwise, and that takes half a second to load.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_ROOT_HALF: Final = math.sqrt(0.5)
_LOG_ROOT_TAU: Final = 0.5 * math.log(2.0 * math.pi)
_TAIL: Final = 8.0
"""[-] Standard deviations from which on the tail is computed by its continued fraction."""
_TERMS: Final = 40
_FAR_TAIL: Final = 40.0
_FAR_TERMS: Final = 8
"""From 40 standard deviations on the ninth term changes the fraction by less than 1e-20 of it."""


def log_density(x: Floats) -> Floats:
    """Return the logarithm of the standard normal density."""
    return np.asarray(-0.5 * x**2 - _LOG_ROOT_TAU)


def cumulative(x: float) -> float:
    """Return the probability that a standard normal number is below a number."""
    return 0.5 * math.erfc(-x * _ROOT_HALF)


def log_cumulative(x: Floats) -> Floats:
    """Return the logarithm of the probability that a standard normal number is below each of some finite numbers.

    References:
        Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.2.14: the continued fraction of the tail
            (from memory).
    """
    flat = x.ravel()
    # Of the two tails the one that is nearer, so that no digit is lost.
    within = np.abs(np.maximum(flat, -_TAIL))
    nearer = np.array([0.5 * math.erfc(value * _ROOT_HALF) for value in within.tolist()])
    result = np.where(flat > 0.0, np.log1p(-nearer), np.log(np.where(flat > 0.0, 1.0, nearer)))
    far = -flat > _TAIL
    if far.any():
        result[far] = log_density(flat[far]) + _log_tail(-flat[far])
    return result.reshape(x.shape)


def log_mills(x: Floats) -> Floats:
    """Return the logarithm of the probability below each of some finite numbers, over the density there.

    In the tail it is small where both logarithms are large, so it is not computed as their difference.
    """
    far = -x > _TAIL
    result, near = np.empty(x.shape), x[~far]
    result[~far] = log_cumulative(near) - log_density(near)
    result[far] = _log_tail(-x[far])
    return result


def _log_tail(tail: Floats) -> Floats:
    """Return the logarithm of the probability beyond some deviations, `_TAIL` or more, over the density there."""
    fractions = []
    for (
        deviations
    ) in tail.tolist():  # a handful: in an array of them each of the terms would take as long as all of one
        fraction = deviations
        for term in range(_FAR_TERMS if deviations > _FAR_TAIL else _TERMS, 0, -1):
            fraction = deviations + term / fraction
        fractions.append(fraction)
    return np.asarray(-np.log(fractions))


def chi_square_tail(value: float, degrees: int) -> float:
    """Return the probability that a chi-square number on some degrees of freedom, one or more, exceeds a value.

    References:
        Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 26.4.4 and 26.4.5 (from memory).
    """
    half = 0.5 * value
    if half <= 0.0:
        return 1.0
    first = 0.0 if degrees % 2 == 0 else 0.5
    total = 0.0 if degrees % 2 == 0 else math.erfc(math.sqrt(half))
    for count in range(degrees // 2):
        power = first + count
        total += math.exp(power * math.log(half) - half - math.lgamma(power + 1.0))
    return min(total, 1.0)
