"""Beliefs: what is known of uncertain parameters, each standard normal as long as nothing is observed.

A parameter is a quantity by its name. Its value is a function of `z`, which is standard normal at first: at `z` of plus
and minus 1.96 it is at the ends of its 95 % band.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Parameter = tuple[str, ...]
"""The name of an uncertain quantity. Two things that name the same one have it in common."""


class Belief(NamedTuple):
    """A normal distribution of parameters: their mean ``(n,)`` and covariance ``(n, n)``, in their order."""

    parameters: tuple[Parameter, ...]
    mean: Floats
    covariance: Floats


def prior(parameters: Iterable[Parameter]) -> Belief:
    """Return what is known of parameters before anything is observed."""
    names = tuple(parameters)
    return Belief(names, np.zeros(len(names)), np.eye(len(names)))


def positions(parameters: Sequence[Parameter], among: Sequence[Parameter]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return at which places parameters are that are among others, and at which places of these."""
    return _positions(tuple(parameters), tuple(among))


@functools.lru_cache(maxsize=512)
def _positions(
    parameters: tuple[Parameter, ...], among: tuple[Parameter, ...]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    at: Mapping[Parameter, int] = {name: place for place, name in enumerate(among)}
    both = [(place, at[name]) for place, name in enumerate(parameters) if name in at]
    here, there = np.array(both, dtype=np.intp).reshape(-1, 2).T.copy()
    for array in (here, there):
        array.setflags(write=False)  # the cache returns the same arrays to every caller
    return here, there


def mean_of(belief: Belief, parameters: Sequence[Parameter]) -> Floats:
    """Return the mean of some parameters, ``(n,)``; of those that the belief lacks, zero."""
    mean = np.zeros(len(parameters))
    if not belief.parameters:
        return mean
    here, there = positions(parameters, belief.parameters)
    mean[here] = belief.mean[there]
    return mean


def root_of(belief: Belief, parameters: Sequence[Parameter]) -> Floats:
    """Return the symmetric root ``R`` of the covariance of some parameters, ``(n, n)``: ``R R`` is the covariance.

    Parameters that the belief lacks are independent, with variance 1. The root's columns are independent directions:
    ``mean + R e`` with standard normal ``e`` is distributed as the parameters. At the prior each direction is one
    parameter.

    References:
        Golub & Van Loan, Matrix Computations, 4th ed. (2013), section 4.2.4: the square root of a positive semidefinite
            matrix (from memory).
    """
    root = np.eye(len(parameters))
    here, there = positions(parameters, belief.parameters)
    if here.size:
        root[np.ix_(here, here)] = _symmetric_root(belief.covariance[np.ix_(there, there)].tobytes(), here.size)
    return root


@functools.lru_cache(maxsize=128)
def _symmetric_root(covariance: bytes, size: int) -> Floats:
    """Return the symmetric root of a covariance: stacks that have the same materials ask for the same one."""
    value, vector = np.linalg.eigh(np.frombuffer(covariance).reshape(size, size))
    root = (vector * np.sqrt(np.maximum(value, 0.0))) @ vector.T
    root.setflags(write=False)  # the cache returns the same array to every caller
    return np.asarray(root)
