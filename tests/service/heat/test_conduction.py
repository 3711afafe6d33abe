"""Laws of heat conduction, on random stacks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draws import drawn
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from featherline_service.heat.conduction import (
    HELD,
    HIGHEST_ORDER,
    Modes,
    Stack,
    amplitudes,
    assemble,
    decompose_to_tolerance,
    element,
    evolve,
    first_orders,
    interpolate,
    layer_errors,
    layout,
    modes,
    temperatures,
    validated,
)

Floats = NDArray[np.float64]

FEW = settings(max_examples=drawn(40), deadline=None)
TIMES_S = np.array([0.3, 1.0, 4.0, 20.0, 120.0])


def log_floats(low: float, high: float) -> st.SearchStrategy[float]:
    """Return floats whose logarithm is uniform."""
    return st.floats(math.log(low), math.log(high)).map(math.exp)


@st.composite
def stacks(draw: st.DrawFn, most: int = 6) -> Stack:
    """Return a stack of 1 to `most` layers, touching or bonded."""
    layers = draw(st.integers(1, most))
    joints = [draw(log_floats(20.0, 2e4)) for _ in range(layers + 1)]
    for joint in range(1, layers):
        joints[joint] = math.inf if draw(st.booleans()) else joints[joint]
    return validated(
        Stack(
            np.array([draw(log_floats(5e-5, 1e-2)) for _ in range(layers)]),
            np.array([draw(log_floats(0.03, 60.0)) for _ in range(layers)]),
            np.array([draw(log_floats(1e5, 4e6)) for _ in range(layers)]),
            np.array(joints),
        )
    )


def nodes_m(own: Stack, solved: Modes) -> Floats:
    """Return the depth of every node below the top."""
    depth = np.empty(solved.layout.size)
    top = 0.0
    for layer, order in enumerate(solved.layout.orders):
        depth[solved.layout.nodes(layer)] = top + 0.5 * (element(order).node + 1.0) * own.thickness_m[layer]
        top += own.thickness_m[layer]
    return depth


@given(own=stacks(), top_c=st.floats(-40.0, 250.0), bottom_c=st.floats(-40.0, 250.0), start_c=st.floats(-40.0, 250.0))
@FEW
def test_range_of_the_boundaries(own: Stack, top_c: float, bottom_c: float, start_c: float) -> None:
    """No temperature leaves the range of the start and the two boundaries."""
    solved = modes(own, decompose_to_tolerance(own, 0.3, 1e-3).layout.orders)
    nodal = temperatures(solved, start_c, TIMES_S, top_c, bottom_c)
    low, high = min(top_c, bottom_c, start_c), max(top_c, bottom_c, start_c)
    assert (True, True) == (bool((nodal >= low - 1e-9).all()), bool((nodal <= high + 1e-9).all()))


@given(own=stacks())
@FEW
def test_range_is_kept_before_it_is_enforced(own: Stack) -> None:
    """Clipping to that range changes no temperature by more than the tolerance."""
    solved = decompose_to_tolerance(own, 0.3, 1e-5)
    free = solved.shape @ evolve(solved, np.zeros(solved.layout.size), TIMES_S, 1.0, 0.0)
    assert (True, True) == (bool(free.min() > -1e-5), bool(free.max() < 1.0 + 1e-5))


@given(own=stacks(), top_c=st.floats(50.0, 250.0), bottom_c=st.floats(0.0, 50.0))
@FEW
def test_energy_is_conserved(own: Stack, top_c: float, bottom_c: float) -> None:
    """Heat in at the top less heat out at the bottom is the heat stored, to 1e-6 of the heat that passes."""
    solved = modes(own, first_orders(own, 0.3, 1e-3))
    start = amplitudes(solved, 20.0)
    end_s = 20.0
    stored = float(solved.mass_j_m2k @ (solved.shape @ evolve(solved, start, [end_s], top_c, bottom_c)[:, 0] - 20.0))
    # the time integral of each mode is another of its exponentials
    rate, span = solved.rate_per_s, end_s
    drive = float(solved.top_w_m2k) * top_c * solved.shape[0] + float(solved.bottom_w_m2k) * bottom_c * solved.shape[-1]
    grown = -np.expm1(-rate * span) / rate
    total = solved.shape @ (start * grown + drive * (span - grown) / rate)
    into = float(solved.top_w_m2k) * (top_c * span - total[0])
    out = float(solved.bottom_w_m2k) * (total[-1] - bottom_c * span)
    through = max(abs(into), abs(out), abs(stored))
    assert pytest.approx(into, abs=1e-6 * through) == stored + out


@given(own=stacks(), top_c=st.floats(50.0, 250.0))
@FEW
def test_turned_over(own: Stack, top_c: float) -> None:
    """A stack and its boundaries turned over give the same temperatures turned over."""
    orders = first_orders(own, 0.3, 1e-3)
    turned = Stack(*(values[::-1].copy() for values in own))
    one = temperatures(modes(own, orders), 20.0, TIMES_S, top_c, 20.0)
    other = temperatures(modes(turned, orders[::-1]), 20.0, TIMES_S, 20.0, top_c)
    # By the accuracy of the slowest rates, which are found to rounding errors of the fastest.
    assert pytest.approx(one, abs=4e-6) == other[::-1]


@given(own=stacks(4), data=st.data())
@FEW
def test_layer_cut_in_two(own: Stack, data: st.DataObject) -> None:
    """A layer split into two bonded parts has the same temperatures."""
    layer = data.draw(st.integers(0, own.thickness_m.size - 1))
    share = data.draw(st.floats(0.2, 0.8))
    thickness = np.insert(own.thickness_m, layer, share * own.thickness_m[layer])
    thickness[layer + 1] *= 1.0 - share
    cut = Stack(
        thickness,
        np.insert(own.conductivity_w_mk, layer, own.conductivity_w_mk[layer]),
        np.insert(own.capacity_j_m3k, layer, own.capacity_j_m3k[layer]),
        np.insert(own.conductance_w_m2k, layer + 1, math.inf),
    )
    found = []
    for stack in (own, cut):
        solved = decompose_to_tolerance(stack, float(TIMES_S[0]), 1e-8)
        nodal = temperatures(solved, 0.0, TIMES_S, 1.0, 0.0)
        faces = [solved.layout.top(each) for each in range(stack.thickness_m.size) if stack is own or each != layer + 1]
        found.append(nodal[[*faces, solved.layout.size - 1]])
    assert pytest.approx(found[0], abs=1e-6) == found[1]


@given(own=stacks(), later=st.floats(1.0, 30.0))
@FEW
def test_phases_are_carried_across(own: Stack, later: float) -> None:
    """Two periods with the same boundaries, the second from the end of the first, equal one long period."""
    solved = modes(own, first_orders(own, 0.3, 1e-3))
    start = amplitudes(solved, 20.0)
    middle = evolve(solved, start, [2.0], 150.0, 20.0)[:, 0]
    nodal = solved.shape @ middle
    again = evolve(solved, amplitudes(solved, nodal), [later], 150.0, 20.0)
    assert pytest.approx(evolve(solved, start, [2.0 + later], 150.0, 20.0), rel=1e-6, abs=1e-6) == again


@given(own=stacks(), top_c=st.floats(60.0, 250.0))
@FEW
def test_linear_in_the_platen(own: Stack, top_c: float) -> None:
    """Temperatures above the room are the platen's excess times those of a unit step."""
    solved = modes(own, first_orders(own, 0.3, 1e-3))
    unit = temperatures(solved, 0.0, TIMES_S, 1.0, 0.0)
    assert pytest.approx(20.0 + (top_c - 20.0) * unit, abs=1e-6) == temperatures(solved, 20.0, TIMES_S, top_c, 20.0)


@given(own=stacks())
@FEW
def test_steady_state_is_a_chain_of_resistances(own: Stack) -> None:
    """After very long, the flux is the difference over the sum of resistances, whatever the heat capacities."""
    solved = modes(own, tuple(4 for _ in own.thickness_m))
    nodal = temperatures(solved, 20.0, [1e9], 150.0, 20.0)[:, 0]
    contacts = np.where(np.isinf(own.conductance_w_m2k), 0.0, 1.0 / own.conductance_w_m2k)
    resistance = (own.thickness_m / own.conductivity_w_mk).sum() + contacts.sum()
    assert pytest.approx(130.0 / resistance, rel=1e-5) == own.conductance_w_m2k[-1] * (nodal[-1] - 20.0)


def test_batch_is_the_stacks_one_by_one() -> None:
    """A batch of stacks of one layout has the temperatures of each stack solved alone."""
    random = np.random.default_rng(1)
    many = validated(
        Stack(
            random.uniform(1e-4, 3e-3, (5, 3)),
            random.uniform(0.05, 0.3, (5, 3)),
            random.uniform(3e5, 2e6, (5, 3)),
            np.concatenate(
                (random.uniform(100.0, 2000.0, (5, 2)), np.full((5, 1), np.inf), np.full((5, 1), 300.0)), axis=1
            ),
        )
    )
    together = temperatures(modes(many, (4, 5, 6)), 20.0, TIMES_S, 150.0, 20.0)
    alone = [
        temperatures(modes(Stack(*(values[each] for values in many)), (4, 5, 6)), 20.0, TIMES_S, 150.0, 20.0)
        for each in range(5)
    ]
    assert pytest.approx(np.array(alone), abs=1e-9) == together


def test_element_integrates_its_polynomials() -> None:
    """Lobatto weights of order p integrate polynomials up to degree 2p - 1 exactly (the defining property)."""
    for order in (1, 2, 5, 12, 40):
        part = element(order)
        degrees = np.arange(2 * order)
        exact = np.where(degrees % 2 == 0, 2.0 / (degrees + 1.0), 0.0)
        assert pytest.approx(exact, abs=1e-12) == part.weight @ part.node[:, None] ** degrees


def test_stiffness_and_mass_are_sound() -> None:
    """Stiffness is symmetric, a uniform temperature drives no flow between insulated faces; mass is heat capacity."""
    own = validated(
        Stack(np.array([1e-3, 2e-3]), np.array([0.1, 0.2]), np.array([1e6, 5e5]), np.array([0.0, 500.0, 0.0]))
    )
    mass, stiffness = assemble(own, layout(own, (5, 7)))
    assert pytest.approx(2e3) == mass.sum()
    assert pytest.approx(stiffness) == stiffness.T
    assert pytest.approx(np.zeros(14), abs=1e-8) == stiffness.sum(axis=1)


def test_depth_within_a_layer() -> None:
    """Between nodes the layer's polynomial is evaluated."""
    own = validated(Stack(np.array([2e-3]), np.array([0.2]), np.array([1e6]), np.array([100.0, 100.0])))
    solved = modes(own, (6,))
    depth = nodes_m(own, solved)
    assert pytest.approx(np.array([1.3e-9])) == interpolate(own, solved.layout, (depth**3)[:, None] + 3e-10, 0, 1e-3)


def test_errors_fall_with_the_order() -> None:
    """The error estimate falls when orders rise, and is largest in the layer that is resolved worst."""
    own = validated(
        Stack(np.array([2e-4, 8e-3]), np.array([0.2, 0.05]), np.array([1e6, 1e6]), np.array([2e3, 1e3, 10.0]))
    )
    found = []
    for orders in ((4, 3), (4, 12), (4, 30)):
        solved = modes(own, orders)
        found.append(layer_errors(solved.grid, temperatures(solved, 0.0, [1.0], 1.0, 0.0))[0, 1])
    assert sorted(found, reverse=True) == found
    assert found[2] < 1e-4 < found[0]


LAYER = ([1e-3], [0.2], [1e6], [100.0, 100.0])


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        (0, [0.0], "thickness"),
        (0, [-1e-3], "thickness"),
        (0, [math.nan], "thickness"),
        (1, [0.0], "conductivity"),
        (2, [math.inf], "heat capacity"),
        (3, [100.0], "n \\+ 1 conductances"),
        (3, [100.0, -1.0], "zero or more"),
        (3, [math.nan, 1.0], "zero or more"),
        (3, [math.inf, 1.0], "held at a temperature"),
        (0, [], "n conductivities"),
    ],
)
def test_nonsense_is_refused(field: int, value: list[float], sentence: str) -> None:
    """An impossible stack is refused with a sentence that says what it needs."""
    values = [value if at == field else own for at, own in enumerate(LAYER)]
    with pytest.raises(ValueError, match=sentence):
        validated(Stack(*(np.array(own) for own in values)))


def test_batch_must_agree_on_bonds() -> None:
    """A batch shares one layout, and so the same bonded layers."""
    pair = [np.full((2, 2), own) for own in (1e-3, 0.2, 1e6)]
    with pytest.raises(ValueError, match="must not differ"):
        validated(Stack(*pair, np.array([[1.0, math.inf, 1.0], [1.0, 5.0, 1.0]])))


def test_times_must_be_sound() -> None:
    """A time before the start, a step asked for at once, and a depth outside its layer are refused."""
    own = validated(Stack(*(np.array(values) for values in LAYER)))
    solved = modes(own, (3,))
    with pytest.raises(ValueError, match="zero or more"):
        temperatures(solved, 0.0, [-1.0], 1.0, 0.0)
    with pytest.raises(ValueError, match="zero or more"):
        temperatures(solved, 0.0, [math.nan], 1.0, 0.0)
    with pytest.raises(ValueError, match="above zero"):
        decompose_to_tolerance(own, 0.0, 1e-3)
    with pytest.raises(ValueError, match="outside it"):
        interpolate(own, solved.layout, temperatures(solved, 0.0, [1.0], 1.0, 0.0), 0, 2e-3)


def test_unresolvable_is_refused() -> None:
    """A metre of foam a millisecond after a step needs more than the highest order."""
    own = validated(Stack(np.array([1.0]), np.array([0.03]), np.array([1e6]), np.array([HELD, 0.0])))
    with pytest.raises(ValueError, match="split the layer"):
        decompose_to_tolerance(own, 1e-3, 1e-6)
    assert HIGHEST_ORDER == max(first_orders(own, 1e-3, 1e-6))
