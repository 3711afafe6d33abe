"""Ends of a window at the 95 % worst case, with all uncertain parameters and what goes with what.

The parameters are ``mean + root e`` with independent standard normal `e`: each column of `root` is a direction in which
they move together. Each direction is followed alone, to the side that hurts. The changes of a peak less its limit are
combined as the root of the sum of squares; a dose is recomputed with all directions off at once, each by its share of
the worst combination.

References:
    JCGM 102:2011 (GUM, supplement 2): inputs that are correlated (from memory).
    Hasofer & Lind, Journal of the Engineering Mechanics Division ASCE 100 (1974) 111-121: the design point (from
        memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.bond import time_of_dose
from featherline_service.heat.pressing import BAND_DWELLS, TIMES_S
from featherline_service.heat.variation import (
    SIGMAS_95,
    Bonding,
    Heating,
    job_doses,
    needed_doses,
    part_changes,
    published_doses,
    shortest_dwells,
    steps_to,
)
from featherline_service.heat.window import (
    FINE,
    BondDwells,
    LayerDwells,
    crossing,
    dose_at,
    exposure_dwells,
    fine_bands,
    fine_peaks,
    root_sum_square,
    worst_direction,
)

Floats = NDArray[np.float64]

_LEAST_S: Final = 1e-9
"""[s] Stands for a dose of zero, in ratios."""


class Spread(NamedTuple):
    """What is known of the parameters: their mean ``(n,)`` and the root of their covariance ``(n, n)``."""

    mean: Floats
    root: Floats


def bond_dwells(bonding: Bonding, known: Spread, platens_c: Floats) -> BondDwells:
    """Return the dwells that bond, nominal (at the parameters' mean) and at the worst case, ``(platens,)``.

    Args:
        bonding: how the film bonds on the job's stack.
        known: what is known of the parameters.
        platens_c: platen temperatures [degC] to consider, ``(platens,)``.
    """
    published, mean = bonding.published, known.mean[None]
    doses = job_doses(bonding, mean, platens_c)[0]
    needed = float(needed_doses(bonding, mean)[0])
    longest = float(published_doses(bonding, mean, published.longest_s)[0])
    harmed = math.inf
    if math.isfinite(published.harmed_s):
        harmed = float(published_doses(bonding, mean, published.harmed_s)[0])
    goals = np.array([[needed], [longest], [harmed]])
    nominal_s, longest_s, harmed_s = time_of_dose(
        TIMES_S, np.broadcast_to(doses, (3, *doses.shape)), np.broadcast_to(goals, (3, platens_c.size))
    )
    sure_s = np.full(platens_c.size, np.inf)
    reached = np.flatnonzero(np.isfinite(nominal_s))
    if reached.size:
        # The middle one of the temperatures that bond says which way is worst for all of them.
        middle = int(reached[reached.size // 2])
        way = _rising(bonding, known, platens_c[middle], nominal_s[middle], lambda z: needed_doses(bonding, z))
        worst = known.mean + SIGMAS_95 * known.root @ way
        sure_s[reached] = shortest_dwells(bonding, worst[None], platens_c[reached])[0]
    return BondDwells(nominal_s, longest_s, harmed_s, np.maximum(sure_s, nominal_s))


def unharmed_dwells(bonding: Bonding, known: Spread, platens_c: Floats) -> Floats:
    """Return the longest dwells that do not harm the film at the worst case, ``(platens,)``; arguments as there.

    Infinity where no harm is known, and where no dwell that is considered does any.
    """
    harmed_s = bonding.published.harmed_s
    if not math.isfinite(harmed_s):
        return np.full(platens_c.size, np.inf)

    def goal(z: Floats) -> Floats:
        return np.maximum(published_doses(bonding, z, harmed_s), _LEAST_S)

    def longest(z: Floats) -> Floats:
        return time_of_dose(TIMES_S, job_doses(bonding, z, platens_c)[0], np.full(platens_c.size, goal(z)[0]))

    nominal_s, middle = longest(known.mean[None]), platens_c.size // 2
    at_s = min(float(nominal_s[middle]), float(TIMES_S[-1]))
    worst = known.mean + SIGMAS_95 * known.root @ _rising(bonding, known, platens_c[middle], at_s, goal, sign=-1.0)
    return np.minimum(nominal_s, longest(worst[None]))


def _rising(
    bonding: Bonding,
    known: Spread,
    platen_c: float,
    dwell_s: float,
    goal: Callable[[Floats], Floats],
    *,
    sign: float = 1.0,
) -> Floats:
    """Return each direction's share of the worst combination, with its sign, ``(n,)``.

    By the logarithm of the dose that is a goal over the dose that a dwell gives, or, with the sign -1, of the second
    over the first: that which rises, hurts.
    """
    size = known.mean.size
    sides = known.mean + SIGMAS_95 * np.stack((known.root.T, -known.root.T), axis=1).reshape(2 * size, size)
    cases = np.concatenate((known.mean[None], sides))
    gathered = dose_at(job_doses(bonding, cases, np.array([platen_c]), steps_to(dwell_s))[:, 0], dwell_s)
    hurts = sign * np.log(goal(cases) / np.maximum(gathered, _LEAST_S))
    weight = worst_direction((hurts[1:] - hurts[0]).reshape(size, 2))
    return np.asarray(weight[:, 0] - weight[:, 1])


def layer_dwells(heating: Heating, known: Spread, platens_c: Floats, *, guard_k: float) -> LayerDwells:
    """Return the longest dwells that each layer stands, nominal and at the worst case, ``(layers, platens)``.

    Args:
        heating: how hot the layers get, and what they stand.
        known: what is known of the parameters.
        platens_c: platen temperatures [degC] to consider, ``(platens,)``.
        guard_k: distance [K] to keep from every limit.
    """
    rise_k, spread_k = peak_bands(heating, known, platens_c)
    shift_k = heating.limit_k @ known.mean - guard_k
    limits = heating.limits._replace(
        peak_c=heating.limits.peak_c + shift_k, exposure_c=heating.limits.exposure_c + shift_k
    )
    top = limits.peak_c[:, None, None] - heating.room_c
    nominal_s, worst_s = crossing(np.stack((rise_k, rise_k + spread_k)) - top)
    for layer in np.flatnonzero(np.isfinite(limits.exposure_s)).tolist():
        # The whole history is hotter by as much as the peak, where most harm is done: at the mean, and at the worst.
        solved = fine_peaks(heating.response)[layer, ::FINE]
        for dwells, peak_k in ((nominal_s, rise_k), (worst_s, rise_k + spread_k)):
            excess = peak_k[layer][:, ::FINE] / solved
            dwells[layer] = np.minimum(
                dwells[layer], exposure_dwells(heating.response, layer, limits, excess, heating.room_c)
            )
    return LayerDwells(nominal_s, worst_s)


class PeakBands(NamedTuple):
    """How far each layer's peak rises above the room [K], and the 95 % spread of that less the layer's limit [K].

    Each is ``(layers, platens, fine dwells)``.
    """

    rise_k: Floats
    spread_k: Floats


def peak_bands(heating: Heating, known: Spread, platens_c: Floats) -> PeakBands:
    """Return the layers' peaks, at the parameters' mean, and how well they are known; arguments as there."""
    slopes, off = heating.response.peak_slopes, known.mean - heating.at
    middle = part_changes(heating.logs, off)
    rise = fine_peaks(heating.response)
    if middle.any():
        rise = np.clip(rise + fine_bands(np.tensordot(middle, slopes, axes=1)), 0.0, 1.0)
    sides = SIGMAS_95 * np.stack((known.root.T, -known.root.T), axis=1)  # directions by sides by parameters
    moved = part_changes(heating.logs, off + sides) - middle
    changes = np.tensordot(moved, slopes, axes=1)
    by_platen = (sides @ heating.platen_k)[:, :, None, None] * rise[:, BAND_DWELLS * FINE]
    by_limit = (sides @ heating.limit_k.T)[..., None]
    over = heating.excess_k(platens_c, known.mean)
    every = over[:, None, None, None, None] * changes + by_platen - by_limit
    squares = root_sum_square(np.moveaxis(every, 0, 2).reshape(-1, over.size, *every.shape[3:]))
    return PeakBands(over[:, None] * rise[:, None, :], np.moveaxis(fine_bands(squares), 0, 1))


class TemperatureBand(NamedTuple):
    """The 95 % band of a temperature over time [degC]: its lower and its upper end, ``(times,)``."""

    low_c: Floats
    high_c: Floats


def temperature_band(
    heating: Heating, known: Spread, platen_c: float, *, share: Floats, slopes: Floats
) -> TemperatureBand:
    """Return the band of a temperature that is known by its history.

    Args:
        heating: how hot the stack gets.
        known: what is known of the parameters.
        platen_c: temperature [degC] that the platen is set to.
        share: the temperature as a share of the platen's excess at the parameters' mean, ``(times,)``.
        slopes: its derivatives by each part's relative change, ``(parts, times)``: see `history.node_slopes`.
    """
    off = known.mean - heating.at
    sides = SIGMAS_95 * np.stack((known.root.T, -known.root.T), axis=1).reshape(-1, known.mean.size)
    moved = part_changes(heating.logs, off + sides) - part_changes(heating.logs, off)
    over = float(heating.excess_k(np.array(platen_c), known.mean))
    changes = over * moved @ slopes + (sides @ heating.platen_k)[:, None] * share
    middle = heating.room_c + over * share
    low_c = np.maximum(middle - root_sum_square(-changes), heating.room_c)
    return TemperatureBand(low_c, middle + root_sum_square(changes))
