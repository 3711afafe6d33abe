"""What is known of named parameters."""

from __future__ import annotations

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline_service.evidence.parameters import Belief, Parameter, marginal, prior, symmetric_root

FIRST, SECOND, THIRD = (Parameter(("contact", name), "from-memory") for name in ("above", "below", "beside"))


def test_prior_is_standard_normal() -> None:
    """Before anything is observed each parameter has mean 0 and variance 1, and none goes with another."""
    belief = prior([FIRST, SECOND])
    assert ((FIRST, SECOND), [0.0, 0.0], np.eye(2).tolist()) == (
        belief.parameters,
        belief.mean.tolist(),
        belief.covariance.tolist(),
    )


def test_marginal_keeps_what_is_known_and_adds_the_prior() -> None:
    """Of parameters in another order, with one that is new, the known ones keep mean and covariance."""
    belief = Belief((FIRST, SECOND), np.array([1.0, 2.0]), np.array([[0.5, 0.2], [0.2, 0.8]]))
    found = marginal(belief, [THIRD, SECOND, FIRST])
    assert [0.0, 2.0, 1.0] == found.mean.tolist()
    assert [[1.0, 0.0, 0.0], [0.0, 0.8, 0.2], [0.0, 0.2, 0.5]] == found.covariance.tolist()


def test_marginal_of_strangers_is_the_prior() -> None:
    """Of parameters that no observation told of, the prior is known."""
    found = marginal(prior([FIRST]), [THIRD])
    assert ([0.0], [[1.0]]) == (found.mean.tolist(), found.covariance.tolist())


@given(seed=st.integers(0, 10_000), size=st.integers(1, 8))
@settings(max_examples=drawn(60), deadline=None)
def test_symmetric_root(seed: int, size: int) -> None:
    """The root is symmetric and its square is the covariance, one without full rank too."""
    half = np.random.default_rng(seed).normal(size=(size, max(size - 1, 1)))
    root = symmetric_root(half @ half.T)
    assert pytest.approx(root.T) == root
    assert pytest.approx(half @ half.T, abs=1e-9) == root @ root


def test_directions_of_the_prior_are_its_parameters() -> None:
    """The symmetric root of the unit covariance is the unit matrix."""
    assert np.eye(3).tolist() == symmetric_root(np.eye(3)).tolist()
