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

from featherline_service.heat.conduction import Modes, Stack, element

Floats = NDArray[np.float64]

_APART: Final = 1e-8
"""[-] Least relative distance of two decay rates: equal rates are taken this far apart, because a divided difference
needs two different ones; no digit of the result that matters changes."""


class Parts(NamedTuple):
    """The parts of a decomposed stack between its modes: `between` is ``(parts, n, n)``.

    Rows are flows, except for the storage in the slice `stores`. `top` is the index of the top contact.
    """

    between: Floats
    stores: slice
    top: int


def parts(stack: Stack, modes: Modes) -> Parts:
    """Return every part of one stack (no batch axes) between its modes: flows in 1/s, storage without unit.

    A bonded joint is no part of its own: its row is zero.
    """
    plan, shape = modes.layout, modes.shape
    layers = len(plan.orders)
    between = np.zeros((3 * layers + 1, plan.size, plan.size))
    for layer, order in enumerate(plan.orders):
        part, rows = element(order), shape[plan.nodes(layer)]
        flow = 2.0 * stack.conductivity_w_mk[layer] / stack.thickness_m[layer]
        between[layer] = rows.T @ (flow * part.stiffness) @ rows
        store = 0.5 * stack.capacity_j_m3k[layer] * stack.thickness_m[layer] * part.weight
        between[layers + layer] = (rows.T * store) @ rows
    jumps = np.zeros((layers + 1, plan.size))
    jumps[:-1] = shape[list(plan.firsts)]
    jumps[1:] -= shape[[plan.bottom(layer) for layer in range(layers)]]
    # At a bonded joint the two nodes are one, so that the jump is zero, and the conductance infinite.
    flows = np.where(np.isinf(stack.conductance_w_m2k), 0.0, stack.conductance_w_m2k)
    np.multiply((flows[:, None] * jumps)[:, :, None], jumps[:, None, :], out=between[2 * layers :])
    return Parts(between, slice(layers, 2 * layers), 2 * layers)


def _drive(split: Parts, by_flow: Floats | float, by_store: Floats) -> Floats:
    """Return the drive of mode k on mode j by a change of each part, ``(parts, n, n)``.

    `by_flow` ``(n,)`` or one number multiplies the flows, `by_store` ``(n,)`` the storage.
    """
    by = np.empty(split.between.shape[:2])
    by[:] = by_flow
    by[split.stores] = by_store
    return np.asarray(split.between * by[:, None, :])


def _divided_differences(modes: Modes) -> tuple[Floats, Floats]:
    """Return the rates [1/s], no two equal, and ``1 / (rate_j - rate_k)`` [s] with zeros on the diagonal."""
    rate = modes.rate_per_s
    if (np.diff(rate) < _APART * rate[1:]).any():
        rate = rate.copy()
        for mode in range(1, rate.size):
            rate[mode] = max(rate[mode], rate[mode - 1] * (1.0 + _APART))
    apart = rate[:, None] - rate
    np.fill_diagonal(apart, np.inf)
    return rate, 1.0 / apart


class StepSlope(NamedTuple):
    """Derivatives of the modal amplitudes of a unit step by each part's relative change, as coefficients.

    `settled` and `resonant` are ``(parts, n)``, `coupling` is ``(parts, n, n)``:
    ``b_j = settled_j (1 - e_j) + sum_k coupling_jk (e_k - e_j) + resonant_j t e_j``.
    """

    rate_per_s: Floats
    settled: Floats
    coupling: Floats
    resonant: Floats


def step_slope(modes: Modes, split: Parts) -> StepSlope:
    """Return the derivatives of the modal amplitudes of a 1 K step of the top boundary by each part's relative change.

    With ``a_k = (g_k / rate_k) (1 - e_k)`` the amplitudes and ``e_k = exp(-rate_k t)``, the derivative ``b`` obeys
    ``db_j/dt = -rate_j b_j + q_j + sum_k H_jk e_k`` with ``H = K g / rate - M g`` and ``q = dg - K g / rate``.
    """
    rate, divided = _divided_differences(modes)
    drive = float(modes.top_w_m2k) * modes.shape[0]
    steady = drive / rate
    force = _drive(split, steady, -drive)
    settled = -force.sum(axis=2)
    settled[split.stores] = 0.0
    settled[split.top] += drive
    resonant = np.einsum("pjj->pj", force).copy()
    force *= divided
    return StepSlope(rate, settled / rate, force, resonant)


def step_slopes_at(slope: StepSlope, rows: Floats, times_s: ArrayLike) -> Floats:
    """Return derivatives of a unit step's temperatures at some nodes, ``(parts, rows, times)`` [K per relative change].

    Args:
        slope: the decomposed stack's `step_slope`.
        rows: mode shapes at these nodes, ``(rows, n)``.
        times_s: times [s] after the step, ``(times,)``.
    """
    times = np.asarray(times_s, dtype=np.float64)
    decay = np.exp(-slope.rate_per_s[:, None] * times)
    fade = slope.settled + slope.coupling.sum(axis=2)
    fading = rows @ slope.coupling - rows * fade[:, None, :]
    lasting = slope.settled @ rows.T
    return np.asarray(lasting[:, :, None] + fading @ decay + (rows * slope.resonant[:, None, :]) @ (times * decay))


def step_amplitude_slopes(slope: StepSlope, times_s: ArrayLike) -> Floats:
    """Return derivatives of a unit step's modal amplitudes, ``(parts, n, times)``, per relative change.

    Args:
        slope: the decomposed stack's `step_slope`.
        times_s: times [s] after the step, ``(times,)``.
    """
    times = np.asarray(times_s, dtype=np.float64)
    decay = np.exp(-slope.rate_per_s[:, None] * times)
    fade = slope.settled + slope.coupling.sum(axis=2)
    moving = slope.coupling @ decay - fade[:, :, None] * decay
    return np.asarray(slope.settled[:, :, None] + moving + slope.resonant[:, :, None] * (times * decay))


def decay_slopes_at(modes: Modes, split: Parts, start: Floats, rows: Floats, times_s: Floats) -> Floats:
    """Return derivatives of free decays with both boundaries at 0, one for each case of node, start and time.

    The start is held. If the start depends on the parts, the decay of its derivative is to be added.

    Args:
        modes: the decomposed stack.
        split: its `parts`.
        start: modal amplitudes at time zero, ``(cases, n)``.
        rows: mode shapes at the node of each case, ``(cases, n)``.
        times_s: time [s] of each case, ``(cases,)``.

    Returns:
        ``(parts, cases)`` [K per relative change].
    """
    rate, divided = _divided_differences(modes)
    force = _drive(split, -1.0, rate)
    decay = np.exp(-times_s[:, None] * rate)
    resonance = (rows * decay * start) @ np.einsum("pjj->jp", force) * times_s[:, None]
    # The sum of rows_j F_jk (e_k - e_j) start_k, without an array of three indices.
    force *= divided
    moving = (((rows @ force) * decay - (rows * decay) @ force) * start).sum(axis=2)
    return np.asarray(moving + resonance.T)
