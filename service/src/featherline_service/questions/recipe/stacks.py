"""From the book's records to the arrays of a pressed stack, and what is uncertain in them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from featherline.wire.records import Contact, Cover, Film, Layer, Material, Pad, Role, Upper
from featherline_service.book.shop_book import Book
from featherline_service.heat.conduction import Stack, validated
from featherline_service.heat.contact import RESTING_PA, contact_conductance
from featherline_service.heat.pad import compressed_conductivity, compression
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.heat.window import Limits

Floats = NDArray[np.float64]
Property = tuple[str, ...]
"""What is uncertain: ``("conductivity", material)``, ``("capacity", material)``, ``("thickness", role, layer,
material)`` or ``("contact", id)``. Two stacks that name the same property have it from the same thing."""

_NO_LIMIT_S = math.inf
_KILO = 1e3
_MILLI = 1e-3


class _Row(NamedTuple):
    role: Role
    layer: Layer
    material: Material


class Pile(NamedTuple):
    """A stack between platen and pad, closed and open. `upper` is the index of the upper's first layer.

    `changes` gives for each of the uncertain `properties`, high and low by its spread, the relative changes of the
    stack's parts (see `heat.sensitivity`), ``(properties, 2, parts)``; `logs` the change of the parts' logarithms by
    one standard deviation of it, ``(properties, parts)``.
    """

    names: tuple[str, ...]
    materials: tuple[str, ...]
    roles: tuple[Role, ...]
    upper: int
    closed: Stack
    opened: Stack
    limits: Limits
    properties: tuple[Property, ...]
    changes: Floats
    logs: Floats


def pile(book: Book, film: Film | None, upper: Upper, pad: Pad, *, cover: Cover | None, pressure_kpa: float) -> Pile:
    """Return the stack of a film on an upper over a pad, at a pressure [kPa]; without a film, the stack beside it.

    The pad gives way under the pressure: it is thinner, denser and conducts better. An upper's layers keep the
    thickness of their record; what a lining or a foam backing loses under the press is within its thickness' spread.

    Raises:
        ValueError: the pad's compression is not known at this pressure, or the book lacks a contact.
    """
    rows = [
        _Row(role, layer, book.materials[layer.material])
        for role, layers in _layers(film, cover, upper, pad)
        for layer in layers
    ]
    roles = tuple(row.role for row in rows)
    pressure_pa = pressure_kpa * _KILO
    strain = compression(
        [point.pressure_kpa * _KILO for point in pad.compression],
        [point.strain for point in pad.compression],
        pressure_pa,
    )
    contacts = _contacts(book, rows)
    free = _properties(rows)
    pressed = free.copy()
    pressed[0, -1] *= 1.0 - strain
    pressed[1, -1] = compressed_conductivity(float(free[1, -1]), strain)
    pressed[2, -1] /= 1.0 - strain
    below = book.bench.lower_platen_w_m2k
    properties, changes, logs = _changes(rows, [*contacts, _contact(book, "pad", "lower-platen")])
    return Pile(
        names=tuple(row.layer.name for row in rows),
        materials=tuple(row.material.id for row in rows),
        roles=roles,
        upper=roles.index("upper"),
        closed=validated(
            Stack(pressed[0], pressed[1], pressed[2], np.array([*_conductances(contacts, pressure_pa), below]))
        ),
        opened=Stack(  # the same layers, and so as sound
            free[0],
            free[1],
            free[2],
            np.array([book.bench.room_air_w_m2k, *_conductances(contacts, RESTING_PA)[1:], below]),
        ),
        limits=_limits(rows),
        properties=properties,
        changes=changes,
        logs=logs,
    )


def changes_by(stack: Pile, properties: Sequence[Property]) -> Floats:
    """Return ``(properties, 2, parts)``: how the stack's parts change with each property, zero for what it lacks.

    Every property of the stack's own must be among those given.
    """
    changes = np.zeros((len(properties), *stack.changes.shape[1:]))
    rows = {name: row for row, name in enumerate(properties)}
    changes[[rows[name] for name in stack.properties]] = stack.changes
    return changes


def logs_in(stack: Pile, parameters: Sequence[Property]) -> Floats:
    """Return `Pile.logs` by the parameters given, ``(parameters, parts)``: zero for what the stack lacks."""
    logs = np.zeros((len(parameters), stack.logs.shape[1]))
    rows = {name: row for row, name in enumerate(parameters)}
    logs[[rows[name] for name in stack.properties]] = stack.logs
    return logs


def _layers(film: Film | None, cover: Cover | None, upper: Upper, pad: Pad) -> Iterator[tuple[Role, Sequence[Layer]]]:
    """Yield a stack's layers from the platen down, by role."""
    if cover is not None:
        yield "cover", cover.layers
    if film is not None:
        film_carrier = film.carrier
        carrier = Layer(
            name="carrier",
            material=film_carrier.material,
            thickness_mm=film_carrier.thickness_mm,
            thickness_spread=film_carrier.thickness_spread,
        )
        yield "carrier", (carrier,)
        yield "film", film.layers
    yield "upper", upper.layers
    cushion = Layer(
        name="pad", material=pad.material, thickness_mm=pad.thickness_mm, thickness_spread=pad.thickness_spread
    )
    yield "pad", (cushion,)


def _properties(rows: Sequence[_Row]) -> Floats:
    """Return thickness [m], conductivity [W/(m K)] and volumetric capacity [J/(m3 K)], ``(3, layers)``, not pressed."""
    return np.array(
        [
            [row.layer.thickness_mm * _MILLI for row in rows],
            [row.material.conductivity_w_mk for row in rows],
            [row.material.density_kg_m3 * row.material.heat_capacity_j_kgk for row in rows],
        ]
    )


def _contact(book: Book, above: Role, below: Role) -> Contact:
    for contact in book.contacts.values():
        if (contact.above, contact.below) == (above, below):
            return contact
    raise ValueError(f"The book has no contact of {above} on {below}: add one to contacts")


def _contacts(book: Book, rows: Sequence[_Row]) -> list[Contact | None]:
    """Return the contact above each layer; None where it is bonded to the layer above."""
    above: list[Role] = ["platen", *(row.role for row in rows)]
    return [
        None if at and rows[at - 1].role == row.role and row.layer.bonded else _contact(book, above[at], row.role)
        for at, row in enumerate(rows)
    ]


def _conductances(contacts: Sequence[Contact | None], pressure_pa: float) -> list[float]:
    return [
        math.inf
        if contact is None
        else contact_conductance(
            contact.conductance_w_m2k, contact.reference_kpa * _KILO, contact.exponent, pressure_pa
        )
        for contact in contacts
    ]


def _limits(rows: Sequence[_Row]) -> Limits:
    limits = [row.material.limit for row in rows]
    held = [limit.exposure for limit in limits]
    return Limits(
        peak_c=np.array([limit.peak_c for limit in limits]),
        spread_k=np.array([limit.spread_k for limit in limits]),
        exposure_c=np.array([exposure.temperature_c if exposure else 0.0 for exposure in held]),
        exposure_s=np.array([exposure.longest_s if exposure else _NO_LIMIT_S for exposure in held]),
        exposure_j_mol=np.array([exposure.activation_kj_mol * _KILO if exposure else 0.0 for exposure in held]),
    )


def _changes(rows: Sequence[_Row], contacts: Sequence[Contact | None]) -> tuple[tuple[Property, ...], Floats, Floats]:
    """Return the properties, what each changes when `value * (1 + spread)` and `value / (1 + spread)`, and `logs`.

    Temperatures are nearly linear in resistances and storages, and far from it in conductances: a contact half as good
    hurts more than one twice as good helps. So what counts of a conductance is the change of its inverse.
    """
    layers = len(rows)
    changes: dict[Property, tuple[float, list[int], list[int], bool]] = {}

    def add(
        name: Property, spread: float, flow: int | None, store: int | None = None, *, inverse: bool = False
    ) -> None:
        _, flows, stores, _ = changes.setdefault(name, (spread, [], [], inverse))
        flows += [] if flow is None else [flow]
        stores += [] if store is None else [store]

    for at, (role, layer, material) in enumerate(rows):
        add(("conductivity", material.id), material.conductivity_spread, at)
        add(("capacity", material.id), material.capacity_spread, None, layers + at)
        add(("thickness", role, layer.name, material.id), layer.thickness_spread, at, layers + at, inverse=True)
    for at, contact in enumerate(contacts):
        if contact is not None:
            add(("contact", contact.id), contact.spread, 2 * layers + at)

    table = np.zeros((len(changes), 2, 3 * layers + 1))
    logs = np.zeros(table[:, 0].shape)
    for row, log, (spread, flows, stores, inverse) in zip(table, logs, changes.values(), strict=True):
        log[flows], log[stores] = (-1.0 if inverse else 1.0) * math.log1p(spread), math.log1p(spread)
        high, low = spread, -spread / (1.0 + spread)
        for part in flows:
            row[:, part] = (-high, -low) if inverse else (-low, -high)
        for part in stores:
            row[:, part] = (high, low)
    return tuple(changes), table, logs / SIGMAS_95
