"""Variation of a pressing with uncertain parameters: quantities at any value of them, and their slopes.

Parameters `z` ``(n,)`` are standard normal as long as nothing is observed (see `evidence`). A stack's parts (see
`sensitivity`) are multiplied by ``exp(z logs)``, with `logs` ``(n, parts)``. Temperatures come from a stack that is
solved at one point `at` ``(n,)`` and from the exact first derivatives there. They are nearly linear in resistances and
in storages, so these, and not their logarithms, are what the derivatives multiply.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline_service.heat.bond import GAS_CONSTANT_J_MOLK, ZERO_CELSIUS_K, dose, time_of_dose
from featherline_service.heat.conduction import Modes, Stack, decompose_to_tolerance, step
from featherline_service.heat.pressing import BAND_DWELLS, DWELLS_S, TIMES_S, TOLERANCE, PressingResponse
from featherline_service.heat.sensitivity import StepSlope, parts, step_slope, step_slopes_at
from featherline_service.heat.window import (
    Adhesive,
    Limits,
    Published,
    at_dwell,
    dose_at,
    exposures,
    fine_peaks,
)

Floats = NDArray[np.float64]

_HALF_STEP: Final = 0.25
"""[-] Differences over twice as much of a parameter are taken for slopes: what is random rounds off its corners."""
_FARTHEST: Final = 3.0
"""[-] Logarithm of the ratio to which a dwell and the shortest one that bonds are told apart: a factor of 20."""
SIGMAS_95: Final = 1.959963984540054
"""[-] Within so many standard deviations lie 95 % of a normal distribution."""
_LOG_DWELLS: Final = np.log(DWELLS_S)
_LOG_BANDS: Final = _LOG_DWELLS[BAND_DWELLS]
_LEAST: Final = 1e-9
"""Stands for a dwell [s] or a share [-] of zero, in logarithms and ratios."""


def part_changes(logs: Floats, off: Floats) -> Floats:
    """Return the relative change of every part, ``(..., parts)``, with the parameters off by ``(..., n)``.

    Of flows it is the change of the resistance, with its sign turned: ``1 - exp(-u)`` with ``u`` the logarithm of the
    ratio; of storages it is ``exp(u) - 1``.

    Args:
        logs: logarithm of each part by each parameter, ``(n, parts)``; parts in the order of `sensitivity`.
        off: the parameters less those at which the derivatives were taken.
    """
    ratio = off @ logs
    layers = (logs.shape[-1] - 1) // 3
    turned = -np.expm1(-ratio)
    turned[..., layers : 2 * layers] = np.expm1(ratio[..., layers : 2 * layers])
    return np.asarray(turned)


def part_slopes(logs: Floats, off: Floats) -> Floats:
    """Return the derivatives of `part_changes` by each parameter, ``(n, parts)``, where they are off by ``(n,)``."""
    ratio = off @ logs
    layers = (logs.shape[-1] - 1) // 3
    factor = np.exp(-ratio)
    factor[layers : 2 * layers] = np.exp(ratio[layers : 2 * layers])
    return np.asarray(logs * factor)


def stack_at(stack: Stack, logs: Floats, at: Floats, *, platen: bool = True) -> Stack:
    """Return a stack with its parts as they are at some value of the parameters.

    Args:
        stack: the stack at the parameters' prior mean.
        logs: see `part_changes`.
        at: the parameters, ``(n,)``.
        platen: whether the top contact is that of the platen; the room's air above an open stack is no part.
    """
    layers = stack.thickness_m.size
    ratio = np.exp(at @ logs)
    contacts = ratio[2 * layers :].copy()
    contacts[0] = contacts[0] if platen else 1.0
    return Stack(
        stack.thickness_m,
        stack.conductivity_w_mk * ratio[:layers],
        stack.capacity_j_m3k * ratio[layers : 2 * layers],
        stack.conductance_w_m2k * contacts,
    )


class Line(NamedTuple):
    """The bond line of a stack solved at one point: its share of the platen's excess and the derivatives of that.

    `share` is ``(times,)``, `slopes` ``(parts, times)`` and `logs` ``(n, parts)``; of several, see `stacked`.
    """

    share: Floats
    slopes: Floats
    logs: Floats

    def off(self, off: Floats, steps: int = TIMES_S.size) -> Floats:
        """Return the shares, ``(..., times)``, with the parameters off by ``(..., n)`` from where it was solved.

        They are for the first `steps` of `TIMES_S`.
        """
        share = self.share[..., :steps] + part_changes(self.logs, off) @ self.slopes[..., :steps]
        return np.asarray(np.minimum(np.maximum(share, 0.0), 1.0))


class Bonding(NamedTuple):
    """How a film bonds on a job's stack, by its published setting on the reference stack.

    The film needs a share of the dose that the published shortest dwell gives the bond line of the reference stack:
    `needed_share` at the prior median, times ``exp(z log_share)``. Both stacks were solved at the point `at`
    ``(n,)``. `platen_k`, `onset_k` and `log_share` ``(n,)`` are the change of the job's platen [K], of the adhesive's
    onset [K] and of the logarithm of the needed share by each parameter, `energy` ``(n,)`` is 1 for the parameter of
    the activation energy and 0 for others. `offset_k` [K] is how much hotter the platen is than what it is set to.
    """

    job: Line
    reference: Line
    at: Floats
    published: Published
    adhesive: Adhesive
    room_c: float
    needed_share: float
    platen_k: Floats
    onset_k: Floats
    energy: Floats
    log_share: Floats
    offset_k: float = 0.0


def stacked(bondings: Sequence[Bonding]) -> Bonding:
    """Return how one film bonds on the stacks of several jobs in one press, as arrays with a leading axis for the jobs.

    Each job has parameters of its own: where others have more, the rest changes nothing.
    """
    size = max(bonding.at.size for bonding in bondings)

    def parameters(values: Sequence[Floats]) -> Floats:
        return np.stack([_widened(each, size) for each in values])

    def line(lines: Sequence[Line]) -> Line:
        layers = max(each.slopes.shape[0] for each in lines) // 3
        logs = [_widened(_with_layers(each.logs.T, layers), size).swapaxes(0, 1) for each in lines]
        slopes = [_with_layers(each.slopes, layers) for each in lines]
        return Line(np.stack([each.share for each in lines])[:, None], np.stack(slopes), np.stack(logs))

    return bondings[0]._replace(
        job=line([bonding.job for bonding in bondings]),
        reference=line([bonding.reference for bonding in bondings]),
        at=parameters([bonding.at for bonding in bondings])[:, None],
        platen_k=parameters([bonding.platen_k for bonding in bondings]),
        onset_k=parameters([bonding.onset_k for bonding in bondings]),
        energy=parameters([bonding.energy for bonding in bondings]),
        log_share=parameters([bonding.log_share for bonding in bondings]),
    )


def _widened(values: Floats, size: int) -> Floats:
    """Return values ``(..., n)`` with zeros after them, ``(..., size)``."""
    wide = np.zeros((*values.shape[:-1], size))
    wide[..., : values.shape[-1]] = values
    return wide


def _with_layers(by_part: Floats, layers: int) -> Floats:
    """Return values ``(parts, ...)`` of a stack as those of one with so many layers: zero for what it lacks."""
    own = by_part.shape[0] // 3
    wide = np.zeros((3 * layers + 1, *by_part.shape[1:]))
    wide[:own], wide[layers : layers + own] = by_part[:own], by_part[own : 2 * own]
    wide[2 * layers : 2 * layers + own + 1] = by_part[2 * own :]
    return wide


class Kinetics(NamedTuple):
    """Onset [degC] and activation energy [J/mol] of an adhesive at values of the parameters, ``(..., cases)``."""

    onset_c: Floats
    activation_j_mol: Floats


def kinetics(bonding: Bonding, z: Floats) -> Kinetics:
    """Return the adhesive's kinetics at values of the parameters, ``(..., cases, n)``.

    The activation energy is at an end of its band where its parameter is at plus or minus 1.96.
    """
    adhesive = bonding.adhesive
    at = _along(z, bonding.energy) / SIGMAS_95
    end = np.where(at > 0.0, adhesive.activation_high_j_mol, adhesive.activation_low_j_mol)
    return Kinetics(
        adhesive.onset_c + _along(z, bonding.onset_k),
        adhesive.activation_j_mol * (end / adhesive.activation_j_mol) ** np.abs(at),
    )


def _along(z: Floats, change: Floats) -> Floats:
    """Return a change by each parameter, ``(..., n)``, at values of these ``(..., cases, n)``: ``(..., cases)``."""
    return np.asarray((z @ change[..., None])[..., 0])


def needed_doses(bonding: Bonding, z: Floats) -> Floats:
    """Return the dose [s at the published temperature] that the film needs, ``(..., cases)``, at ``(..., cases, n)``.

    Leading axes, here and below, are those of `stacked` jobs, and before them of whatever the values of the parameters
    have.
    """
    return of_needed_share(bonding, z, published_doses(bonding, z, bonding.published.shortest_s))


def of_needed_share(bonding: Bonding, z: Floats, dose_s: Floats) -> Floats:
    """Return the share that the film needs of a dose [s], ``(..., cases)``."""
    share = bonding.needed_share * np.exp(_along(z, bonding.log_share))
    return np.maximum(share * dose_s, _LEAST)


def published_doses(bonding: Bonding, z: Floats, dwell_s: float) -> Floats:
    """Return the dose [s] that a dwell of the published setting gives the reference stack, ``(..., cases)``."""
    return doses_of_published(bonding, z, [dwell_s])[0]


def doses_of_published(bonding: Bonding, z: Floats, dwells_s: Sequence[float]) -> list[Floats]:
    """Return `published_doses` of several dwells."""
    published, own = bonding.published, kinetics(bonding, z)
    over = published.platen_c - bonding.room_c
    temperature = bonding.room_c + over * bonding.reference.off(z - bonding.at, steps_to(max(dwells_s)))
    doses = _doses(temperature, published.platen_c, own)
    return [dose_at(doses, dwell_s) for dwell_s in dwells_s]


def steps_to(time_s: float) -> int:
    """Return how many of `TIMES_S` it takes to get to a time [s], which is up to the last of them."""
    return min(int(np.searchsorted(TIMES_S, time_s)) + 1, TIMES_S.size)


def job_doses(bonding: Bonding, z: Floats, platens_c: Floats, steps: int = TIMES_S.size) -> Floats:
    """Return the doses [s] of the job's bond line up to `TIMES_S`, ``(..., cases, platens, times)``.

    Args:
        bonding: how the film bonds.
        z: values of the parameters, ``(..., cases, n)``.
        platens_c: temperatures [degC] that the platen is set to, ``(..., platens)``.
        steps: how many of `TIMES_S` are wanted.
    """
    set_k = platens_c + bonding.offset_k - bonding.room_c
    over = set_k[..., None, :] + _along(z, bonding.platen_k)[..., None]
    temperature = bonding.room_c + over[..., None] * bonding.job.off(z - bonding.at, steps)[..., None, :]
    return _doses(temperature, bonding.published.platen_c, kinetics(bonding, z))


def shortest_dwells(bonding: Bonding, z: Floats, platens_c: Floats) -> Floats:
    """Return the dwells [s] that give the job what the film needs, ``(..., cases, platens)``; else infinity.

    Arguments as of `job_doses`.
    """
    doses = job_doses(bonding, z, platens_c)
    return time_of_dose(TIMES_S, doses, np.broadcast_to(needed_doses(bonding, z)[..., None], doses.shape[:-1]))


def _doses(temperature_c: Floats, reference_c: float, own: Kinetics) -> Floats:
    """Return doses with each case's own kinetics, at temperatures ``(..., cases, times)`` or with platens between."""
    wide = (..., *([None] * (temperature_c.ndim - own.onset_c.ndim)))
    return dose(
        TIMES_S[: temperature_c.shape[-1]], temperature_c, reference_c, own.onset_c[wide], own.activation_j_mol[wide]
    )


def bond_margins(bonding: Bonding, point: Floats, platens_c: Floats, dwells_s: Floats) -> tuple[Floats, Floats]:
    """Return logarithms of dwells over the shortest that bonds, ``(pressings,)``, and their slopes ``(pressings, n)``.

    Beyond the longest dwell that is computed, the dose goes on at the last rate. A dwell that is 20 times too short, or
    a bond line that never softens, is not told apart from worse: there the slopes are zero.

    Args:
        bonding: how the film bonds on the job's stack.
        point: value of the parameters at which the slopes are taken, ``(n,)``.
        platens_c: temperature [degC] that the platen was set to in each pressing, ``(pressings,)``.
        dwells_s: dwell [s] of each pressing, ``(pressings,)``.
    """
    each_c, which = np.unique(platens_c, return_inverse=True)

    def shortest(z: Floats) -> Floats:
        needed = needed_doses(bonding, z)[:, None]
        doses = job_doses(bonding, z, each_c)
        within = time_of_dose(TIMES_S, doses, np.broadcast_to(needed, doses.shape[:-1]))
        rate = (doses[..., -1] - doses[..., -2]) / (TIMES_S[-1] - TIMES_S[-2])
        beyond = TIMES_S[-1] + np.maximum(needed - doses[..., -1], 0.0) / np.maximum(rate, _LEAST)
        return np.log(np.maximum(np.where(np.isfinite(within), within, beyond), _LEAST))

    value, slopes = slopes_at(shortest, point)
    margin = np.log(dwells_s) - value[which]
    told = np.abs(margin) < _FARTHEST
    return np.clip(margin, -_FARTHEST, _FARTHEST), np.where(told, -slopes[:, which], 0.0).T


def slopes_at(function: Callable[[Floats], Floats], point: Floats) -> tuple[Floats, Floats]:
    """Return values ``(...)`` at a point ``(n,)`` and central differences ``(n, ...)`` of a function of the parameters.

    Args:
        function: of values of the parameters, ``(cases, n)``, to ``(cases, ...)``.
        point: where to take value and differences.
    """
    apart = _HALF_STEP * np.eye(point.size)
    values = function(np.concatenate((point[None], point + apart, point - apart)))
    above, below = values[1 : point.size + 1], values[point.size + 1 :]
    return values[0], (above - below) / (2.0 * _HALF_STEP)


class Heating(NamedTuple):
    """How hot a stack's layers get, solved at the point `at` ``(n,)``, and what they stand.

    `logs` ``(n, parts)`` as in `part_changes`; `platen_k` ``(n,)`` and `limit_k` ``(layers, n)`` are the changes [K] of
    the platen and of every layer's limit by each parameter. `offset_k` as in `Bonding`.
    """

    response: PressingResponse
    logs: Floats
    at: Floats
    limits: Limits
    room_c: float
    platen_k: Floats
    limit_k: Floats
    offset_k: float = 0.0

    def excess_k(self, platens_c: Floats, point: Floats) -> Floats:
        """Return how much hotter than the room platens are [K], set to temperatures [degC], at a point ``(..., n)``."""
        return np.asarray(platens_c + self.offset_k - self.room_c + point @ self.platen_k)


class LayerMargins(NamedTuple):
    """How far each layer stays below its limit [K], ``(..., layers)``, and the slopes ``(..., layers, n)``."""

    value_k: Floats
    slopes: Floats


def layer_margins(heating: Heating, point: Floats, platen_c: float, dwell_s: float) -> LayerMargins:
    """Return `margins_of_pressings` of one pressing, without its axis."""
    value, slopes = margins_of_pressings(heating, point, np.array([platen_c]), np.array([dwell_s]))
    return LayerMargins(value[0], slopes[0])


def margins_of_pressings(heating: Heating, point: Floats, platens_c: Floats, dwells_s: Floats) -> LayerMargins:
    """Return how far below its limit each layer stays in pressings, at a point ``(n,)`` of the parameters.

    The limit that is nearer counts, of a layer's peak or of its exposure. An exposure's distance is the number of
    kelvins by which the whole history may be hotter, to first order.

    Args:
        heating: how hot the stack gets.
        point: the parameters.
        platens_c: temperature [degC] that the platen is set to in each pressing, ``(pressings,)``.
        dwells_s: dwell [s] of each pressing.
    """
    response, limits, at = heating.response, heating.limits, np.log(dwells_s)
    band = np.interp(at, _LOG_BANDS, np.arange(BAND_DWELLS.size, dtype=np.float64))
    low = np.minimum(band.astype(np.intp), BAND_DWELLS.size - 2)
    shorter, longer = (np.moveaxis(response.peak_slopes[..., index], -1, 0) for index in (low, low + 1))
    change = shorter + (band - low)[:, None, None] * (longer - shorter)
    solved = at_dwell(fine_peaks(response), dwells_s).T
    off = point - heating.at
    rise = solved + np.stack([part_changes(heating.logs, off) @ each for each in change])
    over, shift = heating.excess_k(platens_c, point)[:, None], heating.limit_k @ point
    value = limits.peak_c + shift - heating.room_c - over * rise
    by_part = part_slopes(heating.logs, off) @ change
    slopes = heating.limit_k - over[..., None] * by_part.swapaxes(-1, -2) - rise[..., None] * heating.platen_k
    if (exposed := np.flatnonzero(np.isfinite(limits.exposure_s))).size:
        excess = over * rise[:, exposed] / np.maximum(solved[:, exposed], _LEAST)
        moved = Limits(*(column[exposed] for column in limits._replace(exposure_c=limits.exposure_c + shift)))
        history = response.faces[exposed], response.peaks.cooling[exposed]
        had = np.log(exposures(*history, moved, excess.T[..., None], heating.room_c))
        log_had = np.array(
            [[np.interp(when, _LOG_DWELLS, curve) for when, curve in zip(at, curves, strict=True)] for curves in had]
        ).T
        peak_k = heating.room_c + over * rise[:, exposed] + ZERO_CELSIUS_K
        per_kelvin = moved.exposure_j_mol / GAS_CONSTANT_J_MOLK / peak_k**2
        value[:, exposed] = np.minimum(value[:, exposed], (np.log(moved.exposure_s) - log_had) / per_kelvin)
    return LayerMargins(value, slopes)


class SolvedStack(NamedTuple):
    """A stack in the closed press, solved, and how its modal amplitudes change with its parts."""

    pressed: Modes
    slope: StepSlope


def solved_stack(closed: Stack) -> SolvedStack:
    """Solve a checked stack in the closed press, at the point of the parameters that is of interest."""
    pressed = decompose_to_tolerance(closed, float(DWELLS_S[0]), TOLERANCE)
    return SolvedStack(pressed, step_slope(pressed, parts(closed, pressed)))


class Interface(NamedTuple):
    """The upper face of a layer in the closed press: its share of the platen's excess, and the derivatives of that.

    `share` is ``(times,)``, `slopes` ``(parts, times)``.
    """

    share: Floats
    slopes: Floats


def interface_response(solved: SolvedStack, layer: int, times_s: Floats) -> Interface:
    """Return how the upper face of a layer heats up.

    Args:
        solved: the stack in the closed press.
        layer: index of the layer.
        times_s: times [s] after the press closed, ``(times,)``.
    """
    pressed, slope = solved
    row = pressed.shape[[pressed.layout.top(layer)]]
    share = np.clip(row[0] @ step(pressed, times_s), 0.0, 1.0)
    return Interface(share, step_slopes_at(slope, row, times_s)[:, 0])


def interface_temperatures(
    interface: Interface, logs: Floats, point: Floats, *, platen_c: float, platen_k: Floats, room_c: float
) -> tuple[Floats, Floats]:
    """Return an interface's temperatures [degC], ``(times,)``, and their slopes [K], ``(times, n)``.

    Args:
        interface: the interface's response, solved at `point`.
        logs: see `part_changes`.
        point: the parameters, ``(n,)``.
        platen_c: temperature [degC] that the platen is set to.
        platen_k: change of the platen [K] by each parameter, ``(n,)``.
        room_c: temperature [degC] of the room.
    """
    over = platen_c - room_c + float(point @ platen_k)
    by_part = over * interface.slopes.T @ logs.T
    return room_c + over * interface.share, by_part + interface.share[:, None] * platen_k
