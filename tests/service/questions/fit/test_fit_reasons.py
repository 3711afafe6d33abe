"""Words of the reasons why a placement does not fit."""

from __future__ import annotations

import pytest

from featherline_service.questions.fit import fit_reasons


@pytest.mark.parametrize(
    ("part_kpa", "units", "said"),
    [
        (0.0, "metric", "0 of 276 kPa"),
        (100.4, "metric", "100 of 276 kPa"),
        (275.7, "metric", "275.7 of 276.0 kPa"),
        (-0.2, "metric", "0 of 276 kPa"),
        # 1 psi is 6.894757 kPa (NIST SP 811, 2008, appendix B.8)
        (137.9, "us", "20 of 40 psi"),
        (275.7, "us", "39.99 of 40.03 psi"),
    ],
)
def test_a_part_of_a_pressure_never_reads_as_the_whole(part_kpa: float, units: str, said: str) -> None:
    """The pressure on corners and that asked for, on the scale of the units, with the decimals that tell them apart."""
    assert said == fit_reasons._say_pressures(part_kpa, 276.0, units)
