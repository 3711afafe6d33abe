"""Stacks that the tests of pressings share: a cover sheet, film, leather, lining and pad, in round figures."""

from __future__ import annotations

import numpy as np
import pytest

from featherline_service.heat.conduction import Stack, validated


@pytest.fixture(scope="session")
def closed() -> Stack:
    """The stack in a closed press; layer 2 is the upper's first."""
    return validated(
        Stack(
            np.array([0.2e-3, 0.09e-3, 1.4e-3, 0.6e-3, 4e-3]),
            np.array([0.35, 0.22, 0.12, 0.084, 0.2]),
            np.array([1.3e6, 2.1e6, 1.28e6, 0.36e6, 1.5e6]),
            np.array([1200.0, 1300.0, 1500.0, 600.0, 600.0, 500.0]),
        )
    )


@pytest.fixture(scope="session")
def opened() -> Stack:
    """The same layers in the open press, the pad at rest."""
    return validated(
        Stack(
            np.array([0.2e-3, 0.09e-3, 1.4e-3, 0.6e-3, 8e-3]),
            np.array([0.35, 0.22, 0.12, 0.084, 0.12]),
            np.array([1.3e6, 2.1e6, 1.28e6, 0.36e6, 0.75e6]),
            np.array([14.0, 80.0, 90.0, 36.0, 36.0, 500.0]),
        )
    )
