"""Calibrations by readings that independent code made: the truth is in the intervals that answers state."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from draws import PERCENT

from featherline_service.book.loader import load
from featherline_service.heat.variation import interface_response, solved_stack
from featherline_service.questions.calibration.calibrations import agreement_of
from featherline_service.questions.calibration.pressings import read
from featherline_service.questions.calibration.records import measured, quantities
from featherline_service.questions.recipe.evidence.gauges import readings_of, stack_of

sys.path.insert(0, str(Path(__file__).parent))  # the scripts beside this one are no package
from evidence_calibration import PLACES, asked, drawn, heated

CASES = 200 if PERCENT >= 100 else 3
"""Cases that are solved anew: by day a few."""


def test_the_truth_is_in_the_intervals() -> None:
    """Stored of 200 cases: contacts and platen in at least 93 % within their 95 %, and few true series disagree."""
    found = json.loads((Path(__file__).parent / "evidence_calibration.json").read_text(encoding="utf-8"))
    assert found["cases"] >= 200
    assert found["contacts within 95 %"] >= 0.93
    assert found["platen within 95 %"] >= 0.93
    assert found["said to disagree"] <= 0.02
    assert found["width of the interval, after over before"]["platen-cover"] < 0.6


def test_independent_code_agrees_with_the_solver() -> None:
    """Finite volumes and the spectral elements give the same temperatures of interfaces, within 0.05 K."""
    book = load()
    (plain,) = read(book, asked(PLACES[1], ["t,T\n10,100\n"] * 2)).pressings
    stack, times_s = stack_of(book, plain.sighting.job, plain.sighting.cover), np.array([2.0, 5.0, 20.0])
    layers = [stack.names.index("carrier"), stack.upper]
    solved = [138.0 * interface_response(solved_stack(stack.closed), layer, times_s).share for layer in layers]
    assert pytest.approx(np.array(solved), abs=0.05) == heated(stack.closed, layers, 138.0, times_s)


def test_some_cases_anew() -> None:
    """Of a few cases drawn anew nearly all intervals hold the truth: a fault of the inversion shows at once."""
    book, random = load(), np.random.default_rng(1)
    within = []
    for number in range(CASES):
        case = drawn(book, PLACES[number % len(PLACES)], random)
        calibrated = read(book, case.request)
        found = readings_of(book, calibrated.sightings)
        assert agreement_of(found, calibrated).readings == 20 * len(PLACES[number % len(PLACES)])
        within += [
            quantity.after.low <= case.truth[quantity.record] <= quantity.after.high
            for quantity in quantities(measured(book, calibrated, found.belief))
        ]
    # Of few cases with 95 % each, as many misses happen in less than one of a thousand runs.
    assert sum(within) >= (0.93 if CASES >= 200 else 0.75) * len(within)
