"""Dose of an adhesive and exposure to harm against closed forms and published integrals."""

from __future__ import annotations

import numpy as np
import pytest

from featherline_service.heat.bond import arrhenius, dose
from featherline_service.heat.damage import exposure

NEVER_BELOW_C = -200.0


# Arrhenius factors against 150 degC with R = 8.314462618 J/(mol K), computed in 30-digit arithmetic.
@pytest.mark.parametrize(
    ("activation_kj_mol", "at_140", "at_160", "at_130"),
    [
        (60.0, 0.661810, 1.482481, 0.429115),
        (80.0, 0.576737, 1.690385, 0.323667),
        (100.0, 0.502600, 1.927445, 0.244131),
        (120.0, 0.437993, 2.197751, 0.184140),
        (150.0, 0.356315, 2.675919, 0.120624),
    ],
)
def test_arrhenius_factors(activation_kj_mol: float, at_140: float, at_160: float, at_130: float) -> None:
    """The rate is that of the closed form, as a multiple of the rate at 150 degC."""
    found = arrhenius([140.0, 160.0, 130.0], 150.0, activation_kj_mol * 1e3)
    assert pytest.approx([at_140, at_160, at_130], abs=1e-6) == found


def test_ramp_and_hold() -> None:
    """A ramp from 20 to 150 degC in 10 s, then 10 s at 150 degC: 11.07209447 s at 150 degC (quadrature, 30 digits)."""
    times = np.linspace(0.0, 20.0, 4001)
    ramp = np.minimum(20.0 + 13.0 * times, 150.0)
    gathered = dose(times, ramp, 150.0, NEVER_BELOW_C, 100e3)
    assert pytest.approx((1.07209447, 11.07209447), abs=2e-6) == (gathered[2000], gathered[-1])


# Henriques' skin burn constants: P = 3.1e98 1/s, E = 6.28e8 J/kmol; the time to a complete transepidermal burn at a
# held basal temperature (constants from memory; times by arithmetic). Here only the ratio of two temperatures is used.
@pytest.mark.parametrize(("held_c", "burn_s"), [(50.0, 1042.04), (60.0, 0.935261)])
def test_burn_times(held_c: float, burn_s: float) -> None:
    """An exposure of 29.5935 s at 55 degC converts to other temperatures."""
    times = np.linspace(0.0, burn_s, 11)
    had = exposure(times, np.full(11, held_c), 55.0, 6.28e5 * 8.314462618 / 8.314)
    assert pytest.approx(29.5935, rel=5e-4) == had[-1]
