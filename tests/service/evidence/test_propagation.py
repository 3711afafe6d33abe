"""Expectation propagation: closed forms, a filter's worked example, the order, and random observations."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from draws import drawn
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from featherline_service.evidence import propagation
from featherline_service.evidence.observations import FARTHEST_STEP, Observations
from featherline_service.evidence.propagation import posterior

Floats = NDArray[np.float64]

OFTEN = settings(max_examples=drawn(400), deadline=None)


def observed(
    offset: Sequence[float],
    slopes: Sequence[Sequence[float]],
    noise: Sequence[float],
    low: Sequence[float],
    high: Sequence[float],
) -> Observations:
    """Return observations."""
    return Observations(*(np.array(column, dtype=np.float64) for column in (offset, slopes, noise, low, high)))


def random_observations(random: np.random.Generator, count: int, size: int, strays: int = 0) -> Observations:
    """Return readings and outcomes of one world, some of them strays that contradict it."""
    slopes = random.normal(size=(count, size)) * (random.random((count, size)) < 0.5)
    offset, noise = random.normal(size=count), random.uniform(0.05, 1.0, count)
    value = offset + slopes @ random.normal(size=size) + noise * random.normal(size=count)
    value[:strays] *= -10.0
    cut = random.normal(size=count)
    kind = random.integers(0, 4, count)
    low = np.choose(
        kind, [value, np.where(value > cut, cut, -math.inf), np.floor(value), np.where(value > 0, 0, value)]
    )
    high = np.choose(
        kind, [value, np.where(value > cut, math.inf, cut), np.floor(value) + 1.0, np.where(low == 0, math.inf, value)]
    )
    return Observations(offset, slopes, noise, low, high)


def test_sets_together_are_as_each_alone() -> None:
    """To the last bit, whatever is a reading, an outcome, a contradiction or depends on nothing in each of them."""
    random = np.random.default_rng(4)
    sets = [random_observations(random, 7, 5, strays) for strays in (0, 0, 3, 0, 1, 6)]
    sets[3].slopes[2:4] = 0.0
    together = posterior(Observations(*map(np.stack, zip(*sets, strict=True))))
    for at, alone in enumerate(map(posterior, sets)):
        for one, other in zip(alone, together, strict=True):
            assert one.tolist() == other[at].tolist()


def test_two_parameters_and_their_sum() -> None:
    """With z ~ N(0, I), z1 + z2 read as 1 with variance 1: mean 1/3 each, covariance 2/3 and -1/3 (closed form)."""
    found = posterior(observed([0.0], [[1.0, 1.0]], [1.0], [1.0], [1.0]))
    assert pytest.approx(np.full(2, 1.0 / 3.0)) == found.mean
    assert pytest.approx(np.array([[2.0, -1.0], [-1.0, 2.0]]) / 3.0) == found.covariance


@pytest.mark.parametrize(("noise", "mean", "variance"), [(0.0, 0.797885, 0.363380), (1.0, 0.564190, 0.681690)])
def test_one_outcome(noise: float, mean: float, variance: float) -> None:
    """N(0, 1) seen above zero: the truncated normal distribution, and the probit with unit noise (closed forms)."""
    found = posterior(observed([0.0], [[1.0]], [noise], [0.0], [math.inf]))
    assert pytest.approx((mean, variance), abs=5e-7) == (found.mean[0], found.covariance[0, 0])


READINGS = (48.54, 47.11, 55.01, 55.15, 49.89, 40.85, 46.72, 50.05, 51.27, 49.95)


@pytest.mark.parametrize(("count", "mean", "variance"), [(1, 49.686, 22.5), (10, 49.5699, 2.4725)])
def test_filter_of_a_constant(count: int, mean: float, variance: float) -> None:
    """A height of 60 with variance 225, read with variance 25: worked example 5 of kalmanfilter.net, recomputed."""
    readings = READINGS[:count]
    found = posterior(observed([60.0] * count, [[15.0]] * count, [5.0] * count, readings, readings))
    assert pytest.approx((mean, variance), rel=5e-5) == (
        60.0 + 15.0 * found.mean[0],
        225.0 * found.covariance[0, 0],
    )


def test_bias_of_a_gauge_is_a_parameter() -> None:
    """However often a gauge is read, its bias stays: the variance of what it reads goes to that of both together."""
    count = 200
    found = posterior(observed([0.0] * count, [[1.0, 0.5]] * count, [1.0] * count, [1.0] * count, [1.0] * count))
    # One reading without noise of z1 + z2 / 2 leaves 1 - 1 / 1.25 of the variance of z1 (closed form).
    assert pytest.approx(0.2, abs=5e-3) == found.covariance[0, 0]


@given(seed=st.integers(0, 100_000), count=st.integers(1, 20), size=st.integers(1, 12), strays=st.integers(0, 2))
@example(seed=211, count=10, size=10, strays=2)
@example(seed=1387, count=18, size=7, strays=2)
@OFTEN
def test_order_does_not_matter(seed: int, count: int, size: int, strays: int) -> None:
    """In any order the observations lead to the same mean and covariance: to 1e-9, or 1e-5 where they disagree.

    Those that disagree settle slowly, and stop by a wider tolerance: of 4,000 such sets one was 2e-7 off at most.
    """
    random = np.random.default_rng(seed)
    observations = random_observations(random, count, size, min(strays, count))
    first, order = posterior(observations), random.permutation(count)
    again = posterior(Observations(*(column[order] for column in observations)))
    close = 1e-5 if strays else 1e-9
    assert pytest.approx(first.mean, abs=close) == again.mean
    assert pytest.approx(first.covariance, abs=close) == again.covariance
    assert pytest.approx(first.left_out_mean[order], rel=10.0 * close, abs=10.0 * close) == again.left_out_mean


@given(seed=st.integers(0, 100_000), count=st.integers(1, 20), size=st.integers(1, 12))
@OFTEN
def test_observations_only_narrow(seed: int, count: int, size: int) -> None:
    """The covariance is one, and no direction's variance is larger than before."""
    found = posterior(random_observations(np.random.default_rng(seed), count, size))
    value = np.linalg.eigvalsh(found.covariance)
    assert -1e-9 <= value.min()
    assert value.max() <= 1.0 + 1e-9


@given(seed=st.integers(0, 100_000), size=st.integers(1, 6), low=st.floats(-3.0, 0.5))
@OFTEN
def test_single_outcome_is_exact(seed: int, size: int, low: float) -> None:
    """The quantity that was seen has the mean and the variance of the truncated normal (closed form)."""
    random = np.random.default_rng(seed)
    slopes, noise = random.normal(size=(1, size)), 0.5
    total = float(np.hypot(np.linalg.norm(slopes), noise))
    found = posterior(Observations(np.zeros(1), slopes, np.array([noise]), np.array([low]), np.array([math.inf])))
    scale = float(slopes[0] @ slopes[0])
    at = low / total
    density, above = math.exp(-0.5 * at**2) / math.sqrt(2.0 * math.pi), 0.5 * math.erfc(at / math.sqrt(2.0))
    # Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1 (1994), 13.10.1 (from memory).
    ratio = density / above
    assert pytest.approx(scale / total * ratio) == float(slopes[0] @ found.mean)
    assert pytest.approx(scale - scale**2 / total**2 * ratio * (ratio - at)) == float(
        slopes[0] @ found.covariance @ slopes[0]
    )


def test_against_draws() -> None:
    """Mean and deviation of three parameters after four outcomes are those of 400,000 weighted draws."""
    random = np.random.default_rng(8037)
    slopes = np.array([[1.0, 0.3, 0.0], [0.8, -0.2, 0.5], [0.0, 1.0, 1.0], [1.0, 1.0, 0.0]])
    offset, noise = np.array([0.2, -0.1, 0.0, 0.3]), np.array([0.4, 0.3, 0.5, 0.4])
    low, high = np.array([0.0, -0.3, -math.inf, 0.5]), np.array([math.inf, 0.0, 0.4, math.inf])
    z = random.normal(size=(400_000, 3))
    seen = offset + z @ slopes.T + noise * random.normal(size=(z.shape[0], 4))
    kept = z[((seen > low) & (seen < high)).all(axis=1)]
    found = posterior(Observations(offset, slopes, noise, low, high))
    assert pytest.approx(kept.mean(axis=0), abs=0.03) == found.mean
    assert pytest.approx(np.cov(kept.T), abs=0.03) == found.covariance


def test_outcome_moves_no_farther_than_it_can_tell() -> None:
    """A hard surprise moves what it tells of by 1.5 deviations, and no quantity that depends on nothing."""
    found = posterior(observed([0.0, 0.0], [[1.0], [0.0]], [0.1, 0.1], [8.0, 8.0], [math.inf, math.inf]))
    assert pytest.approx(FARTHEST_STEP) == found.mean[0]
    assert [0.0, 0.0] == [found.left_out_mean[1], found.left_out_variance[1]]


def test_left_out_is_the_posterior_of_the_others() -> None:
    """For readings, a quantity without its own observation is what the others alone give."""
    slopes, value = np.array([[1.0, 0.2], [0.5, 1.0], [0.3, -0.4]]), np.array([0.5, -0.2, 0.1])
    every = posterior(Observations(np.zeros(3), slopes, np.full(3, 0.3), value, value))
    rest = posterior(Observations(np.zeros(2), slopes[1:], np.full(2, 0.3), value[1:], value[1:]))
    assert pytest.approx(float(slopes[0] @ rest.mean)) == every.left_out_mean[0]
    assert pytest.approx(float(slopes[0] @ rest.covariance @ slopes[0])) == every.left_out_variance[0]


def test_nothing_observed() -> None:
    """Without observations the prior is known."""
    found = posterior(Observations(np.zeros(0), np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(0)))
    assert ([0.0, 0.0], np.eye(2).tolist()) == (found.mean.tolist(), found.covariance.tolist())


def test_likelihoods_that_do_not_settle_are_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the rounds run out, that is said, and no half-way answer is given."""
    monkeypatch.setattr(propagation, "_MOST_ROUNDS", 1)
    with pytest.raises(ArithmeticError, match="do not settle"):
        posterior(observed([0.0], [[1.0]], [1.0], [0.0], [math.inf]))
