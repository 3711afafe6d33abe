"""Observations: quantities linear in the parameters, and what was read or seen of them.

A reading gives the quantity's value with a normal error. An outcome gives the range in which the quantity lies, with a
normal error of the quantity: the ordinal probit model, of which "holds" and "lifts" are the case of two ranges.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.evidence.normal import log_mills

Floats = NDArray[np.float64]

FARTHEST_STEP: Final = 1.5
"""[-] An outcome moves what it tells of by at most so many standard deviations of what is known without it: farther
off, the linear model says little, and the agreement of the observations is what to look at."""
_FARTHEST: Final = 1e3
"""[-] Standard deviations at which a bound of an outcome is taken to be where it is farther off."""
_NARROWEST: Final = 1e-6
"""[-] Least width of a range, in standard deviations."""


class Observations(NamedTuple):
    """Observations of quantities ``offset + slopes z``, with `z` the parameters.

    `offset` is ``(observations,)``, `slopes` ``(observations, n)``. `noise` ``(observations,)`` is the standard
    deviation of the error. `low` and `high` ``(observations,)`` are the range that was seen, in the quantity's unit and
    perhaps infinite; they are equal for a reading, whose noise is above zero.
    """

    offset: Floats
    slopes: Floats
    noise: Floats
    low: Floats
    high: Floats

    @property
    def is_reading(self) -> NDArray[np.bool_]:
        """Whether each observation is a reading."""
        return np.asarray(self.low == self.high)


class Moments(NamedTuple):
    """Means and variances of quantities once their outcomes were seen."""

    mean: Floats
    variance: Floats


def seen_within(mean: Floats, variance: Floats, noise: Floats, low: Floats, high: Floats) -> Moments:
    """Return the moments of normal quantities of which, with an error, it is seen that they lie within a range.

    Args:
        mean: means of the quantities, ``(...)``.
        variance: their variances.
        noise: standard deviations of the errors; variance and noise are not both zero.
        low: lower ends of the ranges, perhaps minus infinity.
        high: upper ends, above the lower ones, perhaps infinity.

    References:
        Rasmussen & Williams, Gaussian Processes for Machine Learning (2006), section 3.9: the moments for the probit
            (from memory). Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, 2nd ed. (1994), section
            13.10.1: of the doubly truncated normal distribution (from memory).
    """
    total = variance + noise**2
    scale = np.sqrt(total)
    ends = np.minimum(np.maximum((np.stack((low, high)) - mean) / scale, -_FARTHEST), _FARTHEST)
    lower, upper = ends
    # In the upper tail probabilities are differences of numbers near 1: look at it from the other side.
    flip = lower + upper > 0.0
    lower, upper = np.where(flip, -ends[::-1], ends)
    lower = np.minimum(lower, upper - _NARROWEST)  # both may be beyond the farthest
    above, below = log_mills(np.stack((upper, lower)))
    fall = 0.5 * (upper - lower) * (upper + lower)  # of the logarithm of the density from the upper to the lower end
    at_upper = np.exp(-above) / -np.expm1(below - above + fall)
    at_lower = np.exp(fall) * at_upper
    shift = at_lower - at_upper
    shrink = np.minimum(np.maximum(shift**2 + upper * at_upper - lower * at_lower, 0.0), 1.0)
    shift = np.where(flip, -shift, shift)
    return Moments(mean + variance / scale * shift, variance * (1.0 - variance / total * shrink))
