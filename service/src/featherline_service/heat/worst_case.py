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
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.bond import time_of_dose
from featherline_service.heat.pressing import BAND_DWELLS, TIMES_S
from featherline_service.heat.variation import (
    SIGMAS_95,
    Bonding,
    Heating,
    doses_of_published,
    job_doses,
    needed_doses,
    of_needed_share,
    part_changes,
    published_doses,
    shortest_dwells,
    steps_to,
)
from featherline_service.heat.window import (
    FINE,
    BondDwells,
    LayerDwells,
    Limits,
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
    """What is known of the parameters: their mean ``(..., n)`` and the root of their covariance ``(..., n, n)``."""

    mean: Floats
    root: Floats


def bond_dwells(bonding: Bonding, known: Spread, platens_c: Floats) -> BondDwells:
    """Return the dwells that bond, nominal (at the parameters' mean) and at the worst case, ``(..., platens)``.

    Args:
        bonding: how the film bonds on the job's stack, or on those of several jobs (see `stacked`).
        known: what is known of the parameters, with leading axes for several jobs, and before them for whatever else.
        platens_c: platen temperatures [degC] to consider, ``(platens,)``.
    """
    published, mean = bonding.published, known.mean[..., None, :]
    doses = job_doses(bonding, mean, platens_c)[..., 0, :, :]
    ends_s = [published.shortest_s, published.longest_s]
    ends_s += [published.harmed_s] if math.isfinite(published.harmed_s) else []
    shortest, longest, *harmed = doses_of_published(bonding, mean, ends_s)
    given = of_needed_share(bonding, mean, shortest), longest, *(harmed or [np.full(longest.shape, np.inf)])
    goals = np.broadcast_to(np.stack(given), (3, *doses.shape[:-1]))
    nominal_s, longest_s, harmed_s = time_of_dose(TIMES_S, np.broadcast_to(doses, (3, *doses.shape)), goals)
    reached = np.isfinite(nominal_s)
    sure_s = np.full(nominal_s.shape, np.inf)
    if reached.any():
        # The middle one of the temperatures that bond says which way is worst for all of them.
        half = reached.sum(axis=-1, keepdims=True) // 2
        middle = np.take_along_axis(np.argsort(~reached, axis=-1, kind="stable"), half, axis=-1)
        at_s = np.minimum(np.take_along_axis(nominal_s, middle, axis=-1)[..., 0], TIMES_S[-1])
        worst = _worst(bonding, known, platens_c[middle], at_s, lambda z: needed_doses(bonding, z))
        sure_s[reached] = shortest_dwells(bonding, worst, platens_c)[..., 0, :][reached]
    return BondDwells(nominal_s, longest_s, harmed_s, np.maximum(sure_s, nominal_s))


def unharmed_dwells(bonding: Bonding, known: Spread, platens_c: Floats) -> Floats:
    """Return the longest dwells that do not harm the film at the worst case, ``(..., platens)``; arguments as there.

    Infinity where no harm is known, and where no dwell that is considered does any.
    """
    harmed_s, middle = bonding.published.harmed_s, platens_c.size // 2
    if not math.isfinite(harmed_s):
        return np.full((*known.mean.shape[:-1], platens_c.size), np.inf)

    def goal(z: Floats) -> Floats:
        return np.maximum(published_doses(bonding, z, harmed_s), _LEAST_S)

    def longest(z: Floats) -> Floats:
        doses = job_doses(bonding, z, platens_c)[..., 0, :, :]
        return time_of_dose(TIMES_S, doses, np.broadcast_to(goal(z), doses.shape[:-1]))

    nominal_s = longest(known.mean[..., None, :])
    at_s = np.minimum(nominal_s[..., middle], TIMES_S[-1])
    return np.minimum(nominal_s, longest(_worst(bonding, known, platens_c[[middle]], at_s, goal, sign=-1.0)))


def _worst(
    bonding: Bonding,
    known: Spread,
    platen_c: Floats,
    dwell_s: Floats,
    goal: Callable[[Floats], Floats],
    *,
    sign: float = 1.0,
) -> Floats:
    """Return the parameters at the worst case, ``(..., 1, n)``, each direction off by its share of it.

    By the logarithm of the dose that is a goal over the dose that a dwell ``(...)`` at a platen temperature
    ``(..., 1)`` gives, or, with the sign -1, of the second over the first: that which rises, hurts.
    """
    size = known.mean.shape[-1]
    ways = SIGMAS_95 * known.root.swapaxes(-1, -2)
    sides = np.stack((ways, -ways), axis=-2).reshape(*ways.shape[:-2], 2 * size, size)
    none = np.zeros((*ways.shape[:-2], 1, size))
    cases = known.mean[..., None, :] + np.concatenate((none, sides), axis=-2)
    doses = job_doses(bonding, cases, platen_c, steps_to(float(dwell_s.max())))[..., 0, :]
    hurts = sign * np.log(goal(cases) / np.maximum(dose_at(doses, dwell_s), _LEAST_S))
    changes = (hurts[..., 1:] - hurts[..., :1]).reshape(*hurts.shape[:-1], size, 2)
    weight = worst_direction(np.moveaxis(changes, (-2, -1), (0, 1)))
    way = np.moveaxis(weight[:, 0] - weight[:, 1], 0, -1)
    return np.asarray(known.mean[..., None, :] + way[..., None, :] @ ways)


def layer_dwells(places: Sequence[tuple[Heating, Spread]], platens_c: Floats, *, guard_k: float) -> list[LayerDwells]:
    """Return for each stack the longest dwells that its layers stand, nominal and at the worst case.

    Args:
        places: how hot the layers of each stack get, and what they stand, and what is known of its parameters, whose
            means have the same leading axes; all in one room.
        platens_c: platen temperatures [degC] to consider, ``(platens,)``.
        guard_k: distance [K] to keep from every limit.

    Returns:
        Dwells [s], ``(..., layers, platens)``.
    """
    bands = [peak_bands(heating, known, platens_c) for heating, known in places]
    shift_k = np.concatenate([known.mean @ heating.limit_k.T - guard_k for heating, known in places], axis=-1)
    limits = Limits(*(np.concatenate(column) for column in zip(*(each.limits for each, _ in places), strict=True)))
    rise_k, spread_k = (np.concatenate(column, axis=-3) for column in zip(*bands, strict=True))
    peak_k, room_c = np.stack((rise_k, rise_k + spread_k)), places[0][0].room_c
    dwells = crossing(peak_k - (limits.peak_c + shift_k - room_c)[..., None, None])
    if (exposed := np.flatnonzero(np.isfinite(limits.exposure_s))).size:
        # The whole history is hotter by as much as the peak, where most harm is done: at the mean, and at the worst.
        faces, cooling, solved = (
            np.concatenate(column)[exposed]
            for column in zip(
                *(
                    (each.response.faces, each.response.peaks.cooling, fine_peaks(each.response)[:, ::FINE])
                    for each, _ in places
                ),
                strict=True,
            )
        )
        moved = Limits(*(column[exposed] for column in limits))._replace(
            exposure_c=limits.exposure_c[exposed] + shift_k[..., exposed]
        )
        excess = peak_k[..., exposed, :, ::FINE] / solved[:, None]
        held = exposure_dwells(faces, cooling, moved, excess, room_c)
        dwells[..., exposed, :] = np.minimum(dwells[..., exposed, :], held)
    ends = np.cumsum([each.limits.peak_c.size for each, _ in places])[:-1]
    return [LayerDwells(*each) for each in np.split(dwells, ends, axis=-2)]


class PeakBands(NamedTuple):
    """How far each layer's peak rises above the room [K], and the 95 % spread of that less the layer's limit [K].

    Each is ``(..., layers, platens, fine dwells)``.
    """

    rise_k: Floats
    spread_k: Floats


def peak_bands(heating: Heating, known: Spread, platens_c: Floats) -> PeakBands:
    """Return the layers' peaks, at the parameters' mean, and how well they are known; see `layer_dwells`."""
    parts, layers, bands = heating.response.peak_slopes.shape
    slopes, off = heating.response.peak_slopes.reshape(parts, -1), known.mean - heating.at
    middle = part_changes(heating.logs, off)
    rise = fine_peaks(heating.response)
    if middle.any():
        moved = (middle @ slopes).reshape(*middle.shape[:-1], layers, bands)
        rise = np.minimum(np.maximum(rise + fine_bands(moved), 0.0), 1.0)
    ways = SIGMAS_95 * known.root.T
    sides = np.stack((ways, -ways), axis=1).reshape(-1, ways.shape[-1])  # each direction's two sides, by parameters
    each = part_changes(heating.logs, off[..., None, :] + sides) - middle[..., None, :]
    changes = (each @ slopes).reshape(*each.shape[:-1], layers, bands)
    by_platen = (sides @ heating.platen_k)[:, None, None] * rise[..., None, :, BAND_DWELLS * FINE]
    by_limit = (sides @ heating.limit_k.T)[..., None]
    over = heating.excess_k(platens_c, known.mean[..., None, :])
    every = over[..., None, None, None] * changes[..., None, :, :, :] + (by_platen - by_limit)[..., None, :, :, :]
    spread = fine_bands(root_sum_square(np.moveaxis(every, -3, 0)))
    return PeakBands(over[..., None, :, None] * rise[..., None, :], spread.swapaxes(-3, -2))


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
