"""Parameters: named quantities that are uncertain, each standard normal as long as nothing is observed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Name = tuple[str, ...]


class Parameter(NamedTuple):
    """An uncertain quantity and the record that its value and spread come from.

    Its value is a function of `z`, which is standard normal: at `z` of plus and minus 1.96 it is at the ends of its
    95 % band.
    """

    name: Name
    source: str


class Belief(NamedTuple):
    """A normal distribution of parameters: their mean ``(n,)`` and covariance ``(n, n)``, in their order."""

    parameters: tuple[Parameter, ...]
    mean: Floats
    covariance: Floats


def prior(parameters: Iterable[Parameter]) -> Belief:
    """Return what is known of parameters before anything is observed."""
    names = tuple(parameters)
    return Belief(names, np.zeros(len(names)), np.eye(len(names)))


def marginal(belief: Belief, parameters: Iterable[Parameter]) -> Belief:
    """Return what is known of some parameters, in their order; of those that the belief lacks, the prior."""
    wanted = tuple(parameters)
    at: Mapping[Name, int] = {parameter.name: row for row, parameter in enumerate(belief.parameters)}
    known = [(row, at[parameter.name]) for row, parameter in enumerate(wanted) if parameter.name in at]
    mean, covariance = np.zeros(len(wanted)), np.eye(len(wanted))
    if known:
        here, there = (np.array(rows) for rows in zip(*known, strict=True))
        mean[here] = belief.mean[there]
        covariance[np.ix_(here, here)] = belief.covariance[np.ix_(there, there)]
    return Belief(wanted, mean, covariance)


def symmetric_root(covariance: Floats) -> Floats:
    """Return the symmetric root ``R`` of a covariance ``(n, n)``, so that ``R R`` is the covariance.

    Its columns are independent directions: ``mean + R e`` with standard normal ``e`` is distributed as the belief. At
    the prior each direction is one parameter.

    References:
        Golub & Van Loan, Matrix Computations, 4th ed. (2013), section 4.2.4: the square root of a positive semidefinite
            matrix (from memory).
    """
    value, vector = np.linalg.eigh(covariance)
    return np.asarray((vector * np.sqrt(np.maximum(value, 0.0))) @ vector.T)
