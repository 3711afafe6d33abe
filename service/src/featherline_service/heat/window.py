"""Window of dwells: its records, interpolation over dwells, the worst of several changes, and the dwell to set.

What ends a window at the worst case is in `worst_case.py`.

References:
    JCGM 100:2008 (GUM), clause 5.1.2: the law of propagation of uncertainty for independent inputs (from memory).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from featherline_service.heat.damage import exposure
from featherline_service.heat.pressing import AFTER_S, BAND_DWELLS, DWELLS_S, TIMES_S, PressingResponse

Floats = NDArray[np.float64]

FINE: Final = 6
"""[-] Steps between two of `DWELLS_S`."""
FINE_DWELLS_S: Final[Floats] = np.geomspace(DWELLS_S[0], DWELLS_S[-1], FINE * (DWELLS_S.size - 1) + 1)
"""[s] The dwells of `DWELLS_S` and those between, to which layers' peaks are interpolated by cubics."""


def _catmull_rom(count: int, fine: int) -> Floats:
    """Return weights ``(fine, count)`` of the cubic through evenly spaced values with central differences as slopes.

    References:
        Catmull & Rom, in Computer Aided Geometric Design (1974) 317-326 (from memory).
    """
    slope = np.zeros((count, count))
    for at in range(1, count - 1):
        slope[at, at - 1], slope[at, at + 1] = -0.5, 0.5
    slope[0, :3], slope[-1, -3:] = (-1.5, 2.0, -0.5), (0.5, -2.0, 1.5)
    position = np.linspace(0.0, count - 1.0, fine)
    left = np.minimum(position.astype(np.intp), count - 2)
    t = (position - left)[:, None]
    value = np.eye(count)
    return np.asarray(
        (1.0 + 2.0 * t) * (1.0 - t) ** 2 * value[left]
        + t * (1.0 - t) ** 2 * slope[left]
        + t**2 * (3.0 - 2.0 * t) * value[left + 1]
        - t**2 * (1.0 - t) * slope[left + 1]
    )


_CUBIC: Final = _catmull_rom(DWELLS_S.size, FINE_DWELLS_S.size)
"""Weights from `DWELLS_S` to `FINE_DWELLS_S`."""
_LINEAR: Final = np.stack(
    [np.interp(np.log(FINE_DWELLS_S), np.log(DWELLS_S[BAND_DWELLS]), unit) for unit in np.eye(BAND_DWELLS.size)], axis=1
)
"""Weights from the dwells of `BAND_DWELLS` to `FINE_DWELLS_S`."""
_AT_DWELLS: Final = np.stack([np.interp(DWELLS_S, TIMES_S, unit) for unit in np.eye(TIMES_S.size)], axis=1)
"""Weights from `TIMES_S` to `DWELLS_S`."""
_ROUNDING: Final = 1e-9
"""[-] Share of a step of the timer that counts as rounding."""
_LEAST_S: Final = 1e-9
"""[s] Stands for a dwell of zero, in logarithms and ratios."""


class Adhesive(NamedTuple):
    """An adhesive's onset [degC] and its activation energy [J/mol]: nominal, and the ends of its 95 % band."""

    onset_c: float
    activation_j_mol: float
    activation_low_j_mol: float
    activation_high_j_mol: float


class Published(NamedTuple):
    """A film's published setting: platen temperature [degC], shortest and longest dwell [s].

    The range says how the film is bonded on cloth, and limits nothing. `harmed_s` is the dwell [s] of the same setting
    from which on longer pressing is known to harm the film; infinity where no harm is known.
    """

    platen_c: float
    shortest_s: float
    longest_s: float
    harmed_s: float = math.inf


class BondDwells(NamedTuple):
    """Dwells [s] for each platen temperature, ``(platens,)``; infinity if longer than `LONGEST_DWELL_S`.

    At `shortest_s` the bond line has the dose of the film's shortest published dwell, at `longest_s` that of the
    longest, at `harmed_s` the dose from which on the film is harmed. At `sure_s` it has the dose of the shortest at
    the 95 % worst case.
    """

    shortest_s: Floats
    longest_s: Floats
    harmed_s: Floats
    sure_s: Floats


def worst_direction(changes: Floats) -> Floats:
    """Return each property's share of the worst direction, ``(properties, 2, ...)``, on its high or its low side.

    Of all combinations that are as likely as one property off by its spread, the worst has each property off, to first
    order, in proportion to its own `changes` ``(properties, 2, ...)``; the squares of the shares add up to 1.

    References:
        Hasofer & Lind, Journal of the Engineering Mechanics Division ASCE 100 (1974) 111-121: the design point (from
            memory).
    """
    hurts = np.maximum(changes, 0.0)
    worse = np.where(hurts >= hurts[:, ::-1], hurts, 0.0)
    worse[:, 1] = np.where(worse[:, 0] > 0.0, 0.0, worse[:, 1])
    size = np.sqrt((worse**2).sum(axis=(0, 1)))
    return np.asarray(worse / np.where(size > 0.0, size, 1.0))


def dose_at(doses: Floats, time_s: ArrayLike) -> Floats:
    """Return the doses ``(...)`` of curves ``(..., times)`` at times above zero, linear between those of `TIMES_S`.

    The times are one for all, or one for each of the leading axes.
    """
    time = np.asarray(time_s, dtype=np.float64)
    after = np.minimum(np.searchsorted(TIMES_S, time), doses.shape[-1] - 1)
    share = (time - TIMES_S[after - 1]) / (TIMES_S[after] - TIMES_S[after - 1])
    flat, row, last = doses.reshape(time.size, -1, doses.shape[-1]), np.arange(time.size), after.ravel()
    low, high = (flat[row, :, at].reshape(doses.shape[:-1]) for at in (last - 1, last))
    return np.asarray(low + share.reshape(time.shape + (1,) * (low.ndim - time.ndim)) * (high - low))


def root_sum_square(changes: Floats) -> Floats:
    """Return the root of the sum of squares ``(...)`` of the properties' changes ``(2 properties, ...)`` for the worse.

    Rows are in pairs, a property high and low. Of each pair the larger change counts, or zero where both are below it.
    """
    pairs = np.maximum(np.maximum(changes[::2], changes[1::2]), 0.0)
    return np.asarray(np.sqrt((pairs**2).sum(axis=0)))


class Limits(NamedTuple):
    """The heat that each layer stands, ``(layers,)``.

    `peak_c` is the hottest it may get, `spread_k` how well that is known (95 %). `exposure_s` is the longest it may
    stay at `exposure_c` (infinity if there is no such limit), and `exposure_j_mol` the activation energy that converts
    this to other temperatures.
    """

    peak_c: Floats
    spread_k: Floats
    exposure_c: Floats
    exposure_s: Floats
    exposure_j_mol: Floats


class LayerDwells(NamedTuple):
    """The longest dwell [s] that each layer stands at each platen temperature, ``(layers, platens)``.

    Nominal, and at the 95 % worst case. Zero if it stands no dwell, infinity if every dwell up to `LONGEST_DWELL_S`.
    """

    nominal_s: Floats
    worst_s: Floats


def fine_peaks(followed: PressingResponse) -> Floats:
    """Return each layer's peak as a share of the platen's excess, ``(layers, fine dwells)``."""
    return np.asarray(followed.peaks.rise @ _CUBIC.T)


def fine_bands(values: Floats) -> Floats:
    """Return values for the dwells of `BAND_DWELLS`, ``(..., band dwells)``, between them, ``(..., fine dwells)``."""
    return np.asarray(values @ _LINEAR.T)


def at_dwell(values: Floats, dwell_s: ArrayLike) -> Floats:
    """Return values of `FINE_DWELLS_S`, ``(..., fine dwells)``, at a dwell [s], ``(...)``: see `fine_place`.

    Of several dwells they are ``(..., dwells)``.
    """
    low, share = fine_place(dwell_s)
    return np.asarray(values[..., low] + share * (values[..., low + 1] - values[..., low]))


def fine_place(dwells_s: ArrayLike) -> tuple[NDArray[np.intp], Floats]:
    """Return the index in `FINE_DWELLS_S` before each dwell, and the share of the way to the next, in logarithms.

    Dwells beyond the ends are at the ends.
    """
    place = np.interp(np.log(dwells_s), np.log(FINE_DWELLS_S), np.arange(FINE_DWELLS_S.size, dtype=np.float64))
    low = np.minimum(place.astype(np.intp), FINE_DWELLS_S.size - 2)
    return low, place - low


def exposure_dwells(faces: Floats, cooling: Floats, limits: Limits, excess_k: Floats, room_c: float) -> Floats:
    """Return the longest dwells [s], ``(..., layers, platens)``, that layers' exposures allow; as `exposures`."""
    share = exposures(faces, cooling, limits, excess_k, room_c) / limits.exposure_s[:, None, None]
    return crossing(np.log(share) @ _CUBIC.T)


def exposures(faces: Floats, cooling: Floats, limits: Limits, excess_k: Floats, room_c: float) -> Floats:
    """Return layers' exposures [s at their exposure temperatures] for dwells, ``(..., layers, platens, dwells)``.

    Args:
        faces: shares of the layers' upper faces at `TIMES_S`, ``(layers, times)``.
        cooling: their hottest shares at `AFTER_S` after each dwell of `DWELLS_S`, ``(layers, dwells, after)``.
        limits: the heat that each layer stands.
        excess_k: the platen's excess [K] over the room, ``(..., layers, platens, dwells)`` or the same for all dwells.
        room_c: temperature [degC] of the room.
    """
    kinetics = limits.exposure_c[..., None, None, None], limits.exposure_j_mol[:, None, None, None]
    # While the press is closed a layer is hottest at its upper face.
    pressing = exposure(TIMES_S, room_c + excess_k[..., None] * faces[:, None, None], *kinetics)
    after = exposure(AFTER_S, room_c + excess_k[..., None] * cooling[:, None], *kinetics)
    return np.asarray((pressing * _AT_DWELLS).sum(axis=-1) + after[..., -1])


def crossing(above: Floats) -> Floats:
    """Return the dwell [s] at which a quantity ``(..., fine dwells)`` that rises with the dwell comes to zero.

    Zero if it is above zero at the shortest dwell, infinity if it never gets above.
    """
    below = (above <= 0.0).argmin(axis=-1)
    flat, row = above.reshape(-1, above.shape[-1]), np.arange(below.size)
    after = np.maximum(below, 1)
    high = flat[row, after.ravel()].reshape(after.shape)
    low = flat[row, after.ravel() - 1].reshape(after.shape)
    begin, end = FINE_DWELLS_S[after - 1], FINE_DWELLS_S[after]
    crossed = begin + (end - begin) * -low / np.where(high > low, high - low, 1.0)
    over = above[..., 0] > 0.0
    return np.asarray(np.where(over, 0.0, np.where(below == 0, np.inf, crossed)))


def choose_dwell(
    shortest_s: float, longest_s: float, sure_from_s: float, sure_to_s: float, step_s: float
) -> float | None:
    """Return the dwell [s] to set: a multiple of the timer's step inside the nominal window, or None if there is none.

    It is the shortest one inside the worst-case window too, or else the one that is least outside it: the dwell that
    is sure to bond, rounded up to the timer's step, and no longer, however long the film and the shoe would stand. The
    worst case is the margin; another on top of it would only heat the shoe.

    Args:
        shortest_s: nominal shortest dwell [s].
        longest_s: nominal longest dwell [s].
        sure_from_s: shortest dwell [s] at the 95 % worst case.
        sure_to_s: longest dwell [s] at the 95 % worst case.
        step_s: step [s] of the press's timer.
    """
    if not (math.isfinite(shortest_s) and shortest_s <= longest_s):
        return None
    first, last = math.ceil(shortest_s / step_s - _ROUNDING), math.floor(longest_s / step_s + _ROUNDING)
    if last < first:
        return None
    dwells = step_s * np.arange(max(first, 1), last + 1)
    outside = np.maximum(np.log(sure_from_s / dwells), np.log(dwells / max(sure_to_s, _LEAST_S)))
    sure = np.flatnonzero(outside <= 0.0)
    return float(dwells[sure[0] if sure.size else int(np.argmin(outside))])
