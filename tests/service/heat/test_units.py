"""Kernels called with quantities return the dimension that their docstrings state."""

from __future__ import annotations

import math

import numpy as np
import pint
import pytest

from featherline_service.heat import bond, conduction, contact, pad

UNITS = pint.LazyRegistry()  # reads its definitions when first asked
CONDUCTIVITY = "W/(m K)"
CAPACITY = "J/(m^3 K)"
CONDUCTANCE = "W/(m^2 K)"


def test_stiffness_and_mass() -> None:
    """A layer's stiffness is k/L in W/(m2 K), and its mass rho c L in J/(m2 K): rates are their quotient, 1/s."""
    assert UNITS("W/(m^2 K)").dimensionality == (UNITS(CONDUCTIVITY) / UNITS.metre).dimensionality
    assert UNITS("J/(m^2 K)").dimensionality == (UNITS(CAPACITY) * UNITS.metre).dimensionality
    assert (
        UNITS("1/s").dimensionality
        == (UNITS(CONDUCTIVITY) / UNITS.metre / (UNITS(CAPACITY) * UNITS.metre)).dimensionality
    )


@pytest.mark.parametrize(("length", "time"), [("mm", "ms"), ("inch", "minute"), ("m", "hour")])
def test_rates_do_not_depend_on_the_units(length: str, time: str) -> None:
    """The same stack written in other units of length and time has the same decay rates, in those units."""
    layers = [(0.2e-3, 0.35, 1.3e6), (1.4e-3, 0.12, 1.28e6)]
    joints = [1200.0, 600.0, 14.0]
    metres, seconds = UNITS(length).to("m").magnitude, UNITS(time).to("s").magnitude
    plain, scaled = (
        conduction.modes(
            conduction.validated(
                conduction.Stack(
                    np.array([thickness / m for thickness, _, _ in layers]),
                    np.array([k * m * s for _, k, _ in layers]),
                    np.array([c * m**3 for _, _, c in layers]),
                    np.array([joint * m**2 * s for joint in joints]),
                )
            ),
            (4, 6),
        ).rate_per_s
        for m, s in ((1.0, 1.0), (metres, seconds))
    )
    assert pytest.approx(plain * seconds, rel=1e-9) == scaled


def test_temperature_scale() -> None:
    """Shifting all temperatures shifts the result, and scaling all differences scales it."""
    own = conduction.validated(
        conduction.Stack(np.array([1e-3]), np.array([0.2]), np.array([1e6]), np.array([500.0, 20.0]))
    )
    solved = conduction.modes(own, (8,))
    celsius = conduction.temperatures(solved, 20.0, [5.0], 160.0, 25.0)
    kelvin = conduction.temperatures(solved, 293.15, [5.0], 433.15, 298.15)
    fahrenheit = conduction.temperatures(solved, 68.0, [5.0], 320.0, 77.0)
    assert pytest.approx(celsius + 273.15) == kelvin
    assert pytest.approx(1.8 * celsius + 32.0) == fahrenheit


def test_contact_conductance() -> None:
    """A conductance, whatever the unit of both pressures."""
    pressures = [UNITS(text).to("Pa").magnitude for text in ("276 kPa", "30 psi")]
    value = contact.contact_conductance(1500.0, pressures[0], 0.5, pressures[1]) * UNITS(CONDUCTANCE)
    again = contact.contact_conductance(1500.0, pressures[0] / 1e5, 0.5, pressures[1] / 1e5)
    assert UNITS(CONDUCTANCE).dimensionality == value.dimensionality
    assert pytest.approx(again) == value.magnitude


def test_pad() -> None:
    """A conductivity from a conductivity; a strain, without a unit, from pressures in any one unit."""
    own = pad.compressed_conductivity((0.12 * UNITS(CONDUCTIVITY)).to("W/(m K)").magnitude, 0.4) * UNITS(CONDUCTIVITY)
    assert UNITS(CONDUCTIVITY).dimensionality == own.dimensionality
    assert pad.compression([0.0, 100.0], [0.0, 0.4], 50.0) == pad.compression([0.0, 1.0], [0.0, 0.4], 0.5)


def test_dose_is_a_time() -> None:
    """A dose has the unit of its times: in minutes it is a sixtieth of that in seconds."""
    seconds = np.linspace(0.0, 60.0, 121)
    warm = np.full(121, 140.0)
    energy = (100.0 * UNITS("kJ/mol")).to("J/mol").magnitude
    in_seconds, in_minutes = (bond.dose(times, warm, 150.0, 110.0, energy)[-1] for times in (seconds, seconds / 60.0))
    assert pytest.approx(in_seconds / 60.0) == in_minutes


def test_arrhenius_exponent_has_no_unit() -> None:
    """E / (R T) has no dimension, and R is the product of Avogadro's and Boltzmann's constants."""
    gas = bond.GAS_CONSTANT_J_MOLK * UNITS("J/(mol K)")
    assert (UNITS("J/mol") / (gas * UNITS.kelvin)).dimensionless
    product = UNITS("avogadro_constant * boltzmann_constant").to("J/(mol K)")
    assert math.isclose(product.magnitude, gas.magnitude, rel_tol=1e-9)
