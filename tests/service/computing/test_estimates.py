"""How long questions are thought to take."""

from __future__ import annotations

import pytest

from featherline_service.computing.estimates import Estimates


def test_the_first_is_a_guess_and_then_the_mean_follows() -> None:
    """The first that is done replaces the guess; each after it moves the mean by a fifth of the way."""
    estimates = Estimates()
    assert 0.01 == estimates.of("quote")
    estimates.add("quote", 0.5)
    assert 0.5 == estimates.of("quote")
    estimates.add("quote", 1.0)

    assert 0.6 == pytest.approx(estimates.of("quote"))
    assert 0.01 == estimates.of("fit")


def test_kinds_without_end_take_no_memory() -> None:
    """The kind asked for the longest time ago is forgotten."""
    estimates = Estimates()
    for number in range(2_000):
        estimates.add(number, 1.0)

    assert (0.01, 1.0) == (estimates.of(0), estimates.of(1_999))
