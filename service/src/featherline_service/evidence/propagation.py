"""Expectation propagation: what is known of the parameters once all observations are taken in.

Each observation is stood for by a normal likelihood of its quantity: a precision, and a precision times mean. For a
reading this is exact. For an outcome it is the one that gives the quantity the mean and the variance that the outcome
itself gives it, beside the likelihoods of all others. All are changed at once until none changes any more, so that the
order of the observations does not matter: to 1e-9 for observations that agree. Those that contradict one another settle
slowly, and are left where a change of up to 1e-6 is left.

References:
    Minka, Expectation propagation for approximate Bayesian inference, Uncertainty in Artificial Intelligence (2001)
        362-369 (from memory).
    Rasmussen & Williams, Gaussian Processes for Machine Learning (2006), section 3.6: the posterior from the
        likelihoods, in the space of the observed quantities (from memory).
    Kalman, Journal of Basic Engineering 82 (1960) 35-45: what readings alone give (from memory).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.evidence.observations import FARTHEST_STEP, Observations, seen_within

Floats = NDArray[np.float64]

_SETTLED: Final = 1e-10
"""[-] Change of a quantity's mean or standard deviation, in prior standard deviations, that counts as none."""
_ROUNDED: Final = 1e-6
"""Change that counts as none after however many rounds."""
_MANY_ROUNDS: Final = 300
"""Rounds after which a larger change counts as none, ten times larger every `_TENFOLD_ROUNDS`. They take about thirty;
those of observations that contradict one another, of which each holds the others back, up to several hundred."""
_TENFOLD_ROUNDS: Final = 150
_MOST_ROUNDS: Final = 2000
"""Rounds after which the likelihoods are said not to settle."""
_LEAST_SHARE: Final = 1.0 / 64.0
"""[-] Least share of the way that the likelihoods go in a round."""
_SURE: Final = 1e-300
"""[-] Stands for a deviation of zero, in ratios."""
_SHARPEST: Final = 1e-12
"""[-] Least variance that an outcome leaves its quantity, as a share of the variance without it."""


class Posterior(NamedTuple):
    """What is known of the parameters after the observations, and of each quantity without its own observation.

    All have the leading axes of the observations. `mean` ``(n,)`` and `covariance` ``(n, n)`` are those of the
    parameters; the mean is ``weight slopes``, with the `weight` ``(observations,)`` of each observation.
    `left_out_mean` and `left_out_variance` ``(observations,)`` are those of the quantities with the observation itself
    left out: exact where all others are readings.
    """

    mean: Floats
    covariance: Floats
    weight: Floats
    left_out_mean: Floats
    left_out_variance: Floats


class _Normals(NamedTuple):
    """Means and variances of quantities, less their offsets."""

    mean: Floats
    variance: Floats


def posterior(observations: Observations) -> Posterior:
    """Return what is known of parameters that are standard normal at first, after all observations.

    With leading axes they are several sets of as many observations, each by itself: to the last bit as alone.

    Raises:
        ArithmeticError: The likelihoods do not settle.
    """
    slopes, offset = observations.slopes, observations.offset
    if not offset.size:
        none, mean = np.zeros(offset.shape), np.zeros((*slopes.shape[:-2], slopes.shape[-1]))
        return Posterior(mean, np.zeros((*mean.shape, 1)) + np.eye(slopes.shape[-1]), none, none, none)
    prior = slopes @ slopes.swapaxes(-1, -2)
    spread = np.sqrt(_diagonal(prior))
    precision, pull = _readings(observations)
    # The likelihood of a reading is known, and a quantity that depends on no parameter tells nothing of them.
    told = ~observations.is_reading & (spread > 0.0)
    outcomes = np.flatnonzero(told.any(axis=tuple(range(told.ndim - 1))))
    told, deviation = told[..., outcomes], np.maximum(spread[..., outcomes], _SURE)
    noise, low, high = (
        column[..., outcomes] for column in (observations.noise, observations.low - offset, observations.high - offset)
    )
    identity = np.eye(spread.shape[-1])
    share, last = np.ones(spread.shape[:-1]), np.zeros((2, *told.shape))
    for done in range(_MOST_ROUNDS):
        root = np.sqrt(precision)
        inner = identity + root[..., :, None] * prior * root[..., None, :]
        covariance = prior - (prior * root[..., None, :]) @ np.linalg.solve(inner, root[..., :, None] * prior)
        mean, variance = (covariance @ pull[..., None])[..., 0], _diagonal(covariance)
        # What is no outcome in one of several sets stays as it is there: any variance above zero will do.
        now = _Normals(mean[..., outcomes], np.where(told, variance[..., outcomes], 1.0))
        left_out = _left_out(now, np.where(told, precision[..., outcomes], 0.0), pull[..., outcomes])
        seen = _seen(left_out, noise, low, high)
        by_deviation = np.array((seen.mean - now.mean, np.sqrt(seen.variance) - np.sqrt(now.variance))) / deviation
        step = np.where(told, by_deviation, 0.0)
        change = np.abs(step).max(axis=(0, -1), initial=0.0)
        moving = change >= min(_SETTLED * 10.0 ** max(0.0, (done - _MANY_ROUNDS) / _TENFOLD_ROUNDS), _ROUNDED)
        if not moving.any():
            break
        # Where changing all at once overshoots, so that a step turns back, go a part of the way.
        back = (step * last).sum(axis=(0, -1)) < 0.0
        share = np.where(back, np.maximum(0.5 * share, _LEAST_SHARE), np.minimum(1.0, 1.1 * share))
        last = step
        better = np.maximum(1.0 / seen.variance - 1.0 / left_out.variance, 0.0)
        pulled = seen.mean / seen.variance - left_out.mean / left_out.variance
        by = np.where(told & moving[..., None], share[..., None], 0.0)
        precision[..., outcomes] += by * (better - precision[..., outcomes])
        pull[..., outcomes] += by * (pulled - pull[..., outcomes])
    else:
        raise ArithmeticError(f"The observations' likelihoods do not settle: the last change was {change.max():g}")
    scaled = root[..., :, None] * slopes
    drawn = np.linalg.solve(inner, (root * (prior @ pull[..., None])[..., 0])[..., None])[..., 0]
    weight = pull - root * drawn
    known = np.eye(slopes.shape[-1]) - scaled.swapaxes(-1, -2) @ np.linalg.solve(inner, scaled)
    every = _left_out(_Normals(mean, variance), precision, pull)
    return Posterior(
        (weight[..., None, :] @ slopes)[..., 0, :],
        0.5 * (known + known.swapaxes(-1, -2)),
        weight,
        offset + every.mean,
        every.variance,
    )


def _diagonal(matrices: Floats) -> Floats:
    return np.diagonal(matrices, axis1=-2, axis2=-1)


def _readings(observations: Observations) -> tuple[Floats, Floats]:
    """Return the precisions of the readings, and the precisions times what they add to the offsets; zero for others."""
    readings = observations.is_reading
    precision = np.where(readings, 1.0 / np.where(readings, observations.noise, 1.0) ** 2, 0.0)
    return precision, precision * (np.where(readings, observations.low, observations.offset) - observations.offset)


def _left_out(now: _Normals, precision: Floats, pull: Floats) -> _Normals:
    """Return the quantities without each one's own likelihood."""
    rest = 1.0 - precision * now.variance
    return _Normals((now.mean - pull * now.variance) / rest, now.variance / rest)


def _seen(left_out: _Normals, noise: Floats, low: Floats, high: Floats) -> _Normals:
    """Return the quantities with their outcomes, which move a mean by no more than `FARTHEST_STEP` deviations."""
    moments = seen_within(*left_out, noise, low, high)
    most = FARTHEST_STEP * np.sqrt(left_out.variance)
    step = np.minimum(np.maximum(moments.mean - left_out.mean, -most), most)
    return _Normals(left_out.mean + step, np.maximum(moments.variance, _SHARPEST * left_out.variance))
