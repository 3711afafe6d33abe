"""The 95 % worst case against 2,000 draws of everything that is uncertain.

Each property is drawn log-normally so that it lies within the spread of the book's records with 95 % probability, every
stack is solved anew, and percentiles are set beside the bounds that first derivatives gave: within 5 %.
"""

from __future__ import annotations

import functools
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pytest
from msgspec.structs import replace
from numpy.typing import NDArray
from scipy.stats import norm

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import prior
from featherline_service.heat.bond import dose, time_of_dose
from featherline_service.heat.conduction import Modes, Stack, decompose_to_tolerance, evolve, modes
from featherline_service.heat.pad import AIR_W_MK
from featherline_service.heat.pressing import AFTER_S, DWELLS_S, TIMES_S, TOLERANCE
from featherline_service.heat.window import FINE, FINE_DWELLS_S
from featherline_service.heat.worst_case import Spread, layer_dwells, peak_bands
from featherline_service.questions.recipe import windows
from featherline_service.questions.recipe.evidence.frames import (
    FramedHeating,
    adhesive,
    heatings_of,
    needed_band,
    published,
)
from featherline_service.questions.recipe.evidence.solved import followed
from featherline_service.questions.recipe.stacks import Pile, Property, pile

Floats = NDArray[np.float64]

DRAWS = 2000
SIGMAS = 1.959964  # of a normal distribution: 95 % lie within
SEED = 20251125
KPA = 276.0
PRESS_SPREAD_K = 4.0


class Case(NamedTuple):
    """A film on an upper under a cover sheet, pressed at the film's published temperature."""

    film: str
    cover: str
    upper: str


CASES = [
    Case("smooth", "silicone-thin", "leather-lined"),
    Case("stretch", "silicone-thin", "polyester-knit"),
    Case("flock", "silicone-pad", "canvas"),
]


@functools.cache
def book() -> Book:
    """Return the demo book, without the trade's statements: what is known is what its records say."""
    return replace(load(), practices={})


def spread(own: Book, name: Property) -> float:
    """Return the spread that the book's records give a property."""
    kind, *where = name
    if kind == "conductivity":
        return own.materials[where[0]].conductivity_spread
    if kind == "capacity":
        return own.materials[where[0]].capacity_spread
    if kind == "contact":
        return own.contacts[where[0]].spread
    role, layer_name, material = where
    if role == "pad":
        return next(pad.thickness_spread for pad in own.pads.values() if pad.material == material)
    if role == "carrier":
        return next(film.carrier.thickness_spread for film in own.films.values() if film.carrier.material == material)
    shelves = {"cover": own.covers, "film": own.films, "upper": own.uppers}
    layers = (layer for record in shelves[role].values() for layer in record.layers)
    return next(layer.thickness_spread for layer in layers if (layer.name, layer.material) == (layer_name, material))


def drawn_stacks(own: Book, nominal: Pile, factors: dict[Property, Floats]) -> tuple[Stack, Stack]:
    """Return a pile's closed and opened stacks with properties multiplied by factors, ``(draws,)`` each."""

    def factor(*name: str) -> Floats:
        return factors.get(name, np.ones(DRAWS))

    conductivity = np.stack([factor("conductivity", each) for each in nominal.materials], axis=1)
    capacity = np.stack([factor("capacity", each) for each in nominal.materials], axis=1)
    thickness = np.stack(
        [
            factor("thickness", role, name, each)
            for role, name, each in zip(nominal.roles, nominal.names, nominal.materials, strict=True)
        ],
        axis=1,
    )
    pairs = list(pairwise(("platen", *nominal.roles, "lower-platen")))
    ids = [next(each.id for each in own.contacts.values() if (each.above, each.below) == pair) for pair in pairs]
    contact = np.stack([factor("contact", each) for each in ids], axis=1)
    closed, opened = (
        Stack(
            stack.thickness_m * thickness,
            stack.conductivity_w_mk * conductivity,
            stack.capacity_j_m3k * capacity,
            stack.conductance_w_m2k * contact,
        )
        for stack in (nominal.closed, nominal.opened)
    )
    opened.conductance_w_m2k[:, 0] = nominal.opened.conductance_w_m2k[0]  # the room's air
    free = nominal.opened.conductivity_w_mk[-1] * conductivity[:, -1]
    strain = 1.0 - nominal.closed.thickness_m[-1] / nominal.opened.thickness_m[-1]
    closed.conductivity_w_mk[:, -1] = AIR_W_MK + (free - AIR_W_MK) / (1.0 - strain)
    return closed, opened


class Drawn(NamedTuple):
    """A case's draws, solved.

    The bond lines of the reference stack and of the job, ``(draws, times)``. `normal` ``(6, draws)`` are stratified
    normal numbers for what the press is set to, the activation energy, the onset and the needed share.
    """

    reference: Floats
    job: Floats
    closed: Modes
    opened: Modes
    normal: Floats


def bond_share(closed: Modes, upper: int) -> Floats:
    """Return the bond line's share of a unit step at `TIMES_S`, ``(draws, times)``."""
    rise = evolve(closed, np.zeros(closed.rate_per_s.shape), TIMES_S, 1.0, 0.0)
    return np.asarray(np.clip(np.einsum("dn,dnt->dt", closed.shape[:, closed.layout.top(upper)], rise), 0.0, 1.0))


@functools.cache
def drawn(case: Case) -> Drawn:
    """Return a case's draws."""
    own, random = book(), np.random.default_rng(SEED)
    nominal, pressing = followed(own, job_of(case), case.cover)
    cloth, pad = own.uppers[own.bench.reference_upper], own.pads[own.bench.reference_pad]
    cotton = pile(own, own.films[case.film], cloth, pad, cover=None, pressure_kpa=KPA)
    factors = {
        name: np.exp(random.standard_normal(DRAWS) / SIGMAS * np.log1p(spread(own, name)))
        for name in (*sorted({*cotton.properties} - {*nominal.properties}), *sorted(nominal.properties))
    }
    orders = decompose_to_tolerance(cotton.closed, float(DWELLS_S[0]), TOLERANCE).layout.orders
    closed, opened = (modes(stack, pressing.pressed.layout.orders) for stack in drawn_stacks(own, nominal, factors))
    return Drawn(
        bond_share(modes(drawn_stacks(own, cotton, factors)[0], orders), cotton.upper),
        bond_share(closed, nominal.upper),
        closed,
        opened,
        np.array([norm.ppf((random.permutation(DRAWS) + 0.5) / DRAWS) for _ in range(6)]) / SIGMAS,
    )


def job_of(case: Case) -> windows.Job:
    """Return a case's job."""
    return windows.Job(case.film, book().uppers[case.upper], book().bench.reference_pad, KPA)


def history(draws: Drawn, dwell_s: float) -> Floats:
    """Return every node's share at `AFTER_S` after a press of a dwell, ``(draws, nodes, after)``."""
    risen = evolve(draws.closed, np.zeros(draws.closed.rate_per_s.shape), [dwell_s], 1.0, 0.0)
    start = draws.closed.shape @ risen
    begin = np.swapaxes(draws.opened.shape, -1, -2) @ (draws.opened.mass_j_m2k[..., None] * start)
    return np.asarray(draws.opened.shape @ (begin * np.exp(-draws.opened.rate_per_s[..., None] * AFTER_S)))


def read(doses: Floats, time_s: float) -> Floats:
    """Return dose curves ``(draws, times)`` read at a time."""
    return np.array([np.interp(time_s, TIMES_S, row) for row in doses])


@pytest.mark.parametrize("case", CASES, ids="-".join)
def test_sure_dwell(case: Case) -> None:
    """The dwell that is sure to bond is the 97.5th percentile of the dwells that draws need."""
    own = book()
    film, room_c = own.films[case.film], own.bench.room_c
    setting, glue = published(film), adhesive(film)
    draws = drawn(case)
    middle, z = glue.activation_j_mol, draws.normal[1]
    end = np.where(z > 0.0, glue.activation_high_j_mol, glue.activation_low_j_mol)
    activation = middle * (end / middle) ** np.abs(z)
    assert film.adhesive.onset_spread_k is not None
    onset_c = glue.onset_c + film.adhesive.onset_spread_k * draws.normal[4]
    kinetics = (setting.platen_c, onset_c[:, None], activation[:, None])
    cloth = dose(TIMES_S, room_c + (setting.platen_c - room_c) * draws.reference, *kinetics)
    low, high = needed_band(film)
    share = np.exp(0.5 * (low + high) + 0.5 * (high - low) * draws.normal[5])
    excess = setting.platen_c - room_c + PRESS_SPREAD_K * draws.normal[2]
    line = dose(TIMES_S, room_c + excess[:, None] * draws.job, *kinetics)
    dwells = time_of_dose(TIMES_S, line, share * read(cloth, setting.shortest_s))
    span = windows.spans(
        own, job_of(case), case.cover, [setting.platen_c], platen_spread_k=PRESS_SPREAD_K, guard_k=0.0
    )[0]
    assert pytest.approx(np.quantile(dwells, 0.975), rel=0.05) == span.sure_from_s
    assert pytest.approx(np.median(dwells), rel=0.05) == span.shortest_s


def heated(own: Book, case: Case, platen_spread_k: float) -> tuple[FramedHeating, Spread]:
    """Return how hot a case gets under the film, and the prior of what that depends on."""
    framed = heatings_of(own, job_of(case), case.cover, prior(()), platen_spread_k)[0]
    size = len(framed.parameters)
    return framed, Spread(np.zeros(size), np.eye(size))


@pytest.mark.parametrize("dwell", [5, 13])
@pytest.mark.parametrize("case", CASES, ids="-".join)
def test_worst_peaks(case: Case, dwell: int) -> None:
    """Every layer's worst-case peak is the 97.5th percentile of the draws' peaks, short press or long, to 6 %."""
    own = book()
    (_, stack, heating), known = heated(own, case, PRESS_SPREAD_K)
    draws = drawn(case)
    platen_k = published(own.films[case.film]).platen_c - own.bench.room_c
    excess = platen_k + PRESS_SPREAD_K * draws.normal[3]
    shares = history(draws, float(DWELLS_S[dwell]))
    free = heating._replace(limit_k=np.zeros_like(heating.limit_k))
    rise_k, spread_k = (
        table[:, 0, FINE * dwell] for table in peak_bands(free, known, np.array([platen_k + own.bench.room_c]))
    )
    assert pytest.approx(DWELLS_S[dwell]) == FINE_DWELLS_S[FINE * dwell]
    bounds = rise_k + spread_k
    expected = [
        np.quantile(excess * shares[:, draws.closed.layout.nodes(layer)].max(axis=(1, 2)), 0.975)
        for layer in range(len(stack.names))
    ]
    assert pytest.approx(np.array(expected), rel=0.06) == bounds


@pytest.mark.parametrize("case", CASES, ids="-".join)
def test_longest_sure_dwell(case: Case) -> None:
    """Pressed for the longest dwell that a layer surely stands, 2.5 % of draws pass its limit: to 5 % of the excess.

    The limit is drawn too, by its spread, and lies where the layer just stands half a minute at its worst.
    """
    own = book()
    (names, stack, heating), known = heated(own, case, PRESS_SPREAD_K)
    draws, spread_k, layer = drawn(case), 8.0, stack.upper
    platen_c = published(own.films[case.film]).platen_c
    excess = platen_c - own.bench.room_c + PRESS_SPREAD_K * draws.normal[3]
    limit_k = np.zeros((len(stack.names), len(names)))
    limit_k[:, names.index(("limit", stack.materials[layer]))] = spread_k / SIGMAS
    held = heating._replace(limit_k=limit_k)
    rise_k, band_k = (
        float(np.interp(30.0, FINE_DWELLS_S, table[layer, 0]))
        for table in peak_bands(held, known, np.array([platen_c]))
    )
    limit_c = own.bench.room_c + rise_k + band_k
    limits = stack.limits._replace(
        peak_c=np.full(len(stack.names), limit_c), exposure_s=np.full(len(stack.names), np.inf)
    )
    dwells = layer_dwells([(held._replace(limits=limits), known)], np.array([platen_c]), guard_k=0.0)[0]
    longest_s = dwells.worst_s[layer, 0]
    assert pytest.approx(30.0, rel=0.01) == longest_s
    peak_k = excess * history(draws, longest_s)[:, draws.closed.layout.nodes(layer)].max(axis=(1, 2))
    limit = limit_c - own.bench.room_c + spread_k * draws.normal[0]
    assert pytest.approx(0.0, abs=0.05 * rise_k) == np.quantile(peak_k - limit, 0.975)
