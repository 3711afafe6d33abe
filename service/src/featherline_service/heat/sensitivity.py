"""How temperatures answer to small changes of a stack's properties: exact first derivatives, from the modes in hand.

A stack's system is a sum over its parts: ``K = sum K_l + sum C_i`` of layers' conduction and contacts, and
``M = sum M_l`` of layers' storage. A small relative change of a part changes the modal amplitudes as a drive does, and
that drive is a sum of exponentials; so the derivative at any time is one too. No second eigen-problem is solved,
whatever the number of parts.

The parts are ordered: each layer's conduction (``k / L``), each layer's storage (``rho c L``), each conductance from
the top boundary to the bottom one. There are ``3 layers + 1`` of them.

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
"""Rates that fall together are taken to be this share apart: a divided difference needs two, and this changes no digit
that counts."""


class Parts(NamedTuple):
    """The parts of a decomposed stack between its modes, ``(parts, n, n)``: flows, but for the `stores`.

    `top` is the part of the top contact.
    """

    between: Floats
    stores: slice
    top: int


def parts(stack: Stack, modes: Modes) -> Parts:
    """Return every part of one stack (no batch axes) between its modes, in W/(m2 K) and J/(m2 K) times the shapes."""
    plan, shape = modes.layout, modes.shape
    layers = len(plan.orders)
    between = np.zeros((3 * layers + 1, plan.size, plan.size))
    for layer, order in enumerate(plan.orders):
        part, rows = element(order), shape[plan.nodes(layer)]
        flow = 2.0 * stack.conductivity_w_mk[layer] / stack.thickness_m[layer]
        between[layer] = rows.T @ (flow * part.stiffness) @ rows
        store = 0.5 * stack.capacity_j_m3k[layer] * stack.thickness_m[layer] * part.weight
        between[layers + layer] = (rows.T * store) @ rows
    for joint in range(layers + 1):
        if 0 < joint < layers and plan.bonded[joint - 1]:
            continue
        jump = (shape[plan.top(joint)] if joint < layers else 0.0) - (shape[plan.bottom(joint - 1)] if joint else 0.0)
        between[2 * layers + joint] = stack.conductance_w_m2k[joint] * np.outer(jump, jump)
    return Parts(between, slice(layers, 2 * layers), 2 * layers)


def _driven(split: Parts, by_flow: Floats | float, by_store: Floats) -> Floats:
    """Return the drive of mode k on mode j by a change of each part, ``(parts, n, n)``: flows and stores times `by`."""
    by = np.empty(split.between.shape[:2])
    by[:] = by_flow
    by[split.stores] = by_store
    return np.asarray(split.between * by[:, None, :])


def _divided(modes: Modes) -> tuple[Floats, Floats]:
    """Return the rates, none twice, and ``1 / (rate_j - rate_k)`` with a diagonal of zeros."""
    rate = modes.rate_per_s
    if (np.diff(rate) < _APART * rate[1:]).any():
        rate = rate.copy()
        for mode in range(1, rate.size):
            rate[mode] = max(rate[mode], rate[mode - 1] * (1.0 + _APART))
    apart = rate[:, None] - rate
    np.fill_diagonal(apart, np.inf)
    return rate, 1.0 / apart


class StepSlope(NamedTuple):
    """Derivatives of the modal amplitudes of a unit step, by each part: see `step_slope`.

    ``b_j = settled_j (1 - e_j) + sum_k coupling_jk (e_k - e_j) + resonant_j t e_j``.
    """

    rate_per_s: Floats
    settled: Floats
    coupling: Floats
    resonant: Floats


def step_slope(modes: Modes, split: Parts) -> StepSlope:
    """Return how the modal amplitudes of a step of the top boundary by 1 K answer to each part's relative change.

    With ``a_k = (g_k / rate_k) (1 - e_k)`` the amplitudes and ``e_k = exp(-rate_k t)``, the derivative ``b`` obeys
    ``db_j/dt = -rate_j b_j + q_j + sum_k H_jk e_k`` with ``H = K g / rate - M g`` and ``q = dg - K g / rate``.
    """
    rate, divided = _divided(modes)
    drive = float(modes.top_w_m2k) * modes.shape[0]
    steady = drive / rate
    force = _driven(split, steady, -drive)
    settled = -force.sum(axis=2)
    settled[split.stores] = 0.0
    settled[split.top] += drive
    resonant = np.einsum("pjj->pj", force).copy()
    force *= divided
    return StepSlope(rate, settled / rate, force, resonant)


def step_slopes_at(slope: StepSlope, rows: Floats, times_s: ArrayLike) -> Floats:
    """Return derivatives of a unit step's temperatures at some nodes: ``(parts, rows, times)`` [K per relative change].

    Args:
        slope: the decomposed stack's `step_slope`.
        rows: shapes at the nodes asked for, ``(rows, n)``.
        times_s: times [s] after the step, ``(times,)``.
    """
    times = np.asarray(times_s, dtype=np.float64)
    decay = np.exp(-slope.rate_per_s[:, None] * times)
    own = slope.settled + slope.coupling.sum(axis=2)
    fading = rows @ slope.coupling - rows * own[:, None, :]
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
    own = slope.settled + slope.coupling.sum(axis=2)
    moving = slope.coupling @ decay - own[:, :, None] * decay
    return np.asarray(slope.settled[:, :, None] + moving + slope.resonant[:, :, None] * (times * decay))


def decay_slopes_at(modes: Modes, split: Parts, start: Floats, rows: Floats, times_s: Floats) -> Floats:
    """Return derivatives of a free decay with the boundaries at 0, each at its own row, start and time.

    The start itself is held; how the start answers is another decay, which adds to this.

    Args:
        modes: the decomposed stack.
        split: its `parts`.
        start: amplitudes at time zero, ``(cases, n)``.
        rows: shapes at the node asked for, ``(cases, n)``.
        times_s: time [s] of each case, ``(cases,)``.

    Returns:
        ``(parts, cases)`` [K per relative change].
    """
    rate, divided = _divided(modes)
    force = _driven(split, -1.0, rate)
    decay = np.exp(-times_s[:, None] * rate)
    resonance = (rows * decay * start) @ np.einsum("pjj->jp", force) * times_s[:, None]
    # sum of rows_j F_jk (e_k - e_j) start_k, without forming the three-index table
    force *= divided
    moving = (((rows @ force) * decay - (rows * decay) @ force) * start).sum(axis=2)
    return np.asarray(moving + resonance.T)
