"""From the book's records to the arrays of a pressed stack, and what is uncertain in them."""

from __future__ import annotations

import functools
import itertools
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

    `logs` gives for each of the uncertain `properties` the change of the logarithms of the stack's parts (see
    `heat.sensitivity`) by one standard deviation of it, ``(properties, parts)``.
    """

    names: tuple[str, ...]
    materials: tuple[str, ...]
    roles: tuple[Role, ...]
    upper: int
    closed: Stack
    opened: Stack
    limits: Limits
    properties: tuple[Property, ...]
    logs: Floats

    @property
    def changes(self) -> Floats:
        """The relative changes of the parts by each property, high and low by its spread, ``(properties, 2, parts)``.

        Of a flow they are those of its resistance, with their signs turned.
        """
        layers = len(self.names)
        by = SIGMAS_95 * self.logs
        high, low = -np.expm1(-by), -np.expm1(by)
        stored = slice(layers, 2 * layers)
        high[:, stored], low[:, stored] = np.expm1(by[:, stored]), np.expm1(-by[:, stored])
        return np.stack((high, low), axis=1)


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
    strain = _strain(pad, pressure_pa)
    contacts = _contacts(book, rows)
    free = _properties(rows)
    pressed = free.copy()
    pressed[0, -1] *= 1.0 - strain
    pressed[1, -1] = compressed_conductivity(float(free[1, -1]), strain)
    pressed[2, -1] /= 1.0 - strain
    below = book.bench.lower_platen_w_m2k
    properties, logs = _logs(rows, contacts)
    return Pile(
        names=tuple(row.layer.name for row in rows),
        materials=tuple(row.material.id for row in rows),
        roles=roles,
        upper=roles.index("upper"),
        closed=validated(
            Stack(pressed[0], pressed[1], pressed[2], np.array([*_conductances(contacts[:-1], pressure_pa), below]))
        ),
        opened=Stack(  # the same layers, and so as sound
            free[0],
            free[1],
            free[2],
            np.array([book.bench.room_air_w_m2k, *_conductances(contacts[1:-1], RESTING_PA), below]),
        ),
        limits=_limits(rows),
        properties=properties,
        logs=logs,
    )


@functools.lru_cache(maxsize=256)
def _strain(pad: Pad, pressure_pa: float) -> float:
    """Return the share of its thickness that a pad loses at a pressure [Pa]; raises as `pile`."""
    curve = [point.pressure_kpa * _KILO for point in pad.compression]
    return compression(curve, [point.strain for point in pad.compression], pressure_pa)


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


def _contacts(book: Book, rows: Sequence[_Row]) -> list[Contact | None]:
    """Return the contact above each layer, None where it is bonded to the layer above, and last that under the pad."""
    of: dict[tuple[Role, Role], Contact] = {}
    for contact in book.contacts.values():
        of.setdefault((contact.above, contact.below), contact)
    roles: list[Role] = ["platen", *(row.role for row in rows), "lower-platen"]
    bonded = [at > 0 and rows[at - 1].role == row.role and row.layer.bonded for at, row in enumerate(rows)]
    contacts: list[Contact | None] = []
    for (above, below), joined in zip(itertools.pairwise(roles), (*bonded, False), strict=True):
        if not joined and (above, below) not in of:
            raise ValueError(f"The book has no contact of {above} on {below}: add one to contacts")
        contacts.append(None if joined else of[above, below])
    return contacts


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


def _logs(rows: Sequence[_Row], contacts: Sequence[Contact | None]) -> tuple[tuple[Property, ...], Floats]:
    """Return the properties, and `Pile.logs`.

    Temperatures are nearly linear in resistances and storages, and far from it in conductances: a contact half as good
    hurts more than one twice as good helps. So what counts of a conductance is the change of its inverse.
    """
    layers = len(rows)
    properties: dict[Property, int] = {}
    places: list[tuple[int, int, float]] = []

    def add(name: Property, *changes: tuple[int, float]) -> None:
        at = properties.setdefault(name, len(properties))
        places.extend((at, part, log) for part, log in changes)

    for at, (role, layer, material) in enumerate(rows):
        add(("conductivity", material.id), (at, math.log1p(material.conductivity_spread)))
        add(("capacity", material.id), (layers + at, math.log1p(material.capacity_spread)))
        thicker = math.log1p(layer.thickness_spread)
        add(("thickness", role, layer.name, material.id), (at, -thicker), (layers + at, thicker))
    for at, contact in enumerate(contacts):
        if contact is not None:
            add(("contact", contact.id), (2 * layers + at, math.log1p(contact.spread)))
    logs = np.zeros((len(properties), 3 * layers + 1))
    by, parts, values = zip(*places, strict=True)
    logs[by, parts] = values
    return tuple(properties), logs / SIGMAS_95
