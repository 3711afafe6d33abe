"""Contact conductance between two faces that touch without being bonded."""

from __future__ import annotations

from typing import Final

RESTING_PA: Final = 1000.0
"""[Pa] Pressure between the layers of a shoe on an open press: its own weight and the operator's hand, about 5 N on
50 cm2 (from memory)."""


def contact_conductance(conductance_w_m2k: float, reference_pa: float, exponent: float, pressure_pa: float) -> float:
    """Return the contact conductance [W/(m2 K)] of two faces pressed together: ``h_ref (p / p_ref) ** n``.

    The exponent is 0.95 to 0.985 for hard, rough metal faces (plastic contact of the asperities) and nearer zero for
    soft sheets, which already conform at low pressure.

    Args:
        conductance_w_m2k: conductance [W/(m2 K)] at the reference pressure, above zero.
        reference_pa: reference pressure [Pa], above zero.
        exponent: exponent [-], from 0 to 1.
        pressure_pa: pressure [Pa], above zero.

    Raises:
        ValueError: a value is outside these ranges.

    References:
        Cooper, Mikic & Yovanovich, International Journal of Heat and Mass Transfer 12 (1969) 279-300: the power law,
            with the exponent 0.985; 0.95 is that of Yovanovich, AIAA 82-83 (1982) (both from memory).
    """
    if not (conductance_w_m2k > 0.0 and reference_pa > 0.0 and pressure_pa > 0.0 and 0.0 <= exponent <= 1.0):
        raise ValueError("A contact needs a conductance and pressures above zero and an exponent from 0 to 1")
    return float(conductance_w_m2k * (pressure_pa / reference_pa) ** exponent)
