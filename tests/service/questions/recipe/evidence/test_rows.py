"""Observations put together over the parameters of all."""

from __future__ import annotations

import numpy as np

from featherline_service.evidence.beliefs import Belief, prior
from featherline_service.evidence.observations import Observations
from featherline_service.questions.recipe.evidence.rows import (
    FARTHEST_STEP,
    Rows,
    belief_of,
    joined,
    nothing,
    some,
    unit,
    within_step,
)

FIRST, SECOND, THIRD = ("contact", "above"), ("contact", "below"), ("platen", "swing")


def rows_of(*parameters: tuple[str, ...], slopes: list[list[float]], sighting: int = 0, worth: int = 0) -> Rows:
    """Return readings of 1 with an error of 1."""
    count = len(slopes)
    one = np.ones(count)
    return Rows(
        parameters,
        Observations(np.zeros(count), np.array(slopes), one, one, one),
        np.full(count, sighting, dtype=np.intp),
        np.full(count, worth, dtype=np.intp),
    )


def test_joined_rows() -> None:
    """Each row keeps its slopes; parameters that it does not know have none."""
    found = joined(
        [rows_of(FIRST, SECOND, slopes=[[1.0, 2.0]]), rows_of(THIRD, FIRST, slopes=[[3.0, 4.0]], sighting=5, worth=1)]
    )
    assert (FIRST, SECOND, THIRD) == found.parameters
    assert [[1.0, 2.0, 0.0], [4.0, 0.0, 3.0]] == found.observations.slopes.tolist()
    assert ([0, 5], [0, 1]) == (found.sighting.tolist(), found.worth.tolist())


def test_nothing_is_known_of_nothing() -> None:
    """Without rows the prior of no parameter is known, and joining adds none."""
    assert ((), 0) == (belief_of(nothing()).parameters, belief_of(joined([nothing()])).mean.size)


def test_belief_of_rows() -> None:
    """A sum read as 1 with an error of 1 gives each parameter a third (closed form)."""
    found = belief_of(rows_of(FIRST, SECOND, slopes=[[1.0, 1.0]]))
    assert np.allclose(found.mean, 1.0 / 3.0)


def test_some_rows() -> None:
    """Rows are left out with all that belongs to them."""
    found = some(
        joined([rows_of(FIRST, slopes=[[1.0]]), rows_of(FIRST, slopes=[[2.0]], sighting=3)]), np.array([False, True])
    )
    assert ([[2.0]], [3]) == (found.observations.slopes.tolist(), found.sighting.tolist())


def test_a_mean_is_brought_within_a_step() -> None:
    """The mean goes no farther than 1.5 deviations of each parameter from where it was."""
    before = Belief((SECOND,), np.array([1.0]), np.eye(1))
    found = within_step(Belief((FIRST, SECOND), np.array([-9.0, 1.2]), np.eye(2)), before)
    assert [-FARTHEST_STEP, 1.2] == found.mean.tolist()
    assert [0.3] == within_step(prior([FIRST])._replace(mean=np.array([0.3])), prior([])).mean.tolist()


def test_unit_change() -> None:
    """A change by one parameter alone, and none by one that is not there."""
    assert ([0.0, 2.0], [0.0]) == (
        unit([FIRST, SECOND], SECOND, 2.0).tolist(),
        unit([FIRST], SECOND, 2.0).tolist(),
    )
