"""Contact conductance as a function of pressure."""

from __future__ import annotations

import pytest

from featherline_service.heat.contact import contact_conductance


def test_reference_pressure_gives_the_reference() -> None:
    """At its reference pressure a contact has its reference conductance."""
    assert contact_conductance(1500.0, 276e3, 0.5, 276e3) == 1500.0


def test_power_law() -> None:
    """A quarter of the pressure at an exponent of one half is half the conductance."""
    assert contact_conductance(1500.0, 276e3, 0.5, 69e3) == 750.0


def test_exponent_zero_ignores_pressure() -> None:
    """A soft sheet that gains nothing from pressure has an exponent of zero."""
    assert contact_conductance(1500.0, 276e3, 0.0, 1e3) == 1500.0


@pytest.mark.parametrize(
    "values",
    [(0.0, 1.0, 0.5, 1.0), (1.0, 0.0, 0.5, 1.0), (1.0, 1.0, 1.5, 1.0), (1.0, 1.0, 0.5, 0.0), (1.0, 1.0, -0.1, 1.0)],
)
def test_nonsense_is_refused(values: tuple[float, float, float, float]) -> None:
    """A conductance or pressure of zero and an exponent outside 0 to 1 are refused."""
    with pytest.raises(ValueError, match="above zero"):
        contact_conductance(*values)
