"""Compression of a resilient pad under pressure, and its conductivity when compressed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

AIR_W_MK: Final = 0.030
"""[W/(m K)] Still air at about 80 degC (Cengel & Ghajar, table A-15; from memory)."""


def compression(pressures_pa: Sequence[float], strains: Sequence[float], pressure_pa: float) -> float:
    """Return the share of its thickness [-] that a pad loses at a pressure, interpolated linearly in its curve.

    Args:
        pressures_pa: pressures [Pa] of the curve's points, rising.
        strains: shares of the thickness lost [-] at these pressures, not falling, from 0 to below 1.
        pressure_pa: pressure [Pa], within the curve's.

    Raises:
        ValueError: the curve does not rise, or does not reach the pressure. It is not extrapolated: a sponge stiffens
            steeply beyond the end of its curve.
    """
    curve, loss = np.asarray(pressures_pa, dtype=np.float64), np.asarray(strains, dtype=np.float64)
    if (np.diff(curve) <= 0.0).any() or (np.diff(loss) < 0.0).any() or (loss < 0.0).any() or (loss >= 1.0).any():
        raise ValueError("A compression curve rises: more pressure, more strain, the strain from 0 to below 1")
    if not curve[0] <= pressure_pa <= curve[-1]:
        raise ValueError(
            f"The pad's compression is known from {curve[0] / 1000:g} to {curve[-1] / 1000:g} kPa, "
            f"not at {pressure_pa / 1000:g} kPa: press lighter, or extend the curve in the book"
        )
    return float(np.interp(pressure_pa, curve, loss))


def compressed_conductivity(conductivity_w_mk: float, strain: float) -> float:
    """Return the conductivity [W/(m K)] of a pad that has lost the share `strain` of its thickness.

    A sponge conducts as its air does, plus a contribution of its solid in proportion to the density, which grows by
    ``1 / (1 - strain)``: ``k = k_air + (k_0 - k_air) / (1 - strain)``. A solid pad hardly strains, so the same law
    holds for it.

    Args:
        conductivity_w_mk: conductivity [W/(m K)] uncompressed, at least that of air.
        strain: share of the thickness lost [-], from 0 to below 1.

    Raises:
        ValueError: a value is outside these ranges.

    References:
        Gibson & Ashby, Cellular Solids, 2nd ed. (1997), section 7.3: the solid's contribution in proportion
            to the relative density (from memory).
    """
    if not (conductivity_w_mk >= AIR_W_MK and 0.0 <= strain < 1.0):
        raise ValueError("A pad conducts at least as well as air, and loses less than the whole of its thickness")
    return AIR_W_MK + (conductivity_w_mk - AIR_W_MK) / (1.0 - strain)
