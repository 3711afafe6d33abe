from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from featherline_service.shape.placement import curvature

SPONGE = ((0.0, 0.0), (83.0, 0.25), (207.0, 0.45), (276.0, 0.52), (414.0, 0.6))


def test_flat_panel_has_uniform_pressure() -> None:
    """On a flat panel the corners get the mean pressure, also beyond the end of the pad's published curve."""
    for pressure in (50.0, 276.0, 500.0):
        corner = curvature.corner_pressure(20.0, 10.0, math.inf, math.inf, pressure, 8.0, SPONGE)
        assert pytest.approx(pressure, rel=1e-6) == corner


def test_corners_of_a_strongly_curved_panel_are_not_touched() -> None:
    """Where the gap exceeds the pad's compression, the corners get no pressure."""
    assert 0.0 == curvature.corner_pressure(25.0, 15.0, 40.0, 40.0, 172.0, 5.0, ((0.0, 0.0), (276.0, 0.09)))


@given(
    radius=st.floats(60.0, 5000.0),
    other=st.floats(60.0, 5000.0),
    pressure=st.floats(50.0, 400.0),
)
def test_flatter_panel_never_presses_its_corners_less(radius: float, other: float, pressure: float) -> None:
    """With a larger radius the corners get no less pressure, and never more than the mean."""
    tight, loose = sorted((radius, other))
    one = curvature.corner_pressure(20.0, 10.0, tight, 300.0, pressure, 8.0, SPONGE)
    two = curvature.corner_pressure(20.0, 10.0, loose, 300.0, pressure, 8.0, SPONGE)

    assert one <= two + 1e-6
    assert two <= pressure + 1e-6


def test_gap_adds_up_from_both_directions() -> None:
    """The gap at a corner is the sum of the sagittas along and across; a flat panel has none."""
    along = curvature.gap_under_platen(20.0, 0.0, 100.0, 50.0)
    across = curvature.gap_under_platen(0.0, 10.0, 100.0, 50.0)

    assert pytest.approx(along + across) == curvature.gap_under_platen(20.0, 10.0, 100.0, 50.0)
    assert 0.0 == curvature.gap_under_platen(20.0, 10.0, math.inf, math.inf)


def test_a_saddle_has_the_gap_of_a_cap() -> None:
    """On a saddle the platen rests on the rising ends; from there to the falling ends the gap is both sagittas."""
    saddle, cap = (curvature.gap_under_platen(20.0, 10.0, 100.0, radius) for radius in (-50.0, 50.0))

    assert cap == saddle


def test_a_saddle_on_a_soft_pad_is_pressed_by_its_mean_gap() -> None:
    """On a linear pad the least pressure is the mean less the stiffness times the largest gap over the mean gap."""
    stiffness, thickness, mean = 1000.0, 8.0, 200.0  # kPa per unit strain, mm, kPa
    along, across = 20.0**2 / (2.0 * 900.0), 10.0**2 / (2.0 * 700.0)

    least = curvature.corner_pressure(20.0, 10.0, 900.0, -700.0, mean, thickness, ((0.0, 0.0), (900.0, 0.9)))

    # For shallow sagittas the mean gap is a third of the falling one and two thirds of the rising one.
    excess = along + across - (along / 3.0 + 2.0 * across / 3.0)
    assert pytest.approx(mean - stiffness * excess / thickness, rel=1e-3) == least


def test_bending_strain_has_no_sign() -> None:
    """Film bent to a radius of either sign has the same strain at its face."""
    assert curvature.bending_strain(0.1, 50.0) == curvature.bending_strain(0.1, -50.0) == 0.001


def test_flat_panel_neither_stretches_nor_bends_film() -> None:
    """On a flat panel film has no strain."""
    assert (0.0, 0.0) == tuple(map(abs, curvature.wrapping_strain(30.0, math.inf, math.inf)))
    assert 0.0 == curvature.bending_strain(0.1, math.inf)
