"""Window of dwells: from the shortest that bonds to the longest that does no harm, nominal and at the worst case.

Uncertain properties are independent, each known to its spread (95 %). Each is varied alone, to the side that hurts.
The changes of a peak are combined as the root of the sum of squares; a dose is recomputed with all properties off at
once, each by its share of the worst direction.

References:
    JCGM 100:2008 (GUM), clause 5.1.2: the law of propagation of uncertainty for independent inputs (from memory).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.bond import dose, time_of_dose
from featherline_service.heat.damage import exposure
from featherline_service.heat.pressing import AFTER_S, BAND_DWELLS, DWELLS_S, TIMES_S, PressingResponse

Floats = NDArray[np.float64]

FINE: Final = 6
"""[-] Steps between two of `DWELLS_S`."""
FINE_DWELLS_S: Final[Floats] = np.geomspace(DWELLS_S[0], DWELLS_S[-1], FINE * (DWELLS_S.size - 1) + 1)
"""[s] The dwells of `DWELLS_S` and those between, to which layers' peaks are interpolated by cubics."""
PUBLISHED_PLATEN_SPREAD_K: Final = 4.0
"""[K] Spread of the platens that published settings are made for: the error of presses in use, away from the cold
edges of their platens (from memory)."""


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
_NEGLIGIBLE: Final = 1e-3
"""[-] Least change of the bond line by a property's spread that is followed, as a share of the platen's excess: 0.14 K
of 140 K."""


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


class NeededDose(NamedTuple):
    """The dose that a film's published setting gives the bond line of the reference stack.

    `shortest_s` and `longest_s` are the doses [s] of the shortest and the longest published dwell, `harmed_s` that of
    the dwell from which on the film is harmed, or infinity. `off`
    ``(properties, 2)``, `platen` ``(2,)`` and `activation` ``(2,)`` are the dose of the shortest dwell with a property,
    the platen or the activation energy high and low by its spread, as a share of `shortest_s`. `share` ``(times,)`` is
    the bond line's temperature as a share of the platen's excess, `bands` ``(properties, 2, times)`` the change of it
    by each property.
    """

    shortest_s: float
    longest_s: float
    harmed_s: float
    off: Floats
    platen: Floats
    activation: Floats
    share: Floats
    bands: Floats


def needed_dose(share: Floats, bands: Floats, published: Published, adhesive: Adhesive, room_c: float) -> NeededDose:
    """Return the dose that a film's published setting gives, nominal and with each uncertain value high and low.

    Args:
        share: the reference stack's bond line, as shares of the platen's excess, ``(times,)``.
        bands: change of it by each property high and low by its spread, ``(properties, 2, times)``.
        published: the film's published setting.
        adhesive: the film's adhesive.
        room_c: temperature [degC] of the room and of everything before the press closes.
    """
    rows = _each_off(share, bands)
    excess, activation = _each_setting_off(rows.shape[0], PUBLISHED_PLATEN_SPREAD_K, adhesive)
    temperature = room_c + (published.platen_c - room_c + excess[:, None]) * rows
    doses = dose(TIMES_S, temperature, published.platen_c, adhesive.onset_c, activation[:, None])
    shortest, longest = dose_at(doses, published.shortest_s), dose_at(doses[0], published.longest_s)
    nominal = max(float(shortest[0]), _LEAST_S)
    off = np.maximum(shortest[1:] / nominal, _LEAST_S).reshape(-1, 2)
    harmed = dose_at(doses[0], published.harmed_s) if math.isfinite(published.harmed_s) else math.inf
    return NeededDose(nominal, float(longest), float(harmed), off[:-2], off[-2], off[-1], share, bands)


def sure_dose(
    needed: NeededDose, shared: NDArray[np.bool_], published: Published, adhesive: Adhesive, room_c: float
) -> float:
    """Return the dose [s] that a film's published setting is sure (95 %) to give on every bench that follows it.

    Args:
        needed: the dose that the setting gives.
        shared: whether the job has each property too, ``(properties,)``: such are no part of the maker's allowance.
        published: the film's published setting.
        adhesive: the film's adhesive.
        room_c: temperature [degC] of the room.
    """
    weight = worst_direction(-np.log(np.concatenate((needed.off[~shared], needed.platen[None]))))
    line = needed.share + np.tensordot(weight[:-1], needed.bands[~shared], axes=2)
    over = published.platen_c - room_c + PUBLISHED_PLATEN_SPREAD_K * (weight[-1, 0] - weight[-1, 1])
    kinetics = (published.platen_c, adhesive.onset_c, adhesive.activation_j_mol)
    return float(dose_at(dose(TIMES_S, room_c + over * np.clip(line, 0.0, 1.0), *kinetics), published.shortest_s))


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


def bond_dwells(
    needed: NeededDose,
    share: Floats,
    bands: Floats,
    published: Published,
    adhesive: Adhesive,
    *,
    platens_c: Floats,
    platen_spread_k: float,
    room_c: float,
) -> BondDwells:
    """Return the dwells that give a job's bond line the dose that the published setting gives the reference stack's.

    At the worst case, a property that both stacks have is varied in both at once, so that an equal change in both
    cancels. A property of the job alone (its cover, its upper, its press) counts with its whole spread. A property of
    the reference alone (its cloth, the platens that a published setting is made for) is the maker's allowance: a
    published setting bonds on every bench that follows it, so the dose at the bad end of those spreads is enough. What
    harms the film is known as a dwell of that setting, and includes the maker's allowance: it holds at nominal values.

    Args:
        needed: the dose of the published setting, with properties in the same order as in `bands`.
        share: the job's bond line, as shares of the platen's excess, ``(times,)``.
        bands: change of it by each property high and low by its spread, ``(properties, 2, times)``; zero for properties
            of the reference alone.
        published: the film's published setting.
        adhesive: the film's adhesive.
        platens_c: platen temperatures [degC] to consider, ``(platens,)``.
        platen_spread_k: spread [K] of the job's platen temperature.
        room_c: temperature [degC] of the room and of everything before the press closes.
    """
    in_job = np.abs(bands).max(axis=(1, 2), initial=0.0)
    varied = (in_job > 0.0) & (np.maximum(in_job, np.abs(needed.off - 1.0).max(axis=1)) > _NEGLIGIBLE)
    allowed = sure_dose(needed, in_job > 0.0, published, adhesive, room_c) / needed.shortest_s
    kinetics = (published.platen_c, adhesive.onset_c)

    # Each property off alone. Axes: cases, platen temperatures, times.
    rows = _each_off(share, bands[varied])
    shift, activation = _each_setting_off(rows.shape[0], platen_spread_k, adhesive)
    excess = platens_c - room_c + shift[:, None]
    doses = dose(TIMES_S, room_c + excess[:, :, None] * rows[:, None, :], *kinetics, activation[:, None, None])
    off = np.concatenate((needed.off[varied], np.ones((1, 2)), needed.activation[None]))
    goals = allowed * needed.shortest_s * np.concatenate(([1.0], off.ravel()))
    alone = _time_of(doses, goals[:, None])
    shortest, longest, harmed = (
        _time_of(doses[:1], np.array([[goal]]))[0] for goal in (needed.shortest_s, needed.longest_s, needed.harmed_s)
    )

    # All off together, each by its share of the worst direction. Axes: platen temperatures, times.
    reached = np.isfinite(alone).all(axis=0)
    with np.errstate(invalid="ignore"):
        changes = np.where(reached, np.log(alone[1:] / alone[0]), 0.0)
    weight = worst_direction(changes.reshape(-1, 2, platens_c.size))
    parts, platen, energy = weight[:-2], weight[-2], weight[-1]
    cloth, line = (
        np.clip(nominal + np.tensordot(parts, swing[varied], axes=((0, 1), (0, 1))), 0.0, 1.0)
        for nominal, swing in ((needed.share, needed.bands), (share, bands))
    )
    ends = np.log(np.array([adhesive.activation_high_j_mol, adhesive.activation_low_j_mol]) / adhesive.activation_j_mol)
    at_worst = adhesive.activation_j_mol * np.exp(ends @ energy)[:, None]
    goal = dose_at(
        dose(TIMES_S, room_c + (published.platen_c - room_c) * cloth, *kinetics, at_worst), published.shortest_s
    )
    over = platens_c - room_c + platen_spread_k * (platen[0] - platen[1])
    sure = _time_of(dose(TIMES_S, room_c + over[:, None] * line, *kinetics, at_worst), allowed * goal)
    return BondDwells(shortest, longest, harmed, np.maximum(np.where(reached, sure, np.inf), shortest))


def _each_setting_off(rows: int, platen_spread_k: float, adhesive: Adhesive) -> tuple[Floats, Floats]:
    """Return platen shifts [K] and activation energies [J/mol], ``(rows,)``, for the rows of `_each_off`.

    Rows -4 and -3 have the platen high and low, rows -2 and -1 the activation energy.
    """
    shift = np.zeros(rows)
    shift[-4:-2] = platen_spread_k, -platen_spread_k
    activation = np.full(rows, adhesive.activation_j_mol)
    activation[-2:] = adhesive.activation_high_j_mol, adhesive.activation_low_j_mol
    return shift, activation


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


def _each_off(share: Floats, bands: Floats) -> Floats:
    """Return ``(5 + 2 properties, times)``: a share, then with each property high and low, then itself four times."""
    properties_off = np.clip(share + bands.reshape(-1, share.size), 0.0, 1.0)
    return np.concatenate((share[None], properties_off, np.repeat(share[None], 4, axis=0)))


def _time_of(doses: Floats, needed_s: Floats) -> Floats:
    return time_of_dose(TIMES_S, doses, np.broadcast_to(needed_s, doses.shape[:-1]))


def dose_at(doses: Floats, time_s: float) -> Floats:
    """Return the doses ``(...)`` of curves ``(..., times)`` at one time, linear between the times of `TIMES_S`."""
    index = min(int(np.searchsorted(TIMES_S, time_s)), TIMES_S.size - 1)
    share = (time_s - TIMES_S[index - 1]) / (TIMES_S[index] - TIMES_S[index - 1])
    return np.asarray(doses[..., index - 1] + share * (doses[..., index] - doses[..., index - 1]))


def root_sum_square(changes: Floats) -> Floats:
    """Return the root of the sum of squares ``(...)`` of the properties' changes ``(2 properties, ...)`` for the worse.

    Rows are in pairs, a property high and low. Of each pair the larger change counts, or zero where both are below it.
    """
    pairs = np.maximum(changes.reshape(-1, 2, *changes.shape[1:]).max(axis=1), 0.0)
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


def layer_dwells(
    followed: PressingResponse,
    influence: Floats,
    limits: Limits,
    *,
    platens_c: Floats,
    platen_spread_k: float,
    room_c: float,
    guard_k: float,
) -> LayerDwells:
    """Return the longest dwells that each layer stands.

    Args:
        followed: the response of the stack, from `pressing.pressing_response`.
        influence: ``(properties, 2, parts)``, see `peaks_with_bands`.
        limits: the heat that each layer stands.
        platens_c: platen temperatures [degC] to consider, ``(platens,)``.
        platen_spread_k: spread [K] of the platen temperature.
        room_c: temperature [degC] of the room.
        guard_k: distance [K] to keep from every limit.
    """
    rise, band = peaks_with_bands(followed, influence)
    excess = (platens_c - room_c)[:, None]
    nominal = excess * rise[:, None, :]
    # The spread of the platen scales the whole rise.
    spread = np.sqrt(
        (excess * band[:, None, :]) ** 2
        + (platen_spread_k * rise[:, None, :]) ** 2
        + limits.spread_k[:, None, None] ** 2
    )
    guarded = limits._replace(peak_c=limits.peak_c - guard_k, exposure_c=limits.exposure_c - guard_k)
    top = guarded.peak_c[:, None, None] - room_c
    nominal_s, worst_s = crossing(np.stack((nominal, nominal + spread)) - top)
    for layer in np.flatnonzero(np.isfinite(limits.exposure_s)).tolist():
        # At the worst case the whole history is hotter by as much as the peak, where most harm is done.
        hotter = excess * (1.0 + (spread[layer] / nominal[layer])[:, ::FINE])
        for dwells, over in ((nominal_s, excess), (worst_s, hotter)):
            dwells[layer] = np.minimum(dwells[layer], exposure_dwells(followed, layer, guarded, over, room_c))
    return LayerDwells(nominal_s, worst_s)


def peaks_with_bands(followed: PressingResponse, influence: Floats) -> tuple[Floats, Floats]:
    """Return each layer's peak and its 95 % band, as shares of the platen's excess, each ``(layers, fine dwells)``.

    Args:
        followed: the response of the stack, from `pressing.pressing_response`.
        influence: relative change of each part by each property high and low by its spread, ``(properties, 2, parts)``.
    """
    changes = np.tensordot(influence, followed.peak_slopes, axes=1)
    return fine_peaks(followed), fine_bands(root_sum_square(changes.reshape(-1, *changes.shape[2:])))


def fine_peaks(followed: PressingResponse) -> Floats:
    """Return each layer's peak as a share of the platen's excess, ``(layers, fine dwells)``."""
    return np.asarray(followed.peaks.rise @ _CUBIC.T)


def fine_bands(values: Floats) -> Floats:
    """Return values for the dwells of `BAND_DWELLS`, ``(..., band dwells)``, between them, ``(..., fine dwells)``."""
    return np.asarray(values @ _LINEAR.T)


def exposure_dwells(followed: PressingResponse, layer: int, limits: Limits, excess_k: Floats, room_c: float) -> Floats:
    """Return the longest dwells [s], ``(platens,)``, that a layer's exposure allows; arguments as of `exposures`."""
    share = exposures(followed, layer, limits, excess_k, room_c) / limits.exposure_s[layer]
    return crossing(np.log(share) @ _CUBIC.T)


def exposures(followed: PressingResponse, layer: int, limits: Limits, excess_k: Floats, room_c: float) -> Floats:
    """Return a layer's exposure [s at its exposure temperature] for each dwell of `DWELLS_S`, ``(platens, dwells)``.

    Args:
        followed: the response of the stack.
        layer: index of the layer.
        limits: the heat that each layer stands.
        excess_k: the platen's excess [K] over the room, ``(platens, 1)``, or ``(platens, dwells)`` for each dwell.
        room_c: temperature [degC] of the room.
    """
    kinetics = float(limits.exposure_c[layer]), float(limits.exposure_j_mol[layer])
    # While the press is closed a layer is hottest at its upper face.
    pressing = exposure(TIMES_S, room_c + excess_k[..., None] * followed.faces[layer], *kinetics)
    cooling = exposure(AFTER_S, room_c + excess_k[..., None] * followed.peaks.cooling[layer], *kinetics)
    return np.asarray((pressing * _AT_DWELLS).sum(axis=-1) + cooling[..., -1])


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
