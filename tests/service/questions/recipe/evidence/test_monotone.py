"""Random observations: good outcomes never worsen a window, bad ones never better it, and none widens its end."""

from __future__ import annotations

import math

import numpy as np
from draws import PERCENT
from hypothesis import given, settings
from hypothesis import strategies as st
from pressed_stacks import job_on, pressed

from featherline.wire.records import BondOutcome, UpperOutcome
from featherline_service.book.loader import load
from featherline_service.heat.window import choose_dwell
from featherline_service.questions.recipe.evidence.known import known_for
from featherline_service.questions.recipe.evidence.sightings import Reading, Sighting
from featherline_service.questions.recipe.windows import Span, spans

SETS = 5000 if PERCENT == 100 else 25
"""Random sets: all of them where DRAWN_PERCENT is 100, a few by day, as each takes a fifth of a second."""
UPPERS = ("leather-lined", "coated-leather", "glitter", "polyester-knit")
WORSE = {"ready": 0, "trial": 1, "decline": 2}
ROUNDING = 1e-3
"""[-] Share of a dwell that counts as none: expectation propagation is exact for one outcome alone."""
BOOK = load()


@st.composite
def sightings(draw: st.DrawFn, upper: str, *, outcome: bool = False) -> Sighting:
    """Return a pressing of a stack at any setting, and something that was seen or read of it."""
    bond: BondOutcome | None = None
    looks: UpperOutcome | None = None
    readings: tuple[Reading, ...] = ()
    dwell_s = float(draw(st.integers(5, 80)))
    match draw(st.sampled_from(["bond", "looks"] if outcome else ["bond", "looks", "read"])):
        case "bond":
            bond = draw(st.sampled_from(["holds", "edges-lift", "lifts"]))
        case "looks":
            looks = draw(st.sampled_from(["unchanged", "shiny", "marked", "deformed"]))
        case _:
            value = draw(st.floats(60.0, 160.0))
            readings = (
                Reading("bond line", min(dwell_s, draw(st.floats(2.0, 40.0))), value, value, 1.0, "probe", 1.5),
            )
    platen_c = float(draw(st.integers(120, 175)))
    seen = pressed(BOOK, upper=upper, platen_c=platen_c, dwell_s=dwell_s, bond=bond, looks=looks)
    return seen._replace(readings=readings)


def window(upper: str, seen: tuple[Sighting, ...]) -> Span:
    """Return the window of smooth film at 160 degC under the thin sheet."""
    job = job_on(BOOK, upper)._replace(press="swing", sightings=seen)
    (span,) = spans(BOOK, job, "silicone-thin", [160.0], platen_spread_k=3.0, guard_k=0.0)
    return span


def verdict(span: Span) -> int:
    """Return how bad a window's verdict is."""
    dwell = choose_dwell(span.shortest_s, span.longest_s, span.sure_from_s, span.sure_to_s, 1.0)
    if dwell is None:
        return WORSE["decline"]
    return WORSE["ready" if span.sure_from_s <= dwell <= span.sure_to_s else "trial"]


@given(data=st.data(), upper=st.sampled_from(UPPERS))
@settings(max_examples=SETS, deadline=None)
def test_outcomes_are_monotone(data: st.DataObject, upper: str) -> None:
    """One more outcome, on the stack it was seen on: nothing crashes, and it moves each end only to its own side.

    Among consistent observations; what contradicts makes a trial of what was ready.
    """
    seen = tuple(data.draw(st.lists(sightings(upper), max_size=5)))
    extra = data.draw(sightings(upper, outcome=True))
    before, after = window(upper, seen), window(upper, (*seen, extra))
    numbers = (after.shortest_s, after.longest_s, after.sure_from_s, after.sure_to_s)
    assert not np.isnan(numbers).any()

    # Outcomes never move a window's upper end beyond where the readings have it.
    read = window(upper, tuple(each for each in seen if each.readings))
    assert after.longest_s <= read.longest_s * (1.0 + 1e-9)
    assert after.sure_to_s <= read.sure_to_s * (1.0 + 1e-9)

    known = known_for(BOOK, (*seen, extra))
    consistent = not known.contradicting
    if "holds" == extra.bond or "unchanged" == extra.upper:
        assert after.sure_to_s >= before.sure_to_s * (1.0 - ROUNDING)
        if consistent:
            assert after.sure_from_s <= before.sure_from_s * (1.0 + ROUNDING) or math.isinf(before.sure_from_s)
            assert verdict(after) <= verdict(before)
    else:
        if consistent:
            assert after.sure_from_s >= before.sure_from_s * (1.0 - ROUNDING)
            assert after.sure_to_s <= before.sure_to_s * (1.0 + ROUNDING)
        assert max(verdict(after), 0 if consistent else WORSE["trial"]) >= verdict(before)
    assert np.isfinite(known.bond.mean).all()
    assert set(known.contradicting) <= set(range(len(known.sightings)))
