"""Compression of a pad, and its conductivity."""

from __future__ import annotations

import pytest

from featherline_service.heat.pad import AIR_W_MK, compressed_conductivity, compression

CURVE = ([0.0, 83e3, 276e3], [0.0, 0.25, 0.52])


@pytest.mark.parametrize(("pressure_pa", "strain"), [(0.0, 0.0), (83e3, 0.25), (179.5e3, 0.385), (276e3, 0.52)])
def test_curve_is_read_between_its_points(pressure_pa: float, strain: float) -> None:
    """The curve passes through its points and is straight between them."""
    assert pytest.approx(strain) == compression(*CURVE, pressure_pa)


def test_published_sponge() -> None:
    """ASTM D1056, class D grade 3: 25 % deflection takes 9 to 15 psi, so that a firm press is far beyond it."""
    assert 9.0 * 6.894757e3 <= CURVE[0][1] <= 15.0 * 6.894757e3


@pytest.mark.parametrize("pressure_pa", [-1.0, 300e3, float("nan")])
def test_nothing_is_guessed_beyond_the_curve(pressure_pa: float) -> None:
    """A curve is not extrapolated; the message says what to do."""
    with pytest.raises(ValueError, match="press lighter, or extend the curve"):
        compression(*CURVE, pressure_pa)


@pytest.mark.parametrize(
    ("pressures", "strains"), [([0.0, 0.0], [0.0, 0.1]), ([0.0, 1.0], [0.2, 0.1]), ([0.0, 1.0], [0.0, 1.0])]
)
def test_curve_must_rise(pressures: list[float], strains: list[float]) -> None:
    """A curve that falls, stands still in pressure, or loses all thickness is refused."""
    with pytest.raises(ValueError, match="rises"):
        compression(pressures, strains, 0.5)


def test_denser_conducts_better() -> None:
    """At half the thickness the solid's contribution doubles and the air's stays."""
    assert pytest.approx(AIR_W_MK + 2.0 * (0.12 - AIR_W_MK)) == compressed_conductivity(0.12, 0.5)
    assert compressed_conductivity(0.12, 0.0) == 0.12


@pytest.mark.parametrize(("conductivity", "strain"), [(0.01, 0.1), (0.12, 1.0), (0.12, -0.1)])
def test_nonsense_is_refused(conductivity: float, strain: float) -> None:
    """A conductivity below air's and a strain of one or more are refused."""
    with pytest.raises(ValueError, match="at least as well as air"):
        compressed_conductivity(conductivity, strain)
