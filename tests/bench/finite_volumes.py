"""A press cycle solved two ways: by the service's spectral elements, and by finite volumes with a stiff integrator."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.sparse import diags_array

from featherline_service.heat import conduction

Floats = NDArray[np.float64]

TOLERANCE_K: Final = 2e-4
"""The most that the two may differ by: each is about 5e-5 K from the exact temperature (see `Case.errors`)."""
_PLATEN_C: Final = 160.0
_BELOW_C: Final = 40.0
_START_C: Final = 22.0
_SHARE: Final = 1e-3  # of the step, as the largest error that the elements estimate; the true one is far smaller
_EXACT: Final = 1e-11
# The coarsest grid and loosest tolerances in round figures with which the volumes are about as exact as the elements.
_CELLS_A_LAYER: Final = 800
_RELATIVE: Final = 1e-7
_ABSOLUTE_K: Final = 1e-5


class Case:
    """Cover sheet, film and leather on a pad: 30 s from closing, the temperature at the film's lower face.

    Round figures of the size that the demo book has; a case for timing, not a recipe.
    """

    def __init__(self) -> None:
        """Set the layers out from the platen down."""
        self._stack = conduction.validated(
            conduction.Stack(
                thickness_m=np.array([0.2e-3, 0.09e-3, 1.4e-3, 8.0e-3]),
                conductivity_w_mk=np.array([0.2, 0.2, 0.12, 0.06]),
                capacity_j_m3k=np.array([1.6e6, 1.6e6, 1.28e6, 0.3e6]),
                conductance_w_m2k=np.array([2000.0, 1000.0, 800.0, 800.0, 500.0]),
            )
        )
        self._times_s = np.linspace(1.0, 30.0, 120)

    def by_elements(self) -> Floats:
        """Return the temperatures [degC] ``(times,)`` by the service's own solver, from the stack on."""
        return self._by_elements(_SHARE)

    def errors(self) -> tuple[float, float]:
        """Return the largest errors [K] of the elements and of the volumes.

        Against elements of orders so high that only rounding is left; that these are exact is tested elsewhere, against
        inverted Laplace transforms, and here the volumes come near them with the square of their grid.
        """
        exact = self._by_elements(_EXACT)
        elements, volumes = (np.abs(each - exact).max() for each in (self.by_elements(), self.by_volumes()))
        return float(elements), float(volumes)

    def _by_elements(self, tolerance: float) -> Floats:
        solved = conduction.decompose_to_tolerance(self._stack, float(self._times_s[0]), tolerance)
        nodal = conduction.temperatures(solved, _START_C, self._times_s, _PLATEN_C, _BELOW_C)
        return np.asarray(nodal[solved.layout.bottom(1)])

    def by_volumes(self) -> Floats:
        """Return the temperatures [degC] ``(times,)`` by cell-centred finite volumes and implicit BDF.

        References:
            Patankar, Numerical Heat Transfer and Fluid Flow (1980), section 4.2: resistances in series between cells.
            Shampine & Reichelt, SIAM Journal on Scientific Computing 18 (1997) 1-22: the integrator.
        """
        thickness, conductivity, capacity, conductance = self._stack
        width = np.repeat(thickness / _CELLS_A_LAYER, _CELLS_A_LAYER)
        half = 0.5 * width / np.repeat(conductivity, _CELLS_A_LAYER)
        contact = np.zeros(width.size + 1)
        contact[::_CELLS_A_LAYER] = 1.0 / conductance
        flow = 1.0 / (np.concatenate(([0.0], half)) + contact + np.concatenate((half, [0.0])))
        store = width * np.repeat(capacity, _CELLS_A_LAYER)
        matrix = diags_array(
            [flow[1:-1] / store[1:], -(flow[:-1] + flow[1:]) / store, flow[1:-1] / store[:-1]], offsets=[-1, 0, 1]
        ).tocsc()
        drive = np.zeros(width.size)
        drive[0], drive[-1] = flow[0] * _PLATEN_C / store[0], flow[-1] * _BELOW_C / store[-1]
        # The integrator's table of differences begins uninitialised; what its first step reads there is never used.
        with np.errstate(over="ignore", invalid="ignore"):
            solved = solve_ivp(
                lambda _, temperature: matrix @ temperature + drive,
                (0.0, float(self._times_s[-1])),
                np.full(width.size, _START_C),
                method="BDF",
                t_eval=self._times_s,
                jac=matrix,
                rtol=_RELATIVE,
                atol=_ABSOLUTE_K,
            )
        # The film's lower face, from the flow through the contact below it.
        above, below = solved.y[2 * _CELLS_A_LAYER - 1], solved.y[2 * _CELLS_A_LAYER]
        return np.asarray(above - (above - below) * flow[2 * _CELLS_A_LAYER] * half[2 * _CELLS_A_LAYER - 1])
