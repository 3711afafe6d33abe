from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import lognorm, norm

from featherline_service.cost.spoilage import chance_of_any, heat_damage_chance, weak_bond_chance


def chance(peak: float, worst: float, limit: float, spread: float) -> float:
    """Return the probability of heat damage."""
    return heat_damage_chance(peak_c=peak, worst_case_c=worst, limit_c=limit, limit_spread_k=spread)


@given(st.floats(50, 200), st.floats(0.5, 20), st.floats(-30, 60), st.floats(0, 20))
def test_the_tail_is_the_normal_distributions(peak: float, band: float, margin: float, spread: float) -> None:
    """The probability is scipy's normal survival function of the margin over the combined standard deviation."""
    sigma = np.hypot(band, spread) / norm.ppf(0.975)

    assert chance(peak, peak + band, peak + margin, spread) == pytest.approx(norm.sf(margin / sigma), rel=1e-6)


def test_a_worst_case_at_the_limit_spoils_one_shoe_in_forty() -> None:
    """With an exactly known limit, 2.5 % of all pressings exceed the upper end of the 95 % band."""
    assert chance(140, 150, 150, 0) == pytest.approx(0.025, abs=1e-9)


def test_the_probability_agrees_with_sampling() -> None:
    """The share of 400,000 sampled peaks above their limits agrees within four standard errors."""
    random = np.random.default_rng(7)
    sigma_peak, sigma_limit = 8 / norm.ppf(0.975), 6 / norm.ppf(0.975)
    drawn = random.normal(145, sigma_peak, 400_000) > random.normal(152, sigma_limit, 400_000)
    expected = chance(145, 153, 152, 6)

    assert drawn.mean() == pytest.approx(expected, abs=4 * np.sqrt(expected / drawn.size))


@pytest.mark.parametrize(("limit", "expected"), [(150.0, 0.0), (130.0, 1.0)])
def test_without_uncertainty_a_layer_is_safe_or_spoilt(limit: float, expected: float) -> None:
    """Without uncertainty the probability is 0 below the limit and 1 above it."""
    assert expected == chance(140, 140, limit, 0)


@given(st.floats(-20, 60), st.floats(0, 10))
def test_hotter_is_never_safer(margin: float, rise: float) -> None:
    """The probability does not fall when the peak rises."""
    assert chance(140 + rise, 150 + rise, 140 + margin, 5) >= chance(140, 150, 140 + margin, 5)


def test_any_of_several() -> None:
    """Two halves give three quarters; a certain event gives 1; no events give 0."""
    assert (0.75, 1.0, 0.0) == (chance_of_any([0.5, 0.5]), chance_of_any([0.1, 1.0]), chance_of_any([]))


def test_a_dwell_at_the_worst_case_fails_one_time_in_forty() -> None:
    """A dwell at the upper end of the 95 % band fails in 2.5 % of all pressings, one at its median in half."""
    assert weak_bond_chance(dwell_s=40, shortest_s=25, sure_s=40) == pytest.approx(0.025, abs=1e-9)
    assert weak_bond_chance(dwell_s=25, shortest_s=25, sure_s=40) == pytest.approx(0.5)


@given(st.floats(5, 60), st.floats(5, 60), st.floats(1.01, 3))
def test_a_weak_bond_is_a_lognormal_tail(dwell: float, needed: float, ratio: float) -> None:
    """The probability is scipy's lognormal survival function of the needed dwell."""
    sigma = np.log(ratio) / norm.ppf(0.975)
    expected = lognorm.sf(dwell, sigma, scale=needed)

    assert weak_bond_chance(dwell_s=dwell, shortest_s=needed, sure_s=needed * ratio) == pytest.approx(
        expected, rel=1e-6
    )


@pytest.mark.parametrize(
    ("dwell", "sure", "expected"), [(30.0, 25.0, 0.0), (25.0, 25.0, 0.0), (24.0, 25.0, 1.0), (30.0, float("inf"), 0.5)]
)
def test_without_uncertainty_a_bond_holds_or_fails(dwell: float, sure: float, expected: float) -> None:
    """Without uncertainty the probability is 0 or 1; with an infinite band it is one half."""
    assert expected == weak_bond_chance(dwell_s=dwell, shortest_s=25.0, sure_s=sure)
