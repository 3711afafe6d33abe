"""Calibrations by readings that independent code made; writes `evidence_calibration.json`.

In each case the contacts, layers and platen of a scrap of leather under film and cover sheet are drawn within their
records' spreads. Finite volumes and the trapezoidal rule, which share no code with the service's solver, say how hot
its interfaces get. A thermocouple of tolerance class 1 reads them, with an error of the wire that is anywhere within
the class (IEC 60584-1: 1.5 K) and one of each reading; a logger, whose clock was started by hand, writes both as CSV.
The answer is asked for what it states of the contacts and the platen, and whether the truth lies in its 95 % intervals.

`python tests/outside/evidence_calibration.py [CASES]`

References:
    Patankar, Numerical Heat Transfer and Fluid Flow (1980), section 4.2: resistances in series between cells (from
        memory).
    Rannacher, Numerische Mathematik 43 (1984) 309-327: the trapezoidal rule begun by implicit steps (from memory).
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from featherline.wire.calibrations import CalibrationRequest
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.heat.conduction import Stack
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.questions.calibration.calibrations import agreement_of
from featherline_service.questions.calibration.pressings import read
from featherline_service.questions.calibration.records import measured, quantities
from featherline_service.questions.recipe.evidence.gauges import CLOSING_S, layer_above, readings_of, stack_of

Floats = NDArray[np.float64]

RESULTS = Path(__file__).with_suffix(".json")
CELLS = 60
STEP_S = 0.02
FIRST_STEPS = 4
PLACES = (("bond line",), ("bond line", "carrier"), ("bond line", "carrier", "siliconised sheet"))
DWELL_S, PLATEN_C = 40, 160.0
TOLERANCE_K, NOISE_K = 1.5, 1.0


def heated(stack: Stack, layers: list[int], over_k: float, times_s: Floats) -> Floats:
    """Return how far the upper faces of layers rise [K], ``(layers, times)``, on a grid that is dense at the faces."""
    thickness, conductivity, capacity, conductance = stack
    # Cells shrink towards both faces of a layer as Chebyshev's points do.
    edges = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, CELLS + 1)))
    width = (thickness[:, None] * np.diff(edges)).ravel()
    half = 0.5 * width / np.repeat(conductivity, CELLS)
    contact = np.zeros(width.size + 1)
    contact[::CELLS] = 1.0 / conductance
    flow = 1.0 / (np.concatenate(([0.0], half)) + contact + np.concatenate((half, [0.0])))
    store = width * np.repeat(capacity, CELLS)
    lower, upper, middle = flow[1:-1] / store[1:], flow[1:-1] / store[:-1], (flow[:-1] + flow[1:]) / store
    drive = np.zeros(width.size)
    drive[0] = flow[0] * over_k / store[0]

    def change(rise: Floats) -> Floats:
        moved = drive - middle * rise
        moved[1:] += lower * rise[:-1]
        moved[:-1] += upper * rise[1:]
        return moved

    def implicit(step_s: float) -> Floats:
        bands = np.zeros((3, width.size))
        bands[0, 1:], bands[1], bands[2, :-1] = -step_s * upper, 1.0 + step_s * middle, -step_s * lower
        return bands

    rise, time_s = np.zeros(width.size), 0.0
    first, later = implicit(0.5 * STEP_S), implicit(0.5 * STEP_S)
    known_s, known = [0.0], [np.zeros(len(layers))]
    faces = [layer * CELLS for layer in layers]
    while time_s < times_s[-1]:
        if len(known_s) <= FIRST_STEPS:  # two implicit half steps for one
            for _ in range(2):
                rise = solve_banded((1, 1), first, rise + 0.5 * STEP_S * drive)
        else:
            rise = solve_banded((1, 1), later, rise + 0.5 * STEP_S * (change(rise) + drive))
        time_s += STEP_S
        known_s.append(time_s)
        # A layer's upper face, from the flow through the contact above it.
        above = [rise[face - 1] if face else over_k for face in faces]
        known.append(rise[faces] + half[faces] * flow[faces] * (np.array(above) - rise[faces]))
    return np.array([np.interp(times_s, known_s, column) for column in np.array(known).T])


class Case(NamedTuple):
    """The request of a case, and what is true of its contacts [W/(m2 K)] and of its platen's offset [K]."""

    request: CalibrationRequest
    truth: dict[str, float]


def asked(places: tuple[str, ...], texts: list[str]) -> CalibrationRequest:
    """Return a request with the files of loggers."""
    onto = {"kind": "stack", "surface": "leather", "layers": [{"material": "upper-leather", "thickness": "1.4 mm"}]}
    series = [
        {
            "above": above,
            "kind": "thermocouple-class-1",
            "gauge": f"wire-{number}",
            "file": {"text": text, "time": "t", "temperature": "T"},
        }
        for number, (above, text) in enumerate(zip(places, texts, strict=True))
    ]
    pressing = {"onto": onto, "film": "smooth", "temperature": "160 degC", "dwell": f"{DWELL_S} s", "series": series}
    fields = {"date": "2026-11-03", "press": "swing", "cover": "silicone-thin", "pressings": [pressing]}
    return msgspec.convert(fields, CalibrationRequest)


def drawn(book: Book, places: tuple[str, ...], random: np.random.Generator) -> Case:
    """Return a case with everything uncertain drawn."""
    (plain,) = read(book, asked(places, ["t,T\n10,100\n"] * len(places))).pressings
    stack = stack_of(book, plain.sighting.job, plain.sighting.cover)
    z = random.standard_normal(len(stack.properties))
    layers = stack.closed.thickness_m.size
    ratio = np.exp(z @ stack.logs)
    true = Stack(
        stack.closed.thickness_m,
        stack.closed.conductivity_w_mk * ratio[:layers],
        stack.closed.capacity_j_m3k * ratio[layers : 2 * layers],
        stack.closed.conductance_w_m2k * ratio[2 * layers :],
    )
    offset_k = float(random.standard_normal()) * book.presses["swing"].platen_spread_k / SIGMAS_95
    times_s = np.arange(0.0, DWELL_S + 1.0, 1.0)
    room_c = book.bench.room_c
    late_s = CLOSING_S * float(random.standard_normal())
    layers_above = [layer_above(stack, above) for above in places]
    rises = heated(true, layers_above, PLATEN_C + offset_k - room_c, np.maximum(times_s + late_s, 0.0))
    texts = []
    for rise in rises:
        wire_k = random.uniform(-TOLERANCE_K, TOLERANCE_K)
        values = room_c + rise + wire_k + NOISE_K * random.standard_normal(times_s.size)
        rows = "".join(f"{time:.0f},{value:.2f}\n" for time, value in zip(times_s, values, strict=True))
        texts.append(f"t,T\n{rows}")
    truth = {"swing": offset_k}
    for name, value, logs in zip(stack.properties, z, stack.logs, strict=True):
        if name[0] == "contact":
            truth[name[1]] = book.contacts[name[1]].conductance_w_m2k * float(np.exp(value * logs.max()))
    return Case(asked(places, texts), truth)


def main(cases: int) -> None:
    """Calibrate in some cases and store how often the truth is in the intervals."""
    book, random = load(), np.random.default_rng(8037)
    within: dict[str, int] = {}
    narrower: dict[str, float] = {}
    disagree = 0
    for number in range(cases):
        case = drawn(book, PLACES[number % len(PLACES)], random)
        calibrated = read(book, case.request)
        found = readings_of(book, calibrated.sightings)
        disagree += not agreement_of(found, calibrated).agrees
        for quantity in quantities(measured(book, calibrated, found.belief)):
            name, after, before = quantity.record, quantity.after, quantity.before
            within[name] = within.get(name, 0) + (after.low <= case.truth[name] <= after.high)
            share = (after.high - after.low) / (before.high - before.low)
            narrower[name] = narrower.get(name, 0.0) + share / cases
    contacts = [name for name in within if name != "swing"]
    results = {
        "cases": cases,
        "contacts within 95 %": sum(within[name] for name in contacts) / len(contacts) / cases,
        "platen within 95 %": within["swing"] / cases,
        "each contact within 95 %": {name: within[name] / cases for name in contacts},
        "said to disagree": disagree / cases,
        "width of the interval, after over before": {name: round(share, 3) for name, share in narrower.items()},
    }
    RESULTS.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
