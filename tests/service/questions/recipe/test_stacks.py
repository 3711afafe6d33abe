"""From records to arrays: thicknesses, conductances and what is uncertain."""

from __future__ import annotations

import math

import numpy as np
import pytest
from msgspec.structs import replace

from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.stacks import Pile, logs_in, pile


def deck(book: Book, pressure_kpa: float = 276.0) -> Pile:
    """Return smooth film on lined leather under the thin sheet."""
    return pile(
        book,
        book.films["smooth"],
        book.uppers["leather-lined"],
        book.pads["silicone-foam"],
        cover=book.covers["silicone-thin"],
        pressure_kpa=pressure_kpa,
    )


def test_layers_from_the_platen_down(book: Book) -> None:
    """Cover, carrier, film, upper and pad, in SI units, as the records have them."""
    own = deck(book)
    assert ("cover", "carrier", "film", "film", "upper", "upper", "pad") == own.roles
    leather, record = own.upper, book.materials["upper-leather"]
    assert pytest.approx((1.4e-3, record.conductivity_w_mk, record.density_kg_m3 * record.heat_capacity_j_kgk)) == (
        own.closed.thickness_m[leather],
        own.closed.conductivity_w_mk[leather],
        own.closed.capacity_j_m3k[leather],
    )
    assert record.limit.peak_c == own.limits.peak_c[leather]


def test_pad_is_squeezed_and_keeps_its_heat_capacity(book: Book) -> None:
    """The closed press makes the pad thinner and more conductive; its heat capacity in all stays."""
    own = deck(book)
    assert own.closed.thickness_m[-1] < 0.6 * own.opened.thickness_m[-1]
    assert own.closed.conductivity_w_mk[-1] > own.opened.conductivity_w_mk[-1]
    store = [stack.thickness_m[-1] * stack.capacity_j_m3k[-1] for stack in (own.closed, own.opened)]
    assert pytest.approx(store[0]) == store[1]


def test_contacts_follow_the_pressure(book: Book) -> None:
    """Contacts are the book's at its pressure and weaker in the open press, where the room's air is on top."""
    own = deck(book)
    contact = {(each.above, each.below): each.conductance_w_m2k for each in book.contacts.values()}
    expected = [contact["platen", "cover"], contact["cover", "carrier"], contact["carrier", "film"], math.inf]
    assert pytest.approx(expected) == own.closed.conductance_w_m2k[:4].tolist()
    inner = slice(1, -1)
    loose = np.isfinite(own.closed.conductance_w_m2k[inner])
    assert bool((own.opened.conductance_w_m2k[inner] < own.closed.conductance_w_m2k[inner])[loose].all())
    assert book.bench.room_air_w_m2k == own.opened.conductance_w_m2k[0]


def test_firmer_press_makes_better_contact(book: Book) -> None:
    """At more pressure no contact is worse."""
    light, firm = (deck(book, kpa).closed.conductance_w_m2k for kpa in (172.0, 414.0))
    assert bool((firm >= light).all())


def test_beside_the_film(book: Book) -> None:
    """Without the film the cover sheet lies on the upper."""
    own = pile(
        book,
        None,
        book.uppers["leather-lined"],
        book.pads["silicone-foam"],
        cover=book.covers["silicone-thin"],
        pressure_kpa=276.0,
    )
    assert (("cover", "upper", "upper", "pad"), 1) == (own.roles, own.upper)


def test_what_is_uncertain(book: Book) -> None:
    """A conductivity acts on its layer's conduction, a thickness on conduction and storage, a contact on its joints."""
    own = deck(book)
    layers = len(own.names)
    rows = dict(zip(own.properties, own.changes, strict=True))
    conductivity = rows["conductivity", "upper-leather"]
    spread = book.materials["upper-leather"].conductivity_spread
    assert pytest.approx([spread / (1.0 + spread), -spread]) == conductivity[:, own.upper].tolist()
    assert 2 == np.count_nonzero(conductivity)
    thickness = rows["thickness", "upper", "grain leather", "upper-leather"]
    assert pytest.approx([-0.1, 0.1]) == [thickness[0, own.upper], thickness[0, layers + own.upper]]
    contact = rows["contact", "platen-cover"]
    assert pytest.approx([0.5, -1.0]) == contact[:, 2 * layers].tolist()


def test_logs_line_properties_up(book: Book) -> None:
    """Properties are given in the order asked, zero where the stack lacks one."""
    own = deck(book)
    foreign = ("contact", "platen-carrier")
    table = logs_in(own, [foreign, *reversed(own.properties)])
    assert np.count_nonzero(table[0]) == 0
    assert (own.logs[::-1] == table[1:]).all()


def test_missing_contact_is_named(book: Book) -> None:
    """A stack whose faces the book has no contact for is refused with what to add."""
    poor = replace(book, contacts={name: each for name, each in book.contacts.items() if each.below != "carrier"})
    with pytest.raises(ValueError, match="no contact of cover on carrier: add one"):
        deck(poor)


def test_pressure_beyond_the_pads_curve_is_refused(book: Book) -> None:
    """A pad is not guessed beyond its curve."""
    with pytest.raises(ValueError, match="press lighter"):
        deck(book, 2000.0)


def test_limits_are_those_of_the_materials(book: Book) -> None:
    """In degrees, seconds and joules; a material without a limit of exposure stands every time at its peak."""
    own = deck(book)
    leather = book.materials["upper-leather"]
    assert leather.limit.exposure is not None
    free = replace(leather, limit=replace(leather.limit, exposure=None))
    unlimited = deck(replace(book, materials={**book.materials, leather.id: free}))

    assert (
        leather.limit.peak_c,
        leather.limit.spread_k,
        leather.limit.exposure.temperature_c,
        leather.limit.exposure.longest_s,
        1e3 * leather.limit.exposure.activation_kj_mol,
    ) == tuple(values[own.upper] for values in own.limits)
    assert (leather.limit.peak_c, leather.limit.spread_k, 0.0, math.inf, 0.0) == tuple(
        values[unlimited.upper] for values in unlimited.limits
    )


def test_a_capacity_acts_on_storage_alone(book: Book) -> None:
    """Of every layer of its material, up by its spread and down to 1 / (1 + spread)."""
    own = deck(book)
    rows = dict(zip(own.properties, own.changes, strict=True))
    spread = book.materials["upper-leather"].capacity_spread
    capacity = rows["capacity", "upper-leather"]

    stored = [len(own.names) + at for at, name in enumerate(own.materials) if name == "upper-leather"]
    assert pytest.approx([spread, -spread / (1.0 + spread)]) == capacity[:, stored[0]].tolist()
    assert stored == np.flatnonzero(capacity[0]).tolist()
    assert 3 * len(own.names) + 1 == capacity.shape[1]


def test_the_pad_gives_way_by_its_strain(book: Book) -> None:
    """At a point of the curve it is thinner by the strain and as much denser; without a cover the carrier is on top."""
    pad, upper = book.pads["silicone-foam"], book.uppers["canvas"]
    point = pad.compression[1]
    own = pile(book, book.films["smooth"], upper, pad, cover=None, pressure_kpa=point.pressure_kpa)

    assert pytest.approx(1e-3 * pad.thickness_mm * (1.0 - point.strain)) == own.closed.thickness_m[-1]
    assert pytest.approx(1e-3 * pad.thickness_mm) == own.opened.thickness_m[-1]
    assert pytest.approx(own.opened.capacity_j_m3k[-1] / (1.0 - point.strain)) == own.closed.capacity_j_m3k[-1]
    assert (3, ("carrier", "film", "film", *("upper",) * len(upper.layers), "pad")) == (own.upper, own.roles)
    below = book.bench.lower_platen_w_m2k
    assert (below, below) == (own.closed.conductance_w_m2k[-1], own.opened.conductance_w_m2k[-1])
