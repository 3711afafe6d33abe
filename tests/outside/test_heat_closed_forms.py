"""Conduction against closed forms and the worked examples of textbooks, each with its source.

Numbers given to more digits than the source prints were computed from the named closed form in 30-digit arithmetic;
where a source reads a chart, the chart's value stands beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erfc

from featherline_service.heat.conduction import (
    HELD,
    Modes,
    Stack,
    amplitudes,
    decompose_to_tolerance,
    interpolate,
    modes,
    temperatures,
    validated,
)

Floats = NDArray[np.float64]

POLYMER = (0.2, 1200.0 * 1500.0)  # W/(m K), J/(m3 K)
INSULATED = 0.0
FACE_HELD = math.inf
"""Placeholder for the conductance of a held face, which `stack` replaces once the face's layer is known."""
DEEP = 12.0
"""Diffusion lengths sqrt(a t) after which a slab is a half-space: erfc(6) is 2e-17."""


def stack(layers: Sequence[tuple[float, float, float]], conductances: Sequence[float]) -> Stack:
    """Return a stack of thickness [m], conductivity [W/(m K)], capacity [J/(m3 K)], between conductances [W/(m2 K)]."""
    thickness, conductivity, capacity = (np.array(values) for values in zip(*layers, strict=True))
    joints = np.array(conductances)
    for face in (0, -1):
        if joints[face] == FACE_HELD:
            joints[face] = HELD * conductivity[face] / thickness[face]
    return validated(Stack(thickness, conductivity, capacity, joints))


def after(own: Stack, time_s: float, start_c: float, top_c: float, bottom_c: float) -> tuple[Modes, Floats]:
    """Return a resolved stack and its nodal temperatures at one time, ``(nodes, 1)``."""
    solved = decompose_to_tolerance(own, time_s, 1e-7)
    return solved, temperatures(solved, start_c, [time_s], top_c, bottom_c)


def at(own: Stack, time_s: float, depth_m: float, *, start_c: float, top_c: float, bottom_c: float) -> float:
    """Return the temperature at a depth in the first layer."""
    solved, nodal = after(own, time_s, start_c, top_c, bottom_c)
    return float(interpolate(own, solved.layout, nodal, 0, depth_m)[0])


def half_space(conductivity: float, capacity: float, time_s: float, conductance: float) -> Stack:
    """Return one layer so thick that its back does not matter by the time."""
    return stack(
        [(DEEP * math.sqrt(conductivity / capacity * time_s), conductivity, capacity)], [conductance, INSULATED]
    )


def flux(own: Stack, time_s: float, depth_m: float, start_c: float, flux_w_m2: float) -> float:
    """Return the temperature at a depth of one layer under a constant flux: a boundary far above, through a trickle."""
    trickle = 1e-7 * float(own.conductivity_w_mk[0] / own.thickness_m[0])
    fed = own._replace(conductance_w_m2k=np.array([trickle, INSULATED]))
    solved = modes(fed, (50,))
    nodal = temperatures(solved, start_c, [time_s], flux_w_m2 / trickle, 0.0)
    return float(interpolate(fed, solved.layout, nodal, 0, depth_m)[0])


# Step of the surface temperature: Cengel & Ghajar, Heat and Mass Transfer, equations 4-42 to 4-45.
@pytest.mark.parametrize(
    ("depth_m", "time_s", "expected_c"),
    [(0.0005, 1.0, 57.549768), (0.001, 5.0, 64.561622), (0.001, 15.0, 95.904715), (0.002, 15.0, 55.531818)],
)
def test_surface_held(depth_m: float, time_s: float, expected_c: float) -> None:
    """A half-space at 20 degC whose surface is held at 150 degC."""
    own = half_space(*POLYMER, time_s, FACE_HELD)
    assert pytest.approx(expected_c, abs=2e-5) == at(own, time_s, depth_m, start_c=20.0, top_c=150.0, bottom_c=20.0)


@pytest.mark.parametrize(("time_s", "expected_w_m2"), [(1.0, 44006.7875), (5.0, 19680.4337), (15.0, 11362.5037)])
def test_flux_into_held_surface(time_s: float, expected_w_m2: float) -> None:
    """The flux into it (the same equations), as the rate at which heat is stored."""
    own = half_space(*POLYMER, time_s, FACE_HELD)
    solved = decompose_to_tolerance(own, time_s, 1e-8)
    rate = solved.rate_per_s
    drive = float(solved.top_w_m2k) * 130.0 * solved.shape[0]
    stored = solved.mass_j_m2k @ solved.shape @ (drive * np.exp(-rate * time_s))
    assert pytest.approx(expected_w_m2, rel=1e-6) == stored


# Constant flux: Cengel & Ghajar, equation 4-46.
@pytest.mark.parametrize(
    ("depth_m", "time_s", "expected_c"), [(0.0, 5.0, 62.052209), (0.001, 5.0, 29.674587), (0.001, 15.0, 53.496889)]
)
def test_constant_flux(depth_m: float, time_s: float, expected_c: float) -> None:
    """A half-space at 20 degC under 10 kW/m2."""
    own = half_space(*POLYMER, time_s, INSULATED)
    assert pytest.approx(expected_c, abs=2e-5) == flux(own, time_s, depth_m, 20.0, 1e4)


# Convection at the surface: Cengel & Ghajar, equation 4-47.
@pytest.mark.parametrize(
    ("depth_m", "time_s", "conductance", "expected_c"),
    [
        (0.0, 5.0, 1e3, 130.962663),
        (0.001, 5.0, 1e3, 54.183023),
        (0.001, 15.0, 200.0, 62.934680),
        (0.0, 15.0, 200.0, 103.273001),
    ],
)
def test_convection(depth_m: float, time_s: float, conductance: float, expected_c: float) -> None:
    """A half-space at 20 degC that meets 150 degC through a conductance."""
    own = half_space(*POLYMER, time_s, conductance)
    assert pytest.approx(expected_c, abs=2e-5) == at(own, time_s, depth_m, start_c=20.0, top_c=150.0, bottom_c=20.0)


def test_pulse() -> None:
    """A pulse of heat is the rate of a step of flux: Cengel & Ghajar, equation 4-48."""
    conductivity, capacity = POLYMER
    energy_j_m2, depth_m, time_s, step_s = 2e4, 0.001, 8.0, 1e-3
    diffusivity = conductivity / capacity
    expected = (
        energy_j_m2
        / (conductivity * math.sqrt(math.pi * time_s / diffusivity))
        * math.exp(-(depth_m**2) / (4.0 * diffusivity * time_s))
    )
    own = half_space(*POLYMER, time_s, INSULATED)
    later, sooner = (flux(own, time_s + shift, depth_m, 0.0, energy_j_m2) for shift in (step_s, -step_s))
    assert pytest.approx(expected, rel=1e-5) == (later - sooner) / (2.0 * step_s)


ALUMINIUM = (160.0, 2800.0 * 880.0)  # EN 12524:2000
POLYURETHANE = (0.25, 1200.0 * 1800.0)  # EN 12524:2000


def two_half_spaces(upper: tuple[float, float], lower: tuple[float, float], time_s: float, joint: float) -> Stack:
    """Return two insulated layers that are half-spaces by the time, joined through a conductance."""
    layers = [(DEEP * math.sqrt(k / c * time_s), k, c) for k, c in (upper, lower)]
    return stack(layers, [INSULATED, joint, INSULATED])


def joined(own: Stack, time_s: float, upper_c: float, lower_c: float) -> tuple[float, float]:
    """Return the temperatures of both faces of the joint, from two uniform halves."""
    orders = (60, 60)
    solved = modes(own, orders)
    start = np.full(solved.layout.size, upper_c)
    start[solved.layout.nodes(1)] = lower_c
    if solved.layout.bonded[0]:
        upper, lower = own.capacity_j_m3k * own.thickness_m  # the shared node holds heat of both halves
        start[solved.layout.top(1)] = (upper * upper_c + lower * lower_c) / (upper + lower)
    nodal = temperatures(solved, start, [time_s], 0.0, 0.0)
    return float(nodal[solved.layout.bottom(0), 0]), float(nodal[solved.layout.top(1), 0])


# Two half-spaces through a contact conductance of 1000 W/(m2 K): after Carslaw & Jaeger (1959), derived anew:
# g = exp(A^2 t) erfc(A sqrt t) with A = h (1/e1 + 1/e2).
@pytest.mark.parametrize(
    ("time_s", "lower_c", "upper_c"), [(0.1, 64.588617, 148.349785), (1.0, 103.146434, 146.922769)]
)
def test_two_half_spaces_in_contact(time_s: float, lower_c: float, upper_c: float) -> None:
    """Aluminium at 150 degC on polyurethane at 20 degC."""
    own = two_half_spaces(ALUMINIUM, POLYURETHANE, time_s, 1000.0)
    assert pytest.approx((upper_c, lower_c), abs=2e-3) == joined(own, time_s, 150.0, 20.0)


# Perfect contact: Cengel & Ghajar, equation 4-49. The first pair is EN 12524's; the other two are the book's example of
# touching aluminium (24) and wood (0.38) at 15 degC with skin (1.1 kJ/(m2 s^0.5 K)) at 35 degC: it prints 15.9 and 30.
@pytest.mark.parametrize(
    ("upper", "lower", "upper_c", "lower_c", "expected_c"),
    [
        (ALUMINIUM, POLYURETHANE, 150.0, 20.0, 145.360437),
        ((1.1, 1.1e6), (24.0, 24.0e6), 35.0, 15.0, 15.876494),
        ((1.1, 1.1e6), (0.38, 0.38e6), 35.0, 15.0, 29.864865),
    ],
)
def test_two_half_spaces_bonded(
    upper: tuple[float, float], lower: tuple[float, float], upper_c: float, lower_c: float, expected_c: float
) -> None:
    """The interface of two half-spaces takes one temperature at once, and keeps it."""
    own = two_half_spaces(upper, lower, 2.0, math.inf)
    assert pytest.approx(expected_c, abs=2e-3) == joined(own, 2.0, upper_c, lower_c)[0]


# Layer on a half-space, surface held: Carslaw & Jaeger (1959), section 12.8 (from memory; the series agrees with the
# Laplace transform to 10 digits). Layer (0.17, 1390, 900), substrate (0.15, 900, 1500).
@pytest.mark.parametrize(
    ("thickness_m", "depth_m", "time_s", "expected_c"),
    [
        (0.0002, 0.0, 1.0, 111.877470),
        (0.0002, 0.0, 10.0, 137.742610),
        (0.0002, 0.001, 10.0, 75.877654),
        (0.0005, 0.0, 5.0, 107.582700),
    ],
)
def test_layer_on_half_space(thickness_m: float, depth_m: float, time_s: float, expected_c: float) -> None:
    """The temperatures are those of a half-space under a layer, at the joint and deeper."""
    substrate = (0.15, 900.0 * 1500.0)
    deep = DEEP * math.sqrt(substrate[0] / substrate[1] * time_s)
    own = stack([(thickness_m, 0.17, 1390.0 * 900.0), (deep, *substrate)], [FACE_HELD, math.inf, INSULATED])
    solved, nodal = after(own, time_s, 20.0, 150.0, 20.0)
    assert pytest.approx(expected_c, abs=2e-5) == interpolate(own, solved.layout, nodal, 1, depth_m)[0]


# Plane wall of half-thickness 1 with Biot number Bi: Cengel & Ghajar, equations 4-24 to 4-27 and table 4-2 (four digits
# there); rows at 5, 10, 50 and 100 from z tan z = Bi.
@pytest.mark.parametrize(
    ("biot", "root", "coefficient"),
    [
        (0.01, 0.0998336386, 1.00166084),
        (0.1, 0.311052848, 1.01609422),
        (0.2, 0.43284072, 1.03108765),
        (0.5, 0.653271187, 1.07012814),
        (1.0, 0.860333589, 1.11913201),
        (2.0, 1.07687399, 1.17845579),
        (5.0, 1.31383772, 1.24024931),
        (10.0, 1.42887001, 1.26196259),
        (50.0, 1.54000594, 1.27265181),
        (100.0, 1.55524513, 1.27308762),
    ],
)
def test_plane_wall_eigenvalues(biot: float, root: float, coefficient: float) -> None:
    """The first mode decays by the square of the first root, and has the first coefficient of a uniform start."""
    solved = modes(stack([(1.0, 1.0, 1.0)], [biot, INSULATED]), (24,))
    first = solved.shape[-1, 0] * amplitudes(solved, 1.0)[0]
    assert pytest.approx((root**2, coefficient), rel=2e-8) == (solved.rate_per_s[0], first)


@pytest.mark.parametrize(
    ("biot", "fourier", "centre", "surface", "given"),
    [
        (0.1, 1.0, 0.922388572, 0.878126488, 0.0924129206),
        (1.0, 0.2, 0.950641779, 0.643390784, 0.148404542),
        (1.0, 1.0, 0.533859401, 0.348176852, 0.529602751),
        (10.0, 0.1, 0.968424214, 0.170573811, 0.273882279),
        (10.0, 0.5, 0.454640556, 0.0643289553, 0.684983733),
        (5.0, 0.05, 0.999046337, 0.397362624, 0.131785777),
    ],
)
def test_plane_wall_series(biot: float, fourier: float, centre: float, surface: float, given: float) -> None:
    """The full series (60 terms) of the same wall, short times too, where one term would pass 1 (Bi 10, Fo 0.1)."""
    solved = modes(stack([(1.0, 1.0, 1.0)], [biot, INSULATED]), (32,))
    theta = temperatures(solved, 1.0, [fourier], 0.0, 0.0)[:, 0]
    stored = float(solved.mass_j_m2k @ theta)
    assert pytest.approx((centre, surface, given), abs=2e-8) == (theta[-1], theta[0], 1.0 - stored)


@pytest.mark.parametrize(
    ("fourier", "expected"),
    [(0.05, 0.996869195), (0.1, 0.949305363), (0.2, 0.772311607), (0.5, 0.37077743), (1.0, 0.107977044)],
)
def test_insulated_back_of_held_slab(fourier: float, expected: float) -> None:
    """The same wall with its face held: the centre, or the insulated back of a slab of the half-thickness."""
    solved = modes(stack([(1.0, 1.0, 1.0)], [FACE_HELD, INSULATED]), (32,))
    assert pytest.approx(expected, abs=1e-8) == temperatures(solved, 1.0, [fourier], 0.0, 0.0)[-1, 0]


# Slab under constant flux, back insulated: Carslaw & Jaeger (1959), section 3.8 (section from memory).
@pytest.mark.parametrize(
    ("fourier", "face", "back"),
    [(0.1, 0.356826246, 0.007885292895), (0.5, 0.8318759529, 0.3347907135), (1.0, 1.333322852, 0.8333438146)],
)
def test_slab_under_flux(fourier: float, face: float, back: float) -> None:
    """The face and the back, in units of the flux times thickness over conductivity."""
    own = stack([(1.0, 1.0, 1.0)], [INSULATED, INSULATED])
    assert pytest.approx((face, back), abs=2e-7) == tuple(flux(own, fourier, depth, 0.0, 1.0) for depth in (0.0, 1.0))


# Two bonded layers, face held, back insulated: e1 cos(b t1) cos(b t2) = e2 sin(b t1) sin(b t2) with t = L/sqrt(a).
def test_two_layer_decay_rates() -> None:
    """The decay rates of the layer on leather-like stuff are the squares of the transcendental equation's roots."""
    own = stack([(0.2e-3, 0.17, 1390.0 * 900.0), (2e-3, 0.15, 900.0 * 1500.0)], [FACE_HELD, math.inf, INSULATED])
    rates = modes(own, (12, 24)).rate_per_s[:5]
    expected = np.array([0.240567129, 0.721578029, 1.20224831, 1.68244438, 2.16215484])
    assert pytest.approx(expected, rel=2e-7) == np.sqrt(rates)


# Two bonded layers after a step: the Laplace transform inverted by Talbot's contour, confirmed by an independent
# finite-volume computation within 1.2e-3 K.
@pytest.mark.parametrize(
    ("time_s", "interface_c", "back_c"),
    [
        (1.0, 111.877470, 20.000980),
        (5.0, 132.703557, 30.095477),
        (15.0, 141.161289, 80.519293),
        (30.0, 146.293439, 120.825831),
        (60.0, 149.346931, 144.859720),
    ],
)
def test_two_layers_after_step(time_s: float, interface_c: float, back_c: float) -> None:
    """Rigid PVC on a leather-like layer, face held at 150 degC, back insulated."""
    own = stack([(0.2e-3, 0.17, 1390.0 * 900.0), (2e-3, 0.15, 900.0 * 1500.0)], [FACE_HELD, math.inf, INSULATED])
    solved, nodal = after(own, time_s, 20.0, 150.0, 20.0)
    assert pytest.approx((interface_c, back_c), abs=2e-5) == (nodal[solved.layout.bottom(0), 0], nodal[-1, 0])


PRESSED = (
    [
        (0.13e-3, 0.25, 2200.0 * 1000.0),
        (0.15e-3, 0.25, 1200.0 * 1800.0),
        (1.5e-3, 0.15, 900.0 * 1500.0),
        (8e-3, 0.12, 750.0 * 1000.0),
    ],
    [1000.0, 1.0 / 2e-4, math.inf, 1.0 / 1e-4, 500.0],
)


# PTFE cloth, film, upper and pad with contacts: Talbot's contour and finite volumes as above.
@pytest.mark.parametrize(
    ("time_s", "film_c", "bond_c", "back_c"),
    [
        (1.0, 85.212028, 68.607296, 20.008678),
        (5.0, 122.625685, 113.702832, 31.094745),
        (15.0, 135.647844, 130.764354, 67.507448),
        (30.0, 140.957500, 137.844713, 92.539125),
    ],
)
def test_pressed_stack(time_s: float, film_c: float, bond_c: float, back_c: float) -> None:
    """A press at 150 degC through 1000 W/(m2 K): the film's face, the bond line and the back of the upper."""
    solved, nodal = after(stack(*PRESSED), time_s, 20.0, 150.0, 20.0)
    plan = solved.layout
    found = tuple(nodal[node, 0] for node in (plan.top(1), plan.bottom(1), plan.bottom(2)))
    assert pytest.approx((film_c, bond_c, back_c), abs=2e-5) == found


def test_pressed_stack_when_steady() -> None:
    """In steady state the same stack is a chain of resistances: 0.0810866667 m2 K/W in all (elementary)."""
    own = stack(*PRESSED)
    solved = modes(own, (8, 8, 12, 16))
    nodal = temperatures(solved, 20.0, [1e6], 150.0, 20.0)[:, 0]
    plan = solved.layout
    found = (1000.0 * (150.0 - nodal[0]), nodal[plan.bottom(1)], nodal[plan.bottom(2)])
    assert pytest.approx((1603.222889, 146.280523, 130.248294), abs=1e-5) == found


def test_nafems_oscillating_surface() -> None:
    """NAFEMS, The Standard NAFEMS Benchmarks, rev. 3 (1990), test T3: 36.60 degC at 0.08 m after 32 s.

    A changing boundary is a sum of steps (Duhamel's theorem). The position is measured from the cold end.
    """
    own = stack([(0.1, 35.0, 7200.0 * 440.5)], [FACE_HELD, FACE_HELD])
    node, weight = np.polynomial.legendre.leggauss(200)
    lag = 16.0 * (node + 1.0)
    solved = modes(own, (60,))
    response = interpolate(own, solved.layout, temperatures(solved, 0.0, lag, 1.0, 0.0), 0, 0.02)
    slope = 100.0 * math.pi / 40.0 * np.cos(math.pi * (32.0 - lag) / 40.0)
    assert pytest.approx(36.603116, abs=1e-4) == 16.0 * float(weight @ (slope * response))


STEEL = (45.0, 45.0 / 1.4e-5)


def test_holman_flux_on_steel() -> None:
    """Holman, Heat Transfer, 5th ed. (1981), example 4-2: 79.3 degC."""
    own = half_space(*STEEL, 30.0, INSULATED)
    assert pytest.approx(79.314159, abs=1e-4) == flux(own, 30.0, 0.025, 35.0, 3.2e5)


def test_holman_held_steel() -> None:
    """Holman, the same steel with its surface at 250 degC: 118.5 degC (printed value from memory)."""
    own = half_space(*STEEL, 30.0, FACE_HELD)
    assert pytest.approx(118.498982, abs=1e-4) == at(own, 30.0, 0.025, start_c=35.0, top_c=250.0, bottom_c=35.0)


def test_holman_aluminium_plate() -> None:
    """Holman, example 4-5: he reads 147.7 degC off a chart; his numbers give 148.399."""
    own = stack([(0.05, 215.0, 2700.0 * 900.0)], [525.0, 525.0])
    assert pytest.approx(148.398977, abs=1e-4) == at(own, 60.0, 0.0125, start_c=200.0, top_c=70.0, bottom_c=70.0)


def test_cengel_brass_plate() -> None:
    """Cengel & Ghajar, example 4-4: 282 degC by chart, 279 lumped; exactly 279.584."""
    own = stack([(0.04, 110.0, 110.0 / 33.9e-6)], [120.0, 120.0])
    assert pytest.approx(279.584147, abs=1e-4) == at(own, 420.0, 0.0, start_c=20.0, top_c=500.0, bottom_c=500.0)


DAY_S = 86_400.0


# Depth of freezing: Cengel & Ghajar, example 4-6 (0.78 m by chart, 0.80 by table); Incropera & DeWitt, the water main
# (0.68 m). Som, Introduction to Heat Transfer, example 4.11: 11.5 min. A solver's library example: 377.2 K.
@pytest.mark.parametrize(
    ("conductivity", "diffusivity", "start_c", "held_c", "time_s", "depth_m", "expected_c"),
    [
        (0.4, 0.15e-6, 15.0, -10.0, 90.0 * DAY_S, 0.800943, 0.0),
        (0.52, 0.138e-6, 20.0, -15.0, 60.0 * DAY_S, 0.676962, 0.0),
        (50.0, 1.6e-5, 550.0, 50.0, 688.837, 0.08, 255.0),
        (237.0, 9.547e-5, 378.0, 303.0, 2.0, 0.05, 377.211846),
    ],
)
def test_textbook_half_spaces(
    *,
    conductivity: float,
    diffusivity: float,
    start_c: float,
    held_c: float,
    time_s: float,
    depth_m: float,
    expected_c: float,
) -> None:
    """The temperature is the book's at its depth and time."""
    own = half_space(conductivity, conductivity / diffusivity, time_s, FACE_HELD)
    assert pytest.approx(expected_c, abs=2e-4) == at(
        own, time_s, depth_m, start_c=start_c, top_c=held_c, bottom_c=start_c
    )


def test_contact_as_thickness() -> None:
    """Cengel & Ghajar, example 3-4: 11,000 W/(m2 K) between aluminium plates is 2.15 cm of aluminium more."""
    plate = (0.01, 237.0, 2.4e6)
    touching = stack([plate, plate], [FACE_HELD, 11_000.0, FACE_HELD])
    solid = stack([(0.02 + 0.02154545, 237.0, 2.4e6)], [FACE_HELD, FACE_HELD])
    through = [
        float(solved.bottom_w_m2k * temperatures(solved, 0.0, [1e5], 100.0, 0.0)[-1, 0])
        for solved in (modes(touching, (4, 4)), modes(solid, (4,)))
    ]
    assert pytest.approx(through[0], rel=1e-5) == through[1]


@pytest.mark.parametrize(
    ("argument", "printed"),
    [(0.1, 0.8875), (0.38, 0.5910), (0.5, 0.4795), (1.0, 0.1573), (1.5, 0.0339), (2.0, 0.00468)],
)
def test_error_function_of_the_half_space(argument: float, printed: float) -> None:
    """The held half-space reads out Cengel & Ghajar's table 4-4 of the complementary error function."""
    own = half_space(1.0, 1.0, 1.0, FACE_HELD)
    found = at(own, 1.0, 2.0 * argument, start_c=0.0, top_c=1.0, bottom_c=0.0)
    assert pytest.approx(printed, abs=6e-5) == found
    assert pytest.approx(erfc(argument), abs=1e-7) == found
