"""Agreement of observations: innovations, chances left out, contradictions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from featherline_service.evidence.agreement import disagree, innovations, left_out_chances, outliers, pair_chances
from featherline_service.evidence.observations import Observations
from featherline_service.evidence.propagation import posterior

Floats = NDArray[np.float64]


def of_one(low: list[float], high: list[float], noise: float = 0.1) -> Observations:
    """Return observations of one parameter."""
    count = len(low)
    return Observations(np.zeros(count), np.ones((count, 1)), np.full(count, noise), np.array(low), np.array(high))


def test_innovation_of_a_sum() -> None:
    """With z ~ N(0, I), z1 + z2 read as 1 with variance 1: chi-square 1/3 on 1 (closed form)."""
    found = innovations(
        Observations(np.zeros(1), np.ones((1, 2)), np.ones(1), np.ones(1), np.ones(1)),
    )
    assert pytest.approx((1.0 / 3.0, 1)) == (found.chi_square, found.readings)
    assert pytest.approx(math.erfc(math.sqrt(1.0 / 6.0))) == found.chance


def test_outcomes_have_no_innovation() -> None:
    """Without readings there is nothing that could be far off."""
    assert (0.0, 0, 1.0) == innovations(of_one([0.0], [math.inf]))


def test_chance_of_an_outcome() -> None:
    """Alone, an outcome's chance is its probability beforehand; a middle one's counts what is farther off too."""
    noise = 0.75  # so that the quantity and its error have variance 1.25 ** 2
    low, high = [0.0, -math.inf, 2.5], [math.inf, -2.5, 3.75]
    chances = [
        left_out_chances(seen, posterior(seen))[0]
        for seen in (of_one([bottom], [top], noise) for bottom, top in zip(low, high, strict=True))
    ]
    tail = 0.5 * math.erfc(2.0 / math.sqrt(2.0))
    assert pytest.approx([0.5, tail, tail]) == chances


def test_chance_of_a_reading_has_two_sides() -> None:
    """A reading 1.959964 deviations off has a chance of 5 %."""
    seen = of_one([1.959964 * 1.25], [1.959964 * 1.25], 0.75)
    assert pytest.approx(0.05, rel=1e-5) == left_out_chances(seen, posterior(seen))[0]


def test_agreeing_observations_are_not_named() -> None:
    """Observations that go together are no contradiction."""
    seen = of_one([0.2, 0.0, -math.inf], [0.2, math.inf, 0.5])
    assert [False] * 3 == disagree(seen, posterior(seen)).tolist()


def test_contradiction_is_named() -> None:
    """Of many that agree and one that does not, the one is named, whether a reading or an outcome."""
    seen = of_one([0.5] * 6 + [-math.inf], [0.5] * 6 + [-0.5])
    assert [False] * 6 + [True] == disagree(seen, posterior(seen)).tolist()


def test_readings_that_are_unlikely_together_are_all_named() -> None:
    """Two readings of different quantities, each at the edge, are a contradiction of what is assumed together."""
    value = np.full(4, 3.0)
    seen = Observations(np.zeros(4), np.eye(4), np.full(4, 0.5), value, value)
    assert (True, [True] * 4) == (
        bool((left_out_chances(seen, posterior(seen)) > 1e-3).all()),
        disagree(seen, posterior(seen)).tolist(),
    )


def test_certain_quantity() -> None:
    """What depends on no parameter and has no error has a chance of one or none."""
    seen = Observations(np.array([1.0]), np.zeros((1, 1)), np.zeros(1), np.zeros(1), np.array([math.inf]))
    assert pytest.approx(1.0, abs=1e-12) == left_out_chances(seen, posterior(seen))[0]


def test_pair_of_one_stack() -> None:
    """Two outcomes of one quantity differ by their errors alone: the chance is that of the errors' difference."""
    seen = of_one([0.0, -math.inf], [math.inf, -0.5], 0.1)
    found = pair_chances(seen)
    expected = 0.5 * math.erfc(0.5 / (0.1 * math.sqrt(2.0)) / math.sqrt(2.0))
    assert pytest.approx(np.array([[1.0, expected], [expected, 1.0]])) == found


def test_pair_of_different_stacks() -> None:
    """Where the quantities depend on different parameters, these may make the difference."""
    seen = Observations(np.zeros(2), np.eye(2), np.full(2, 0.1), np.array([0.0, -math.inf]), np.array([math.inf, -0.5]))
    assert pair_chances(seen)[0, 1] > 0.3


def test_the_farthest_off_is_left_out_first() -> None:
    """Of readings of one quantity, 0.1 about 1, one at 9 is named and none of the others, which it pulls along."""
    low = np.array([1.1, 0.9, 9.0, 1.0, 1.05])
    readings = Observations(np.zeros(5), np.ones((5, 1)), np.full(5, 0.1), low, low)
    assert [2] == [outlier.at for outlier in outliers(readings)]
    assert [] == outliers(Observations(*(column[low < 5.0] for column in readings)))


def test_no_more_than_some_are_named() -> None:
    """Where nothing goes together no single observation is to blame."""
    low = np.arange(20.0)
    found = outliers(Observations(np.zeros(20), np.ones((20, 1)), np.full(20, 0.01), low, low))
    assert 8 == len(found)
    assert all(outlier.chance < 1e-3 for outlier in found)
