"""Tails of the normal and of the chi-square distribution, against another library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import chdtrc, erfcx, log_ndtr

from featherline_service.evidence.normal import chi_square_tail, log_cumulative, log_density, log_mills


def test_logarithm_of_the_cumulative_distribution() -> None:
    """From the far lower to the far upper tail it is that of SciPy's, which has its own implementation."""
    x = np.concatenate((-np.geomspace(1e3, 1e-3, 200), [0.0], np.geomspace(1e-3, 40.0, 200)))
    assert pytest.approx(log_ndtr(x), rel=1e-13, abs=1e-300) == log_cumulative(x)


def test_cumulative_distribution_over_the_density() -> None:
    """It is SciPy's scaled complementary error function (Abramowitz & Stegun 7.1.2), in the far tail too."""
    x = np.concatenate((-np.geomspace(1e3, 1e-3, 200), np.geomspace(1e-3, 30.0, 200)))
    assert pytest.approx(np.sqrt(np.pi / 2.0) * erfcx(-x / np.sqrt(2.0)), rel=1e-12) == np.exp(log_mills(x))


def test_shape_is_kept() -> None:
    """Arrays of any shape are taken, empty ones too."""
    assert [(2, 3), (0,)] == [log_cumulative(np.zeros(shape)).shape for shape in ((2, 3), (0,))]


def test_density_at_the_mean() -> None:
    """The standard normal density at zero is one over the root of two pi."""
    assert pytest.approx(1.0 / np.sqrt(2.0 * np.pi)) == np.exp(log_density(np.zeros(1)))[0]


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 7, 10, 61])
@pytest.mark.parametrize("value", [0.0, 1e-6, 0.3, 1.0, 8.0, 40.0, 300.0])
def test_chi_square(value: float, degrees: int) -> None:
    """The tail of the chi-square distribution is that of SciPy's."""
    assert pytest.approx(chdtrc(degrees, value), rel=1e-11, abs=1e-60) == chi_square_tail(value, degrees)
