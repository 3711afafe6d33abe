"""What heat does to an adhesive: the dose that a bond line has gathered, in equivalent seconds.

Flow and wetting of a hot-melt adhesive quicken with temperature as ``exp(-E / R T)`` above the temperature where it
softens. The dose is the time at a reference temperature that would have done as much.
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


def arrhenius(temperature_c: ArrayLike, reference_c: float, activation_j_mol: ArrayLike) -> Floats:
    """Return how much faster than at the reference temperature a thermally activated process goes [-].

    Args:
        temperature_c: temperatures [degC].
        reference_c: reference temperature [degC].
        activation_j_mol: activation energy [J/mol]; broadcasts against the temperatures.

    References:
        Yang & Pitchumani, Macromolecules 35 (2002) 3213-3224: healing that is not isothermal as an integral over the
            rate (abstract read; formula from memory).
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    scale = np.asarray(activation_j_mol, dtype=np.float64) / GAS_CONSTANT_J_MOLK
    return np.asarray(np.exp(scale * (1.0 / (reference_c + ZERO_CELSIUS_K) - 1.0 / kelvin)))


def dose(
    times_s: Floats, temperature_c: Floats, reference_c: float, onset_c: float, activation_j_mol: ArrayLike
) -> Floats:
    """Return the dose [s at the reference temperature] gathered up to each time, ``(..., times)``.

    The integral of the Arrhenius rate over the time at or above the onset, by the trapezoidal rule; the step in which
    the onset is crossed counts by the share of it that lies above.

    Args:
        times_s: times [s], rising, ``(times,)``.
        temperature_c: temperature [degC] of the bond line at these times, ``(..., times)``.
        reference_c: reference temperature [degC].
        onset_c: temperature [degC] below which the adhesive does not flow.
        activation_j_mol: activation energy [J/mol]; broadcasts against ``(..., times)``.
    """
    rate = arrhenius(temperature_c, reference_c, activation_j_mol)
    before, after = temperature_c[..., :-1] - onset_c, temperature_c[..., 1:] - onset_c
    span = after - before
    crossing = (before < 0.0) != (after < 0.0)
    share = np.where(crossing, np.maximum(before, after) / np.where(span == 0.0, 1.0, np.abs(span)), before >= 0.0)
    # In a crossing step the mean rate above the onset lies between the rate at the onset and that at the hotter end.
    at_onset = arrhenius(onset_c, reference_c, activation_j_mol)
    low = np.where(crossing, at_onset, np.minimum(rate[..., :-1], rate[..., 1:]))
    steps = np.diff(times_s) * share * 0.5 * (low + np.maximum(rate[..., :-1], rate[..., 1:]))
    total = np.zeros(np.broadcast_shapes(rate.shape))
    np.cumsum(steps, axis=-1, out=total[..., 1:])
    return total


def time_of_dose(times_s: Floats, doses_s: Floats, needed_s: ArrayLike) -> Floats:
    """Return the time [s] at which each dose curve ``(..., times)`` reaches what is needed ``(...)``; infinity: never.

    Linear between the times of the curve.
    """
    needed = np.asarray(needed_s, dtype=np.float64)
    reached = doses_s >= needed[..., None]
    after = np.argmax(reached, axis=-1)
    index = np.maximum(after, 1)[..., None]
    high = np.take_along_axis(doses_s, index, axis=-1)[..., 0]
    low = np.take_along_axis(doses_s, index - 1, axis=-1)[..., 0]
    end, begin = times_s[index[..., 0]], times_s[index[..., 0] - 1]
    rise = high - low
    time = begin + (end - begin) * np.where(rise > 0.0, (needed - low) / np.where(rise > 0.0, rise, 1.0), 0.0)
    return np.asarray(np.where(reached[..., -1], np.where(after == 0, times_s[0], time), np.inf))
