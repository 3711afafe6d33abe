"""Moments of quantities that were seen to lie within a range."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erfcx
from scipy.stats import norm

from featherline_service.evidence.observations import Moments, Observations, seen_within


def seen(mean: float, variance: float, noise: float, low: float, high: float) -> Moments:
    """Return the moments of one quantity."""
    return seen_within(*(np.array([value]) for value in (mean, variance, noise, low, high)))


def test_truncation() -> None:
    """N(0, 1) above zero has mean sqrt(2 / pi) and variance 1 - 2 / pi (closed form)."""
    found = seen(0.0, 1.0, 0.0, 0.0, math.inf)
    assert pytest.approx(math.sqrt(2.0 / math.pi)) == found.mean[0]
    assert pytest.approx(1.0 - 2.0 / math.pi) == found.variance[0]


def test_probit() -> None:
    """With unit noise the mean is 1 / sqrt(pi) and the variance 1 - 1 / pi (closed form)."""
    found = seen(0.0, 1.0, 1.0, 0.0, math.inf)
    assert pytest.approx(1.0 / math.sqrt(math.pi)) == found.mean[0]
    assert pytest.approx(1.0 - 1.0 / math.pi) == found.variance[0]


@pytest.mark.parametrize("off", [3.0, 9.0, 60.0, 300.0])
def test_far_tail(off: float) -> None:
    """Far in the tail no digit of the mean is lost, and few of the variance (closed form by SciPy's scaled erfc)."""
    ratio = math.sqrt(2.0 / math.pi) / erfcx(off / math.sqrt(2.0))
    for sign, low, high in ((1.0, 0.0, math.inf), (-1.0, -math.inf, 0.0)):
        found = seen(-sign * off, 0.5, math.sqrt(0.5), low, high)
        assert pytest.approx(sign * (0.5 * ratio - off), rel=1e-13) == found.mean[0]
        assert pytest.approx(0.5 * (1.0 - 0.5 * ratio * (ratio - off)), rel=1e-10) == found.variance[0]


@given(
    mean=st.floats(-4.0, 4.0),
    deviation=st.floats(0.1, 3.0),
    noise=st.floats(0.05, 2.0),
    low=st.floats(-5.0, 5.0),
    width=st.floats(0.05, 4.0) | st.just(math.inf),
    below=st.booleans(),
)
@settings(max_examples=drawn(200), deadline=None)
def test_moments_are_those_of_the_integrals(
    mean: float, deviation: float, noise: float, low: float, width: float, *, below: bool
) -> None:
    """Mean and variance are the integrals over the quantity's density times the probability of what was seen."""
    low, high = (-math.inf, low) if below else (low, low + width)

    at = np.linspace(mean - 9.0 * deviation, mean + 9.0 * deviation, 20_001)
    weight = norm.pdf(at, mean, deviation) * (norm.cdf((high - at) / noise) - norm.cdf((low - at) / noise))
    if weight.sum() * (at[1] - at[0]) < 1e-6:
        return  # the differences are not up to the tails
    first = np.average(at, weights=weight)
    second = np.average((at - first) ** 2, weights=weight)
    found = seen(mean, deviation**2, noise, low, high)
    assert pytest.approx((first, second), rel=1e-4, abs=1e-6) == (found.mean[0], found.variance[0])


@given(
    end=st.floats(-1e9, 1e9) | st.sampled_from([-math.inf, math.inf]),
    width=st.floats(1e-3, 1e9) | st.just(math.inf),
    noise=st.floats(0.0, 10.0),
)
@settings(max_examples=drawn(400), deadline=None)
def test_every_range_has_finite_moments(end: float, width: float, noise: float) -> None:
    """However unlikely a range is, the moments are finite and the variance is no larger than before."""
    low, high = (-math.inf, end) if math.isinf(end) or math.isinf(width) else (end, end + width)
    found = seen(0.0, 1.0, noise, low, high)
    assert np.isfinite(found.mean).all()
    assert 0.0 <= found.variance[0] <= 1.0 + 1e-12


def test_readings_have_no_range() -> None:
    """An observation whose range is one value is a reading."""
    column = np.zeros(2)
    observations = Observations(column, np.zeros((2, 1)), column, np.array([1.0, 1.0]), np.array([1.0, 2.0]))
    assert [True, False] == observations.is_reading.tolist()
