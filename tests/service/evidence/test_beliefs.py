"""What is known of named parameters."""

from __future__ import annotations

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.evidence.beliefs import Belief, mean_of, positions, prior, root_of

FIRST, SECOND, THIRD = ("contact", "above"), ("contact", "below"), ("platen", "swing")


def test_prior_is_standard_normal() -> None:
    """Before anything is observed each parameter has mean 0 and variance 1, and none goes with another."""
    belief = prior([FIRST, SECOND])
    assert ((FIRST, SECOND), [0.0, 0.0], np.eye(2).tolist()) == (
        belief.parameters,
        belief.mean.tolist(),
        belief.covariance.tolist(),
    )


def test_some_parameters_and_a_new_one() -> None:
    """Of parameters in another order, with one that is new, the known ones keep mean and covariance."""
    covariance = np.array([[0.5, 0.2], [0.2, 0.8]])
    belief = Belief((FIRST, SECOND), np.array([1.0, 2.0]), covariance)
    wanted = [THIRD, SECOND, FIRST]
    root = root_of(belief, wanted)
    assert [0.0, 2.0, 1.0] == mean_of(belief, wanted).tolist()
    assert pytest.approx(np.array([[1.0, 0.0, 0.0], [0.0, 0.8, 0.2], [0.0, 0.2, 0.5]])) == root @ root


def test_strangers_have_the_prior() -> None:
    """Of parameters that no observation told of, the prior is known."""
    belief = Belief((FIRST,), np.ones(1), np.full((1, 1), 0.1))
    assert ([0.0], [[1.0]]) == (mean_of(belief, [THIRD]).tolist(), root_of(belief, [THIRD]).tolist())


def test_positions() -> None:
    """Parameters are found among others, whatever their order."""
    here, there = positions([FIRST, SECOND, THIRD], [THIRD, FIRST])
    assert ([0, 2], [1, 0]) == (here.tolist(), there.tolist())


@given(seed=st.integers(0, 10_000), size=st.integers(1, 8))
@settings(max_examples=drawn(60), deadline=None)
def test_root(seed: int, size: int) -> None:
    """The root is symmetric and its square is the covariance, one without full rank too."""
    half = np.random.default_rng(seed).normal(size=(size, max(size - 1, 1)))
    names = [("limit", str(place)) for place in range(size)]
    root = root_of(Belief(tuple(names), np.zeros(size), half @ half.T), names)
    assert pytest.approx(root.T) == root
    assert pytest.approx(half @ half.T, abs=1e-9) == root @ root


def test_directions_of_the_prior_are_its_parameters() -> None:
    """The symmetric root of the unit covariance is the unit matrix."""
    assert np.eye(3).tolist() == root_of(prior([FIRST, SECOND, THIRD]), [FIRST, SECOND, THIRD]).tolist()
