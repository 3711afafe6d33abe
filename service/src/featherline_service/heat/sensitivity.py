"""Sensitivity of temperatures to a stack's properties: exact first derivatives from the decomposed stack.

A stack's matrices are sums over its parts: ``K = sum K_l + sum C_i`` over the layers' conduction and the contacts, and
``M = sum M_l`` over the layers' storage. A small relative change of a part acts on the modal amplitudes as a drive
that is a sum of exponentials, so the derivative at any time is one too. No second eigen-problem is solved, whatever
the number of parts.

There are ``3 layers + 1`` parts, in this order: each layer's conduction (``k / L``), each layer's storage
(``rho c L``), each conductance from the top boundary to the bottom one.

References:
    Fox & Kapoor, AIAA Journal 6 (1968) 2426-2429: derivatives of eigenvalues and eigenvectors (from memory).
    Najfeld & Havel, Advances in Applied Mathematics 16 (1995) 321-375: the derivative of a matrix exponential by
        divided differences in the eigenbasis (from memory).
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from featherline_service.heat.conduction import Decomposed, Stack, flows

Floats = NDArray[np.float64]

_APART: Final = 1e-8
"""[-] Least relative distance of two decay rates: equal rates are taken this far apart, because a divided difference
needs two different ones; no digit of the result that matters changes."""


class Parts(NamedTuple):
    """The parts of a decomposed stack between its modes: `between` is ``(..., parts, n, n)``.

    Rows are flows, except for the storage in the slice `stores`. `top` is the index of the top contact.
    """

    between: Floats
    stores: slice
    top: int


def parts(stack: Stack, modes: Decomposed) -> Parts:
    """Return every part of a stack between its modes: flows in 1/s, storage without unit.

    A bonded joint is no part of its own: its row is zero, as is that of a layer which one of several stacks lacks.

    Args:
        stack: the stack, or several as `conduction.alike` puts them.
        modes: its modes, or those of the several.
    """
    grid, size = modes.grid, modes.shape.shape[-1]
    layers = grid.sizes[1]
    shape = modes.shape.reshape(-1, size)
    between = np.empty((*modes.shape.shape[:-2], 3 * layers + 1, size, size))
    every = between.reshape(-1, 3 * layers + 1, size, size)
    rows = shape[grid.nodes]
    columns = rows.swapaxes(-1, -2)
    flow = (stack.conductivity_w_mk / stack.thickness_m)[..., None, None]
    store = (stack.capacity_j_m3k * stack.thickness_m)[..., None, None]
    np.matmul(columns, (flow * grid.stiffness) @ rows, out=every[:, :layers])
    np.matmul(columns, (store * grid.mass) * rows, out=every[:, layers : 2 * layers])
    jumps = grid.jumps @ shape.reshape(-1, size, size)
    np.multiply((flows(stack)[..., None] * jumps)[..., :, None], jumps[..., None, :], out=every[:, 2 * layers :])
    return Parts(between, slice(layers, 2 * layers), 2 * layers)


def _divided_differences(modes: Decomposed) -> tuple[Floats, Floats]:
    """Return the rates [1/s], no two equal, and ``1 / (rate_j - rate_k)`` [s] with zeros on the diagonal."""
    rate = modes.rate_per_s
    if (rate[..., 1:] - rate[..., :-1] < _APART * rate[..., 1:]).any():
        rate = rate.copy()
        for mode in range(1, rate.shape[-1]):
            rate[..., mode] = np.maximum(rate[..., mode], rate[..., mode - 1] * (1.0 + _APART))
    apart = rate[..., :, None] - rate[..., None, :]
    apart[..., np.arange(rate.shape[-1]), np.arange(rate.shape[-1])] = np.inf
    return rate, 1.0 / apart


class _Exchange(NamedTuple):
    """What a relative change of each part lets the modes drive in one another, as they decay.

    By a change of a part, mode k drives mode j by ``E_jk = (K - rate_k M)_jk`` of what is left of it. `alone`
    ``(..., parts, n)`` is ``E_jj``, and `coupling` ``(..., parts, n, n)`` is ``E_jk / (rate_j - rate_k)``.
    """

    rate_per_s: Floats
    alone: Floats
    coupling: Floats


def _exchange(modes: Decomposed, split: Parts) -> _Exchange:
    rate, divided = _divided_differences(modes)
    alone = np.diagonal(split.between, axis1=-2, axis2=-1).copy()
    alone[..., split.stores, :] *= -rate[..., None, :]
    coupling = np.empty_like(split.between)
    flows, divided = divided[..., None, :, :], -divided[..., None, :, :] * rate[..., None, None, :]
    for which, by in ((slice(split.stores.start), flows), (split.stores, divided), (slice(split.top, None), flows)):
        np.multiply(split.between[..., which, :, :], by, out=coupling[..., which, :, :])
    return _Exchange(rate, alone, coupling)


class StepSlope(NamedTuple):
    """Derivatives of the modal amplitudes of a unit step by each part's relative change, as coefficients.

    `steady` is ``(..., n)``, `settled`, `fade` and `resonant` are ``(..., parts, n)``, `coupling` is
    ``(..., parts, n, n)``: ``b_j = settled_j - fade_j e_j + sum_k coupling_jk steady_k e_k + resonant_j t e_j``.
    """

    rate_per_s: Floats
    steady: Floats
    settled: Floats
    fade: Floats
    coupling: Floats
    resonant: Floats


def step_slope(modes: Decomposed, split: Parts) -> StepSlope:
    """Return the derivatives of the modal amplitudes of a 1 K step of the top boundary by each part's relative change.

    With ``a_k = steady_k (1 - e_k)`` the amplitudes and ``e_k = exp(-rate_k t)``, the derivative ``b`` obeys
    ``db_j/dt = -rate_j b_j + q_j + sum_k E_jk steady_k e_k`` with ``E = K - rate M`` and ``q = dg - K steady``.
    """
    rate, alone, coupling = _exchange(modes, split)
    drive = modes.top_w_m2k[..., None] * modes.shape[..., 0, :]
    steady = drive / rate
    settled = -(split.between @ steady[..., None, :, None])[..., 0]
    settled[..., split.stores, :] = 0.0
    settled[..., split.top, :] += drive
    settled /= rate[..., None, :]
    fade = settled + (coupling @ steady[..., None, :, None])[..., 0]
    return StepSlope(rate, steady, settled, fade, coupling, alone * steady[..., None, :])


def step_slopes_at(slope: StepSlope, rows: Floats, times_s: ArrayLike) -> Floats:
    """Return derivatives of a unit step's temperatures at some nodes, ``(..., parts, rows, times)``.

    Args:
        slope: the decomposed stack's `step_slope`.
        rows: mode shapes at these nodes, ``(..., rows, n)``.
        times_s: times [s] after the step, ``(times,)``.

    Returns:
        Derivatives [K per relative change].
    """
    times = np.asarray(times_s, dtype=np.float64)
    decay = np.exp(-slope.rate_per_s[..., :, None] * times)[..., None, :, :]
    there = rows[..., None, :, :]
    fading = (there @ slope.coupling) * slope.steady[..., None, None, :] - there * slope.fade[..., None, :]
    lasting = slope.settled @ rows.swapaxes(-1, -2)
    return np.asarray(lasting[..., None] + fading @ decay + (there * slope.resonant[..., None, :]) @ (times * decay))


def step_amplitude_slopes(slope: StepSlope, times_s: ArrayLike) -> Floats:
    """Return derivatives of a unit step's modal amplitudes, ``(..., parts, n, times)``, per relative change.

    Args:
        slope: the decomposed stack's `step_slope`.
        times_s: times [s] after the step, ``(times,)``.
    """
    times = np.asarray(times_s, dtype=np.float64)
    decay = np.exp(-slope.rate_per_s[..., :, None] * times)[..., None, :, :]
    moving = slope.coupling @ (slope.steady[..., None, :, None] * decay) - slope.fade[..., None] * decay
    return np.asarray(slope.settled[..., None] + moving + slope.resonant[..., None] * (times * decay))


def decay_slopes_at(modes: Decomposed, split: Parts, start: Floats, rows: Floats, times_s: Floats) -> Floats:
    """Return derivatives of free decays with both boundaries at 0, from several starts, at nodes and times of each.

    The starts are held. If they depend on the parts, the decay of their derivatives is to be added.

    Args:
        modes: the decomposed stack.
        split: its `parts`.
        start: modal amplitudes at time zero, ``(..., starts, n)``.
        rows: mode shapes at the node of each case, ``(..., starts, cases, n)``.
        times_s: time [s] of each case, ``(..., starts, cases)``.

    Returns:
        ``(..., parts, starts, cases)`` [K per relative change].
    """
    rate, alone, coupling = _exchange(modes, split)
    decay = np.exp(-times_s[..., None] * rate[..., None, None, :])
    left, fading = start[..., :, None, :] * decay, rows * decay
    # The sum of rows_j E_jk (e_k - e_j) start_k, without an array of four indices.
    flat = (*left.shape[:-3], 1, left.shape[-3] * left.shape[-2], left.shape[-1])
    driven = coupling @ left.reshape(flat).swapaxes(-1, -2)
    driven *= rows.reshape(flat).swapaxes(-1, -2)
    moving = driven.sum(axis=-2).reshape(*driven.shape[:-2], *times_s.shape[-2:])
    by_start = np.moveaxis(coupling @ start[..., None, :, :].swapaxes(-1, -2), (-3, -1), (-1, -3))
    moving -= np.moveaxis(fading @ by_start, -1, -3)
    resonant = (rows * left * times_s[..., None]) @ alone[..., None, :, :].swapaxes(-1, -2)
    return np.asarray(-(moving + np.moveaxis(resonant, -1, -3)))
