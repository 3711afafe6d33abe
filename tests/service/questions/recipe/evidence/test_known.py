"""What is known for each end of a window, by rule."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pressed_stacks import job_on, pressed

from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import Belief, mean_of, root_of
from featherline_service.heat.window import BondDwells
from featherline_service.heat.worst_case import Spread, bond_dwells, layer_dwells
from featherline_service.questions.recipe.evidence.frames import bonding_of, heatings_of
from featherline_service.questions.recipe.evidence.known import Known, known_for, known_of
from featherline_service.questions.recipe.evidence.sightings import Reading, Sighting


def known(book: Book, *sightings: Sighting) -> Known:
    """Return what is known after some sightings."""
    return known_of(book, (), sightings)


def shortest(book: Book, what: Known, belief: Belief, upper: str = "leather-lined") -> BondDwells:
    """Return the dwells that bond at 160 degC under the thin sheet, by a belief."""
    job = job_on(book, upper)._replace(press="swing")
    parameters, bonding = bonding_of(book, job, "silicone-thin", what.readings, 3.0)
    spread = Spread(mean_of(belief, parameters), root_of(belief, parameters))
    return bond_dwells(bonding, spread, np.array([160.0]))


def sure_from(book: Book, what: Known, belief: Belief, upper: str = "leather-lined") -> float:
    """Return the dwell that is sure to bond at 160 degC under the thin sheet, by a belief."""
    return float(shortest(book, what, belief, upper).sure_s[0])


def sure_to(book: Book, what: Known, belief: Belief, upper: str = "leather-lined") -> float:
    """Return the dwell that is sure to harm nothing at 160 degC under the thin sheet, by a belief."""
    job = job_on(book, upper)._replace(press="swing")
    ends = [
        layer_dwells(
            [(heating, Spread(mean_of(belief, parameters), root_of(belief, parameters)))],
            np.array([160.0]),
            guard_k=0.0,
        )[0].worst_s.min()
        for parameters, _, heating in heatings_of(book, job, "silicone-thin", what.readings, 3.0)
    ]
    return float(min(ends))


def test_nothing_observed(book: Book) -> None:
    """Without sightings the prior is known, and nothing contradicts it."""
    found = known(book)
    assert ((), (), None, None, ()) == (
        found.readings.parameters,
        found.bond.parameters,
        found.bond_at_worst,
        found.harm_at_worst,
        found.contradicting,
    )


def test_film_that_held(book: Book) -> None:
    """A film that held is known to bond sooner, on the stack that was seen and on one like it."""
    before, after = known(book), known(book, pressed(book, bond="holds"))
    for upper in ("leather-lined", "coated-leather"):
        assert sure_from(book, after, after.bond, upper) < sure_from(book, before, before.bond, upper)
    assert (None, None) == (after.bond_at_worst, after.harm_at_worst)


def test_film_that_lifted(book: Book) -> None:
    """A film that lifted is known to bond later at the worst, and a good outcome's belief is not moved by it."""
    held, both = (
        known(book, pressed(book, bond="holds", dwell_s=40.0), *more)
        for more in ((), (pressed(book, bond="lifts", dwell_s=25.0),))
    )
    assert both.bond_at_worst is not None
    assert np.array_equal(held.bond.mean, both.bond.mean)
    assert sure_from(book, both, both.bond_at_worst) > sure_from(book, held, held.bond)


def test_unchanged_uppers_do_not_widen(book: Book) -> None:
    """However well an upper looked, the window's upper end is known by the readings alone."""
    found = known(book, pressed(book, looks="unchanged", dwell_s=60.0))
    assert None is found.harm_at_worst


def test_upper_that_shines(book: Book) -> None:
    """An upper that shines is known to stand less."""
    before, after = known(book), known(book, pressed(book, looks="shiny", dwell_s=40.0))
    assert after.harm_at_worst is not None
    assert sure_to(book, after, after.harm_at_worst) < sure_to(book, before, before.readings)


def test_readings_may_widen(book: Book) -> None:
    """A bond line read colder than expected lets the window end later and begin later, less far from what is sure."""
    cold = Reading("bond line", 20.0, 125.0, 125.0, 1.0, "probe", 1.5)
    before, after = known(book), known(book, pressed(book)._replace(readings=(cold,)))
    assert sure_to(book, after, after.readings) > sure_to(book, before, before.readings)
    late, soon = shortest(book, after, after.bond), shortest(book, before, before.bond)
    assert late.shortest_s[0] > soon.shortest_s[0]
    assert late.sure_s[0] / late.shortest_s[0] < soon.sure_s[0] / soon.shortest_s[0]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_contradiction_is_named(book: Book, order: tuple[int, int]) -> None:
    """A film that holds at 140 degC and lifts at 150 degC is a contradiction of both pressings."""
    pair = (pressed(book, bond="holds", platen_c=140.0), pressed(book, bond="lifts", platen_c=150.0))
    assert (0, 1) == known(book, *(pair[at] for at in order)).contradicting


def test_outcomes_as_expected_are_no_contradiction(book: Book) -> None:
    """A film that lifts after 10 s, at its edges after 22 s, and holds after 30 s and 35 s is as it should be."""
    seen = [
        pressed(book, bond=bond, looks="unchanged", dwell_s=dwell_s)
        for bond, dwell_s in (("lifts", 10.0), ("edges-lift", 22.0), ("holds", 30.0), ("holds", 35.0))
    ]
    assert () == known(book, *seen).contradicting


def test_wild_reading_is_named(book: Book) -> None:
    """A reading that no stack could give is named, by its place among the sightings, and a bond that it forbids too."""
    wild = pressed(book)._replace(readings=(Reading("bond line", 20.0, 60.0, 60.0, 1.0, "probe", 1.5),))
    assert (1,) == known(book, pressed(book), wild).contradicting
    assert (0, 1) == known(book, pressed(book, bond="holds"), wild).contradicting


def test_slow_contradictions_settle(book: Book) -> None:
    """Pressings that contradict one another, through which the likelihoods creep without a turn, are still weighed."""
    cold = pressed(book, platen_c=120.0, dwell_s=5.0)._replace(
        readings=(Reading("bond line", 2.0, 60.0, 60.0, 1.0, "probe", 1.5),)
    )
    warm = pressed(book, platen_c=122.0, dwell_s=29.0)._replace(
        readings=(Reading("bond line", 20.030170037745947, 120.60746448715994, 120.60746448715994, 1.0, "probe", 1.5),)
    )
    lifts = [pressed(book, bond="lifts", platen_c=platen_c, dwell_s=28.0) for platen_c in (120.0, 167.0)]
    held = pressed(book, bond="holds", platen_c=120.0, dwell_s=20.0)
    after = known_for(book, (*lifts, cold, warm, held))
    assert {lifts[1], held} <= {after.sightings[at] for at in after.contradicting}


def test_order_does_not_matter(book: Book) -> None:
    """In any order, sightings lead to the same beliefs to 1e-9."""
    reading = Reading("bond line", 20.0, 138.0, 138.0, 1.0, "probe", 1.5)
    seen = [
        pressed(book, bond="holds", looks="unchanged"),
        pressed(book, bond="edges-lift", dwell_s=18.0),
        pressed(book, upper="suede", bond="holds", looks="shiny"),
        pressed(book)._replace(readings=(reading,)),
    ]
    first, last = known(book, *seen), known(book, *reversed(seen))
    pairs = (
        (first.readings, last.readings),
        (first.bond, last.bond),
        (first.bond_at_worst, last.bond_at_worst),
        (first.harm_at_worst, last.harm_at_worst),
    )
    for one, other in pairs:
        assert one is not None
        assert other is not None
        assert pytest.approx(one.mean, abs=1e-9) == mean_of(other, one.parameters)
        root = root_of(other, one.parameters)
        assert pytest.approx(one.covariance, abs=1e-9) == root @ root


def test_beliefs_narrow(book: Book) -> None:
    """No parameter is known less well after outcomes than before."""
    found = known(book, *(pressed(book, bond="holds", dwell_s=25.0 + at) for at in range(5)))
    assert np.diag(found.bond.covariance).max() <= 1.0 + 1e-9
    assert math.isfinite(float(np.abs(found.bond.mean).max()))
