"""Dose of a bond line: how far heat has brought a hot-melt adhesive, in equivalent seconds.

Above its softening temperature the adhesive flows and wets at a rate proportional to ``exp(-E / R T)``. The dose is the
time at a reference temperature that has the same effect.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

GAS_CONSTANT_J_MOLK: Final = 8.314462618
"""[J/(mol K)] CODATA 2018, exact since the redefinition of the SI in 2019."""
ZERO_CELSIUS_K: Final = 273.15
"""[K] Definition of the Celsius scale."""

_LEAST_K: Final = 1e-12
_LEAST_S: Final = 1e-300


def arrhenius(temperature_c: ArrayLike, reference_c: ArrayLike, activation_j_mol: ArrayLike) -> Floats:
    """Return the rate of a thermally activated process as a multiple of its rate at the reference temperature [-].

    Args:
        temperature_c: temperatures [degC].
        reference_c: reference temperature [degC]; broadcasts against the temperatures, as does the next.
        activation_j_mol: activation energy [J/mol].

    References:
        Yang & Pitchumani, Macromolecules 35 (2002) 3213-3224: non-isothermal healing as an integral over the rate
            (abstract read; formula from memory).
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    scale = np.asarray(activation_j_mol, dtype=np.float64) / GAS_CONSTANT_J_MOLK
    reference = np.asarray(reference_c, dtype=np.float64) + ZERO_CELSIUS_K
    exponent = np.asarray(scale * (1.0 / reference - 1.0 / kelvin))
    return np.exp(exponent, out=exponent)


def dose(
    times_s: Floats, temperature_c: Floats, reference_c: float, onset_c: ArrayLike, activation_j_mol: ArrayLike
) -> Floats:
    """Return the dose [s at the reference temperature] gathered up to each time, ``(..., times)``.

    The dose is the integral of the Arrhenius rate over the time at or above the onset, by the trapezoidal rule. Of a
    step that crosses the onset, the part above the onset counts.

    Args:
        times_s: times [s], rising, ``(times,)``.
        temperature_c: temperature [degC] of the bond line at these times, ``(..., times)``.
        reference_c: reference temperature [degC].
        onset_c: temperature [degC] below which the adhesive does not flow; broadcasts against ``(..., times)``.
        activation_j_mol: activation energy [J/mol]; broadcasts against ``(..., times)``.
    """
    onset_c = np.asarray(onset_c, dtype=np.float64)
    shape = np.broadcast(temperature_c, onset_c, activation_j_mol).shape
    if shape != temperature_c.shape:
        temperature_c = np.broadcast_to(temperature_c, shape)
    rate = arrhenius(temperature_c, reference_c, activation_j_mol)
    at_onset = arrhenius(onset_c, reference_c, activation_j_mol)
    # What follows is computed in place: of the many cases of a window each copy would take as long as a sum.
    first, last = temperature_c[..., :-1], temperature_c[..., 1:]
    share, wide = np.maximum(first, last), np.minimum(first, last)
    np.maximum(np.subtract(share, wide, out=wide), _LEAST_K, out=wide)
    share -= onset_c
    np.minimum(np.maximum(np.divide(share, wide, out=share), 0.0, out=share), 1.0, out=share)
    # The rate rises with temperature, so the larger rate is that of the hotter end; below the onset the rate at the
    # onset stands in for that of the colder end.
    faster, slower = np.maximum(rate[..., :-1], rate[..., 1:]), np.minimum(rate[..., :-1], rate[..., 1:], out=wide)
    np.maximum(slower, at_onset, out=slower)
    faster += slower
    faster *= np.multiply(share, 0.5 * (times_s[1:] - times_s[:-1]), out=share)
    total = np.zeros(rate.shape)
    np.cumsum(faster, axis=-1, out=total[..., 1:])
    return total


def time_of_dose(times_s: Floats, doses_s: Floats, needed_s: ArrayLike) -> Floats:
    """Return the time [s] at which each dose curve ``(..., times)`` reaches the needed dose ``(...)``.

    Curves are linear between their times. A curve that never reaches its needed dose gets infinity.
    """
    needed = np.asarray(needed_s, dtype=np.float64)
    short = (doses_s < needed[..., None]).sum(axis=-1)
    after = np.minimum(np.maximum(short, 1), times_s.size - 1)
    flat, row = doses_s.reshape(-1, times_s.size), np.arange(after.size)
    high = flat[row, after.ravel()].reshape(after.shape)
    low = flat[row, after.ravel() - 1].reshape(after.shape)
    share = (needed - low) / np.maximum(high - low, _LEAST_S)
    time = times_s[after - 1] + (times_s[after] - times_s[after - 1]) * np.maximum(share, 0.0)
    return np.asarray(np.where(short == times_s.size, np.inf, time))
