"""Conduction in 200 random stacks against the Laplace transform.

`heat_oracle/layered_steps.json` and the script beside it, which wrote it and names its sources: 2 to 9 layers, 0.05 to
12 mm, 0.03 to 60 W/(m K), contacts of 50 to 20,000 W/(m2 K) or bonded, 0.2 to 180 s after a step of 140 K.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from featherline_service.heat.conduction import Stack, decompose_to_tolerance, interpolate, temperatures, validated

ORACLE = json.loads((Path(__file__).parent / "heat_oracle" / "layered_steps.json").read_text())
STEP_K = ORACLE["platen_c"] - ORACLE["start_c"]


def errors_k(case: dict[str, Any], tolerance: float) -> NDArray[np.float64]:
    """Return the errors [K] at each layer's top, middle and bottom, at each time."""
    layers = case["layers"]
    own = validated(
        Stack(
            *(
                np.array([layer[key] for layer in layers])
                for key in ("thickness_m", "conductivity_w_mk", "capacity_j_m3k")
            ),
            np.array([math.inf if joint is None else joint for joint in case["conductance_w_m2k"]]),
        )
    )
    solved = decompose_to_tolerance(own, case["times_s"][0], tolerance)
    nodal = temperatures(solved, ORACLE["start_c"], case["times_s"], ORACLE["platen_c"], ORACLE["start_c"])
    found = [
        interpolate(own, solved.layout, nodal, layer, share * own.thickness_m[layer])
        for layer in range(len(layers))
        for share in (0.0, 0.5, 1.0)
    ]
    return np.abs(np.array(found).T - np.array(case["temperature_c"]))


def test_two_hundred_stacks() -> None:
    """Every stack is within 1e-3 K everywhere when a tolerance of 1e-5 of the step is asked for."""
    worst = [float(errors_k(case, 1e-5).max()) for case in ORACLE["stacks"]]
    assert (200, True) == (len(worst), max(worst) < 1e-3)


@pytest.mark.parametrize("tolerance", [1e-2, 1e-4])
def test_error_stays_below_its_estimate(tolerance: float) -> None:
    """The tolerance bounds the true error, so that the estimate errs on the safe side."""
    over = [
        number for number, case in enumerate(ORACLE["stacks"]) if errors_k(case, tolerance).max() > tolerance * STEP_K
    ]
    assert [] == over
