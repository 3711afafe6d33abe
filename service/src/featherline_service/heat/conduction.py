"""One-dimensional transient conduction through a stack of layers, exact in time.

Each layer is one Legendre spectral element on Legendre-Gauss-Lobatto nodes, whose quadrature makes the mass matrix
diagonal. Bonded layers share a node, others exchange heat through a contact conductance; the stack's two faces exchange
heat with two boundaries through a conductance (Robin). The result is the symmetric system

    M dT/dt = -K T + h_top T_top e_first + h_bottom T_bottom e_last,

solved by one eigen-decomposition, ``K phi = rate M phi``; after that, the temperatures at any time are one product.
Where shapes are written with leading batch axes ``...``, many stacks of one layout are solved together.

A face held at a temperature is a face with a conductance of `HELD` times its layer's ``k / L``; a larger one would lose
precision. An insulated face has a conductance of zero.

References:
    Karniadakis & Sherwin, Spectral/hp Element Methods for Computational Fluid Dynamics, 2nd ed. (2005), sections 2.3
        and 2.4: Gauss-Lobatto-Legendre elements and the lumped mass (from memory).
    Mavriplis, Notes on Numerical Fluid Mechanics 29 (1990) 333-342: the error of an element from its last
        Legendre coefficients (from memory).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from typing import Final, NamedTuple, Protocol

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

HELD: Final = 1e8
"""[-] Ratio of a face's conductance to its layer's ``k / L`` that holds the face at its boundary's temperature."""
LOWEST_ORDER: Final = 2
HIGHEST_ORDER: Final = 80
_LEAST: Final = 1e-300
"""[K] Stands for an error of zero, in logarithms."""


class Stack(NamedTuple):
    """Layers from the top down: arrays ``(..., layers)``, the conductances ``(..., layers + 1)`` from top to bottom.

    An infinite conductance between two layers means that they are bonded. Within a batch the same layers are bonded.
    """

    thickness_m: Floats
    conductivity_w_mk: Floats
    capacity_j_m3k: Floats
    conductance_w_m2k: Floats


class Layout(NamedTuple):
    """Numbering of the nodes: each layer's polynomial order and its first node's index; `size` nodes in all.

    `bonded` says, for each layer but the last, whether it shares its lowest node with the next layer.
    """

    orders: tuple[int, ...]
    firsts: tuple[int, ...]
    bonded: tuple[bool, ...]
    size: int

    def nodes(self, layer: int) -> slice:
        """Return the nodes of a layer, both faces included."""
        return slice(self.firsts[layer], self.firsts[layer] + self.orders[layer] + 1)

    def top(self, layer: int) -> int:
        """Return the node of a layer's upper face."""
        return self.firsts[layer]

    def bottom(self, layer: int) -> int:
        """Return the node of a layer's lower face."""
        return self.firsts[layer] + self.orders[layer]


class Grid(NamedTuple):
    """The nodes of stacks in arrays of one size: ``n`` nodes, `layers`, and ``m`` nodes in an element.

    `layouts` are those of the stacks. The arrays have a leading axis for the stacks; what a layout has fewer of than
    the others comes last, and is zero. `nodes` ``(layers, m)`` are the elements' nodes as rows of the mode shapes of
    all stacks, `tops` ``(layers,)`` those of their upper faces, `places` ``(layers, m, m)`` the elements' places in the
    stiffnesses of all stacks, each by its number. `stiffness` ``(layers, m, m)`` and `mass`
    ``(layers, m, 1)`` are those of a layer of unit conductance and capacity. `jumps` ``(layers + 1, n)`` take the
    difference across each contact, `last` ``(2 layers, n)`` each layer's last two Legendre coefficients; at order 2 the
    first of these is zero. `own` ``(layers, n)`` are the nodes of each layer, `spare` ``(n,)`` is 1 at those of none.
    """

    layouts: tuple[Layout, ...]
    nodes: NDArray[np.intp]
    tops: NDArray[np.intp]
    places: NDArray[np.intp]
    stiffness: Floats
    mass: Floats
    jumps: Floats
    last: Floats
    own: NDArray[np.bool_]
    spare: Floats

    @property
    def sizes(self) -> tuple[int, int, int]:
        """The number of stacks, of layers and of nodes."""
        return self.own.shape[0], self.own.shape[1], self.own.shape[2]


class Decomposed(Protocol):
    """One stack, or several with a leading axis in the arrays of a `grid`, decomposed: see `Modes`."""

    @property
    def grid(self) -> Grid: ...  # noqa: D102 - as of `Several`
    @property
    def rate_per_s(self) -> Floats: ...  # noqa: D102
    @property
    def shape(self) -> Floats: ...  # noqa: D102
    @property
    def mass_j_m2k(self) -> Floats: ...  # noqa: D102
    @property
    def top_w_m2k(self) -> Floats: ...  # noqa: D102


class Modes(NamedTuple):
    """The decomposed stack: ``shape[..., node, mode]`` with ``shape^T M shape = 1`` and decay rates [1/s] ascending."""

    layout: Layout
    rate_per_s: Floats
    shape: Floats
    mass_j_m2k: Floats
    top_w_m2k: Floats
    bottom_w_m2k: Floats

    @property
    def grid(self) -> Grid:
        """The nodes of one stack."""
        return grid_of((self.layout,), (len(self.layout.orders), self.layout.size, max(self.layout.orders) + 1))


class Several(NamedTuple):
    """Several decomposed stacks with one leading axis, in the arrays of a `grid`.

    Modes that stand for no node of a stack come last, with the highest rates, and have no part in any of its nodes.
    """

    grid: Grid
    rate_per_s: Floats
    shape: Floats
    mass_j_m2k: Floats
    top_w_m2k: Floats
    bottom_w_m2k: Floats

    def alone(self, at: int) -> Modes:
        """Return one of them by itself: copies, which hold nothing of the others."""
        plan = self.grid.layouts[at]
        n = plan.size
        return Modes(
            plan,
            self.rate_per_s[at, :n].copy(),
            self.shape[at, :n, :n].copy(),
            self.mass_j_m2k[at, :n].copy(),
            self.top_w_m2k[at],
            self.bottom_w_m2k[at],
        )


class Element(NamedTuple):
    """The reference element of one order on [-1, 1]: with ``n = order + 1``, vectors ``(n,)`` and matrices ``(n, n)``.

    `to_legendre` turns nodal values into Legendre coefficients.
    """

    node: Floats
    weight: Floats
    stiffness: Floats
    to_legendre: Floats


@functools.lru_cache(maxsize=HIGHEST_ORDER + 1)
def element(order: int) -> Element:
    """Return the Legendre-Gauss-Lobatto element of an order: nodes, weights, stiffness ``D^T W D``, transform.

    Args:
        order: polynomial order, at least 1.

    References:
        Canuto, Hussaini, Quarteroni & Zang, Spectral Methods: Fundamentals in Single Domains (2006), equations 2.3.12
            (nodes and weights) and 2.3.28 (derivative matrix) (from memory).
    """
    highest = np.zeros(order + 1)
    highest[order] = 1.0
    inner = np.sort(legendre.legroots(legendre.legder(highest)).real) if order > 1 else np.empty(0)
    if inner.size:  # one Newton step on P' takes the roots to the last digit
        slope, curve = legendre.legder(highest), legendre.legder(highest, 2)
        inner = inner - legendre.legval(inner, slope) / legendre.legval(inner, curve)
        inner = 0.5 * (inner - inner[::-1])
    node = np.concatenate(([-1.0], inner, [1.0]))
    value = legendre.legval(node, highest)
    weight = 2.0 / (order * (order + 1) * value**2)
    apart = node[:, None] - node[None, :]
    np.fill_diagonal(apart, 1.0)
    derivative = value[:, None] / value[None, :] / apart
    np.fill_diagonal(derivative, 0.0)
    derivative[0, 0] = -order * (order + 1) / 4.0
    derivative[-1, -1] = order * (order + 1) / 4.0
    stiffness = derivative.T @ (weight[:, None] * derivative)
    to_legendre = np.linalg.inv(legendre.legvander(node, order))
    parts = (node, weight, 0.5 * (stiffness + stiffness.T), to_legendre)
    result = Element(*(np.asarray(array, dtype=np.float64) for array in parts))
    for array in result:
        array.setflags(write=False)  # the cache returns the same arrays to every caller
    return result


@functools.lru_cache(maxsize=4096)
def _layout(orders: tuple[int, ...], bonded: tuple[bool, ...]) -> Layout:
    firsts = [0]
    for order, joined in zip(orders[:-1], bonded, strict=True):
        firsts.append(firsts[-1] + order + (0 if joined else 1))
    return Layout(orders, tuple(firsts), bonded, firsts[-1] + orders[-1] + 1)


def validated(stack: Stack) -> Stack:
    """Return the stack as arrays of floats, having checked its values and shapes.

    Raises:
        ValueError: a thickness, conductivity or capacity is not a finite number above zero; a conductance is negative
            or not a number, or one of the outer two is infinite; shapes do not agree.
    """
    arrays = [np.asarray(values, dtype=np.float64) for values in stack]
    names = ("thickness", "conductivity", "heat capacity")
    for name, values in zip(names, arrays, strict=False):
        if not (np.isfinite(values) & (values > 0.0)).all():
            raise ValueError(f"The {name} of every layer must be a finite number above zero")
    thickness, conductivity, capacity, conductance = arrays
    layers = thickness.shape[-1] if thickness.ndim else 0
    if layers < 1 or {conductivity.shape[-1], capacity.shape[-1], conductance.shape[-1] - 1} != {layers}:
        raise ValueError("A stack of n layers needs n conductivities, n heat capacities and n + 1 conductances")
    if np.isnan(conductance).any() or (conductance < 0.0).any():
        raise ValueError("A conductance must be zero or more")
    if np.isinf(conductance[..., [0, -1]]).any():
        raise ValueError(f"A face held at a temperature has a conductance of {HELD:g} k / L, not infinity")
    infinite = np.isinf(conductance).reshape(-1, layers + 1)
    if (infinite != infinite[0]).any():
        raise ValueError("Which layers are bonded must not differ within a batch")
    return Stack(thickness, conductivity, capacity, conductance)


def layout(stack: Stack, orders: tuple[int, ...]) -> Layout:
    """Return where the nodes of a checked stack's layers are when they have these polynomial orders."""
    inner = np.isinf(stack.conductance_w_m2k).reshape(-1, stack.conductance_w_m2k.shape[-1])[0, 1:-1]
    return _layout(orders, tuple(inner.tolist()))


@functools.lru_cache(maxsize=256)
def grid_of(layouts: tuple[Layout, ...], sizes: tuple[int, int, int]) -> Grid:
    """Return the grid of stacks' layouts with so many layers, nodes and nodes in an element."""
    (layers, size, most), count = sizes, len(layouts)
    nodes, stiffness = np.zeros((count, layers, most), dtype=np.intp), np.zeros((count, layers, most, most))
    mass, jumps = np.zeros((count, layers, most, 1)), np.zeros((count, layers + 1, size))
    last, own = np.zeros((count, 2 * layers, size)), np.zeros((count, layers, size), dtype=np.bool_)
    for at, plan in enumerate(layouts):
        for layer, order in enumerate(plan.orders):
            span, part, n = plan.nodes(layer), element(order), order + 1
            nodes[at, layer, :n] = np.arange(span.start, span.stop)
            stiffness[at, layer, :n, :n] = 2.0 * part.stiffness
            mass[at, layer, :n, 0] = 0.5 * part.weight
            # At a bonded joint the two are one node, and the jump is zero.
            jumps[at, layer, span.start] += 1.0
            jumps[at, layer + 1, span.stop - 1] -= 1.0
            skipped = int(order == LOWEST_ORDER)
            last[at, 2 * layer + skipped : 2 * layer + 2, span] = part.to_legendre[order - 1 + skipped :]
            own[at, layer, span] = True
    first = size * np.arange(count)[:, None, None]
    places = (nodes + first)[..., :, None] * size + nodes[..., None, :]
    nodes += first
    result = Grid(
        layouts, nodes, nodes[..., 0], places, stiffness, mass, jumps, last, own, np.where(own.any(axis=1), 0.0, 1.0)
    )
    for array in result[1:]:
        array.setflags(write=False)  # the cache returns the same arrays to every caller
    return result


def assemble(stack: Stack, plan: Layout) -> tuple[Floats, Floats]:
    """Return the diagonal of the mass matrix [J/(m2 K)], ``(..., n)``, and the stiffness [W/(m2 K)], ``(..., n, n)``.

    The stiffness includes the exchange with both boundaries.
    """
    flat = Stack(*(column.reshape(-1, column.shape[-1]) for column in stack))
    sizes = len(plan.orders), plan.size, max(plan.orders) + 1
    mass, stiffness = _assembled(flat, grid_of((plan,), sizes))
    batch = stack.thickness_m.shape[:-1]
    return mass.reshape(*batch, plan.size), stiffness.reshape(*batch, plan.size, plan.size)


def _assembled(stacks: Stack, grid: Grid) -> tuple[Floats, Floats]:
    """Return as `assemble` for stacks in the arrays of a grid, or several of the one layout of a grid.

    What a stack has for a layer that it lacks does not matter.
    """
    (known, _, size), count = grid.sizes, stacks.thickness_m.shape[0]
    store, flow = stacks.capacity_j_m3k * stacks.thickness_m, stacks.conductivity_w_mk / stacks.thickness_m
    nodes, places = grid.nodes, grid.places
    if count > known:
        more = np.arange(count)[:, None, None]
        nodes, places = nodes + size * more, places + size * size * more[..., None]
    mass = np.bincount(nodes.ravel(), (store[..., None] * grid.mass[..., 0]).ravel(), count * size)
    stiffness = np.bincount(places.ravel(), (flow[..., None, None] * grid.stiffness).ravel(), count * size * size)
    across = flows(stacks)[..., None] * grid.jumps
    joined = stiffness.reshape(count, size, size) + grid.jumps.swapaxes(-1, -2) @ across
    return mass.reshape(count, size).astype(np.float64, copy=False), joined


def flows(stack: Stack) -> Floats:
    """Return the conductances with zero at bonded joints, whose two nodes are one, so that nothing flows between."""
    return np.where(np.isinf(stack.conductance_w_m2k), 0.0, stack.conductance_w_m2k)


def modes(stack: Stack, orders: tuple[int, ...]) -> Modes:
    """Decompose a checked stack whose layers have these polynomial orders.

    Returns:
        Decay rates [1/s], ascending, ``(..., n)``, and mass-orthonormal mode shapes [sqrt(m2 K/J)], ``(..., n, n)``;
        the layout, the mass and both boundaries' conductances with them.

    References:
        Golub & Van Loan, Matrix Computations, 4th ed. (2013), section 8.7: the symmetric-definite problem.
    """
    plan = layout(stack, orders)
    mass, stiffness = assemble(stack, plan)
    rate, shape = _solved(mass, stiffness)
    return Modes(plan, rate, shape, mass, stack.conductance_w_m2k[..., 0], stack.conductance_w_m2k[..., -1])


def _solved(mass: Floats, stiffness: Floats) -> tuple[Floats, Floats]:
    """Return the rates and shapes of `Modes`."""
    root = 1.0 / np.sqrt(mass)
    rate, vector = np.linalg.eigh(stiffness * (root[..., :, None] * root[..., None, :]))
    # The stiffness is positive semi-definite: a rate below zero is a rounding error.
    return np.maximum(rate, 0.0), root[..., :, None] * vector


def several(stacks: Sequence[Stack], layouts: Sequence[Layout]) -> Several:
    """Decompose checked stacks, none of them a batch, that have layouts of the same `sizes_of`, all together.

    Each comes out the same to the last bit, whatever the others are.
    """
    grid = grid_of(tuple(layouts), sizes_of(layouts[0]))
    padded = alike(stacks, grid.sizes[1])
    mass, stiffness = _assembled(padded, grid)
    if grid.spare.any():
        # A node of no stack is a mode of its own, faster than all others.
        mass = mass + grid.spare
        root = 1.0 / np.sqrt(mass)
        bound = (np.abs(stiffness) * (root[..., :, None] * root[..., None, :])).sum(axis=-1).max(axis=-1)
        faster = grid.spare * (bound[:, None] * (2.0 + np.arange(mass.shape[1]) / mass.shape[1]))
        place = np.arange(mass.shape[1])
        stiffness[:, place, place] += faster
    rate, shape = _solved(mass, stiffness)
    ends = ([stack.conductance_w_m2k[end] for stack in stacks] for end in (0, -1))
    return Several(grid, rate, shape, mass, *map(np.array, ends))


def sizes_of(plan: Layout) -> tuple[int, int, int]:
    """Return numbers of layers, nodes and nodes in an element for arrays that many layouts have in common."""
    return _up(len(plan.orders), 3), _up(plan.size, 8), _up(max(plan.orders) + 1, 4)


def _up(count: int, step: int) -> int:
    return -(-count // step) * step


def alike(stacks: Sequence[Stack], layers: int) -> Stack:
    """Return stacks in arrays of so many layers, with one leading axis.

    A layer that a stack lacks has values of 1, and nothing flows across what it lacks of contacts.
    """
    thickness, conductivity, capacity = np.ones((3, len(stacks), layers))
    result = Stack(thickness, conductivity, capacity, np.zeros((len(stacks), layers + 1)))
    for at, stack in enumerate(stacks):
        for column, values in zip(result, stack, strict=True):
            column[at, : values.size] = values
    return result


def amplitudes(modes: Modes, temperature_c: ArrayLike) -> Floats:
    """Return the modal amplitudes ``(..., n)`` of nodal temperatures ``(..., n)``, or of one uniform temperature."""
    weighted = modes.mass_j_m2k * np.asarray(temperature_c, dtype=np.float64)
    return np.asarray(np.einsum("...nm,...n->...m", modes.shape, weighted))


def growth(rate_per_s: Floats, times_s: ArrayLike) -> Floats:
    """Return ``(1 - exp(-rate t)) / rate`` [s], ``(..., n, times)``, with its limit ``t`` where the rate is zero."""
    times = np.asarray(times_s, dtype=np.float64)
    rate = rate_per_s[..., None]
    safe = np.where(rate > 0.0, rate, 1.0)
    return np.where(rate > 0.0, -np.expm1(-rate * times) / safe, times)


def evolve(modes: Modes, start: Floats, times_s: ArrayLike, top_c: float, bottom_c: float) -> Floats:
    """Return the modal amplitudes ``(..., n, times)`` at times after a start from amplitudes ``(..., n)``.

    Each mode obeys ``da/dt = -rate a + g`` with the constant drive ``g`` of the two boundaries.

    Args:
        modes: the decomposed stack.
        start: amplitudes at time zero.
        times_s: times [s], zero or more.
        top_c: temperature [degC] of the boundary above.
        bottom_c: temperature [degC] of the boundary below.

    References:
        Carslaw & Jaeger, Conduction of Heat in Solids, 2nd ed. (1959), section 3.9: expansion in eigenfunctions.
    """
    times = np.asarray(times_s, dtype=np.float64)
    drive = (modes.top_w_m2k * top_c)[..., None] * modes.shape[..., 0, :]
    drive = drive + (modes.bottom_w_m2k * bottom_c)[..., None] * modes.shape[..., -1, :]
    decay = np.exp(-modes.rate_per_s[..., None] * times)
    return start[..., None] * decay + drive[..., None] * growth(modes.rate_per_s, times)


def step(modes: Decomposed, times_s: ArrayLike) -> Floats:
    """Return the modal amplitudes ``(..., n, times)`` at times [s] after the top boundary rose from 0 to 1."""
    drive = modes.top_w_m2k[..., None] * modes.shape[..., 0, :]
    return np.asarray(drive[..., None] * growth(modes.rate_per_s, times_s))


def temperatures(modes: Modes, start_c: ArrayLike, times_s: ArrayLike, top_c: float, bottom_c: float) -> Floats:
    """Return the temperature [degC] of every node at every time, ``(..., n, times)``.

    The exact solution stays within the range of its start and its boundaries (the maximum principle), so clipping the
    discrete solution to that range can only bring it nearer.

    Args:
        modes: the decomposed stack.
        start_c: temperatures [degC] at time zero, of every node ``(..., n)`` or one for all.
        times_s: times [s] after the start, zero or more.
        top_c: temperature [degC] of the boundary above.
        bottom_c: temperature [degC] of the boundary below.

    Raises:
        ValueError: a time is negative or not a number.

    References:
        Protter & Weinberger, Maximum Principles in Differential Equations (1967), chapter 3.
    """
    times = np.asarray(times_s, dtype=np.float64)
    if not (times >= 0.0).all():
        raise ValueError("Times are seconds after the start, zero or more")
    start = np.asarray(start_c, dtype=np.float64)
    free = modes.shape @ evolve(modes, amplitudes(modes, start), times, top_c, bottom_c)
    bounds = [start.min(), start.max()]
    bounds += [top_c] if np.any(modes.top_w_m2k > 0.0) else []
    bounds += [bottom_c] if np.any(modes.bottom_w_m2k > 0.0) else []
    return np.asarray(np.clip(free, min(bounds), max(bounds)))


def interpolate(stack: Stack, plan: Layout, nodal: Floats, layer: int, depth_m: float) -> Floats:
    """Return values ``(..., times)`` at a depth [m] below a layer's upper face, from nodal values ``(..., n, times)``.

    The stack is one stack, without batch axes.

    Raises:
        ValueError: the depth is outside the layer.
    """
    thickness = float(stack.thickness_m[layer])
    if not 0.0 <= depth_m <= thickness:
        raise ValueError(f"The layer is {thickness:g} m thick; {depth_m:g} m is outside it")
    part = element(plan.orders[layer])
    row = legendre.legvander(np.array(2.0 * depth_m / thickness - 1.0), plan.orders[layer]) @ part.to_legendre
    return np.asarray(np.einsum("n,...nt->...t", row.reshape(-1), nodal[..., plan.nodes(layer), :]))


def first_orders(stack: Stack, earliest_s: float, tolerance: float) -> tuple[int, ...]:
    """Return a first guess of each layer's polynomial order, which serves every stack of a batch.

    By a layer's Fourier number when the heat reaches it. A front that has gone ``sqrt(a t)`` into a layer of thickness
    ``L`` needs about ``sqrt(L / sqrt(a t))`` Lobatto nodes, because they crowd towards the layer's faces, and more with
    the square root of the digits wanted, because the front's foot is a Gaussian. A front is smoothed while it crosses
    the layers above, for a time of ``(sum L / sqrt(a))^2 / 2``. The factors were fitted to the orders that 400 random
    stacks need at 2 to 8 digits: from 1 layer in 18 (2 digits) to 1 in 80 (5 digits) needs a higher order, which
    `decompose_to_tolerance` finds.
    """
    orders = _first_orders(stack, earliest_s, tolerance)
    return tuple(orders.reshape(-1, orders.shape[-1]).max(axis=0).tolist())


def _first_orders(stack: Stack, earliest_s: float, tolerance: float) -> NDArray[np.intp]:
    """Return `first_orders` of each stack of a batch by itself, ``(..., layers)``."""
    crossing = stack.thickness_m / np.sqrt(stack.conductivity_w_mk / stack.capacity_j_m3k)
    above = np.cumsum(crossing, axis=-1) - crossing
    digits = -math.log10(tolerance)
    steepness = (crossing**2 / (earliest_s + 0.5 * above**2)) ** 0.25
    guess = np.ceil(0.6 * digits - 0.6 + (3.5 * math.sqrt(digits) - 2.9) * steepness)
    # An error estimated at order 3 counts the coefficient of order 2 too, and is always large.
    guess[guess == LOWEST_ORDER + 1] += 1
    return np.minimum(np.maximum(guess, LOWEST_ORDER), HIGHEST_ORDER).astype(np.intp)


def layer_errors(grid: Grid, nodal: Floats) -> Floats:
    """Return an estimate of each layer's error, ``(..., layers)``, in the unit of nodal values ``(..., n, times)``.

    It is the root of the sum of squares of the last two Legendre coefficients of the layer's polynomial, at its largest
    over the times; at order 2 it is the last coefficient alone, because the one before it is the layer's slope.

    References:
        Mavriplis (1990), see the module.
    """
    last = grid.last @ nodal
    squares = (last**2).reshape(*last.shape[:-2], last.shape[-2] // 2, 2, last.shape[-1]).sum(axis=-2)
    return np.asarray(np.sqrt(squares.max(axis=-1)))


def decompose_to_tolerance(stack: Stack, earliest_s: float, tolerance: float) -> Modes:
    """Decompose a stack at orders that keep the error of a step of its top boundary small from `earliest_s` on.

    The orders start from `first_orders`; a layer's order is raised until its error estimate is within the tolerance at
    1, 4, 16 and 64 times the earliest time.

    Args:
        stack: one checked stack, without batch axes.
        earliest_s: the earliest time [s] at which temperatures are wanted.
        tolerance: the largest estimated error, as a share of the step. The true error is much smaller: the estimate
            comes from the last coefficients that are kept, the error begins with the first that is not.

    Raises:
        ValueError: the earliest time is not above zero, or no order up to `HIGHEST_ORDER` meets the tolerance.
    """
    ((_, solved),) = decompose_together([stack], earliest_s, tolerance)
    return solved.alone(0)


def decompose_together(
    stacks: Sequence[Stack], earliest_s: float, tolerance: float
) -> list[tuple[tuple[int, ...], Several]]:
    """Decompose several stacks as `decompose_to_tolerance` does each; those of the same `sizes_of` together.

    Returns:
        Indices of stacks, and their modes: the same to the last bit as of each stack alone.

    Raises:
        ValueError: as there.
    """
    if not earliest_s > 0.0:
        raise ValueError("The earliest time must be above zero: a step is not resolved at the moment it happens")
    times = earliest_s * np.array([1.0, 4.0, 16.0, 64.0])
    most = max(stack.thickness_m.size for stack in stacks)
    orders = _first_orders(alike(stacks, most), earliest_s, tolerance).tolist()
    waiting = {
        at: layout(stack, tuple(own[: stack.thickness_m.size]))
        for at, (stack, own) in enumerate(zip(stacks, orders, strict=True))
    }
    done: list[tuple[tuple[int, ...], Several]] = []
    while waiting:
        groups: dict[tuple[int, int, int], list[int]] = {}
        for at, plan in waiting.items():
            groups.setdefault(sizes_of(plan), []).append(at)
        for places in groups.values():
            solved = several([stacks[at] for at in places], [waiting.pop(at) for at in places])
            nodal = solved.shape @ step(solved, times)
            # Orders to add to each layer: one more divides its error by about four.
            missing = np.log(np.maximum(layer_errors(solved.grid, nodal), _LEAST) / tolerance) / np.log(4.0)
            if (missing <= 0.0).all():
                done.append((tuple(places), solved))
                continue
            for at, plan, more in zip(places, solved.grid.layouts, missing.tolist(), strict=True):
                own = list(zip(plan.orders, more, strict=False))
                if any(order >= HIGHEST_ORDER and by > 0.0 for order, by in own):
                    raise ValueError(
                        f"A layer is too thick to be resolved {earliest_s:g} s after the press closes: "
                        "ask for a later time, or split the layer"
                    )
                higher = (min(HIGHEST_ORDER, order + max(0, math.ceil(by))) for order, by in own)
                waiting[at] = _layout(tuple(higher), plan.bonded)
    return done
