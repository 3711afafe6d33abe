from __future__ import annotations

import math

import numpy as np
import pytest
from msgspec.structs import replace
from plain_marks import LAYER

from featherline.wire.recipes import LayerPeak
from featherline_service.book.shop_book import Book
from featherline_service.heat.damage import step_peaks
from featherline_service.heat.pressing import AFTER_S, BAND_DWELLS, DWELLS_S
from featherline_service.questions.recipe.layer_peaks import layer_peaks, merged
from featherline_service.questions.recipe.recipe_tasks import RecipeTask
from featherline_service.questions.recipe.windows import Candidate, Job, Span, places

DWELL_S = float(DWELLS_S[BAND_DWELLS[3]])
"""[s] About 21 s: one of the dwells between which spreads are interpolated."""


@pytest.fixture(scope="module")
def job(book: Book) -> Job:
    """Return smooth film on lined leather."""
    return Job("smooth", book.uppers["leather-lined"], "silicone-foam", 276.0)


def peaks(book: Book, job: Job, spread_k: float, cover: str | None = "silicone-thin") -> tuple[LayerPeak, ...]:
    """Return the peaks of a pressing at 160 degC, with a spread of the platen."""
    press = replace(book.presses["swing"], platen_spread_k=spread_k)
    own = replace(book, presses={"swing": press})
    span = Span(10.0, 40.0, 12.0, 30.0, "cap", None, None, 10.0, 20.0)
    task = RecipeTask("smooth", (job.upper,), "swing", "shoe-form", (cover,), "metric")
    return layer_peaks(own, task, job, Candidate(cover, 160.0, "medium", span, 99.0), DWELL_S)


def test_every_layer_gets_as_hot_as_the_pressing_makes_it(book: Book, job: Job) -> None:
    """Its rise over the room of 21 degC, at the time of its peak, against its material's limit."""
    told = {(peak.layer, peak.material): peak for peak in peaks(book, job, 0.0)}
    expected: dict[tuple[str, str], tuple[float, float]] = {}
    for stack, pressing in places(book, job, "silicone-thin"):
        found = step_peaks(pressing.pressed, pressing.opened, np.array([DWELL_S]), AFTER_S)
        for at, key in enumerate(zip(stack.names, stack.materials, strict=True)):
            peak_c = 21.0 + (160.0 - 21.0) * float(found.rise[at, 0])
            if key not in expected or peak_c > expected[key][0]:
                expected[key] = peak_c, DWELL_S + float(found.after_s[at, 0])

    assert expected.keys() == told.keys()
    for key, peak in told.items():
        limit = book.materials[peak.material].limit
        assert pytest.approx(expected[key]) == (peak.peak_c, peak.at_s)
        assert (limit.peak_c, limit.evidence) == (peak.limit_c, peak.evidence)
        assert pytest.approx(limit.peak_c - peak.peak_c) == peak.margin_k
    assert max(peak.at_s for peak in told.values()) > DWELL_S  # a layer within gets hottest after the press opens
    assert min(peak.at_s for peak in told.values()) == DWELL_S


def test_the_worst_case_adds_the_spreads_as_independent(book: Book, job: Job) -> None:
    """That of the layer's properties, in proportion to the platen's excess, and that of the platen itself."""
    exact, loose = peaks(book, job, 0.0), peaks(book, job, 10.0)
    stack, pressing = places(book, job, "silicone-thin")[0]
    changes = np.maximum(np.tensordot(stack.changes, pressing.peak_slopes, axes=1).max(axis=1), 0.0)
    bands = np.sqrt((changes**2).sum(axis=0))
    at_dwell = {
        key: 139.0 * float(np.interp(math.log(DWELL_S), np.log(DWELLS_S[BAND_DWELLS]), row))
        for key, row in zip(zip(stack.names, stack.materials, strict=True), bands, strict=True)
    }

    for plain, spread in zip(exact, loose, strict=True):
        rise = (plain.peak_c - 21.0) / 139.0
        assert pytest.approx((plain.worst_case_c - plain.peak_c) ** 2 + (10.0 * rise) ** 2) == (
            (spread.worst_case_c - spread.peak_c) ** 2
        )
        assert plain.peak_c == spread.peak_c
    film = [peak for peak in exact if peak.layer == "film face"]
    assert pytest.approx([at_dwell[peak.layer, peak.material] for peak in film]) == [
        peak.worst_case_c - peak.peak_c for peak in film
    ]
    assert film


def test_beside_the_film_a_layer_may_be_hotter(book: Book, job: Job) -> None:
    """With a cover sheet the leather beside the film counts, not that under it; without one, that under it."""
    covered, bare = peaks(book, job, 0.0), peaks(book, job, 0.0, cover=None)
    under, beside = (
        step_peaks(pressing.pressed, pressing.opened, np.array([DWELL_S]), AFTER_S).rise[stack.upper, 0]
        for stack, pressing in places(book, job, "silicone-thin")
    )
    (alone,) = places(book, job, None)
    leather = [next(peak for peak in told if peak.material == "upper-leather") for told in (covered, bare)]

    assert beside > under
    assert pytest.approx(21.0 + 139.0 * beside) == leather[0].peak_c
    rise = step_peaks(alone[1].pressed, alone[1].opened, np.array([DWELL_S]), AFTER_S).rise[alone[0].upper, 0]
    assert pytest.approx(21.0 + 139.0 * rise) == leather[1].peak_c


def test_each_layer_is_told_once_at_its_smallest_margin() -> None:
    """A layer is its name and material; the first of equal margins counts, and layers keep their order."""
    hot, cool = replace(LAYER, margin_k=5.0, at_s=1.0), replace(LAYER, margin_k=9.0, at_s=2.0)
    lining = replace(LAYER, layer="lining", margin_k=20.0)
    other = replace(LAYER, material="suede-leather", margin_k=1.0)
    equal = replace(hot, at_s=3.0)

    assert (hot, lining, other) == merged([[cool, lining], [hot, other], [equal, cool]])
    assert (hot,) == merged([[hot], [cool]])
    assert () == merged([])
