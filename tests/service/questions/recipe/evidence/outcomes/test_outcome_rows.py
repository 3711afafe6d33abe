"""Outcomes of pressings as observations of what they depend on."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pressed_stacks import pressed

from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import mean_of, prior
from featherline_service.heat.worst_case import Spread, bond_dwells
from featherline_service.questions.recipe.evidence.frames import bonding_of
from featherline_service.questions.recipe.evidence.outcomes.outcome_rows import bond_rows, job_of, look_rows, spread_of
from featherline_service.questions.recipe.evidence.sightings import BONDS

PRIOR = prior(())


def test_margin_of_a_bond(book: Book) -> None:
    """A bond tells of the logarithm of its dwell over the shortest that bonds."""
    seen = (pressed(book, bond="holds"), pressed(book, bond="edges-lift", dwell_s=20.0), pressed(book))
    rows = bond_rows(book, seen, PRIOR, PRIOR)
    parameters, bonding = bonding_of(book, job_of(seen[0], seen), "silicone-thin", PRIOR, 3.0)
    size = len(parameters)
    shortest = bond_dwells(bonding, Spread(np.zeros(size), np.eye(size)), np.array([160.0])).shortest_s[0]
    assert pytest.approx(np.log([30.0 / shortest, 20.0 / shortest])) == rows.observations.offset
    assert ([0, 1], [1, -1]) == (rows.sighting.tolist(), rows.worth.tolist())
    assert BONDS["edges-lift"] == (rows.observations.low[1], rows.observations.high[1])


def test_habit_is_in_common(book: Book) -> None:
    """Two statements of one habit have its error in common, on whatever stack; a third has not."""
    said = pressed(book, bond="holds", press=None)._replace(habit="half a minute", habit_noise=0.1)
    other = said._replace(job=pressed(book, upper="suede").job)
    rows = bond_rows(book, (said, other, pressed(book, bond="holds")), PRIOR, PRIOR)
    column = rows.observations.slopes[:, rows.parameters.index(("habit", "half a minute"))]
    assert [0.1, 0.1, 0.0] == [column[rows.sighting == at][0] for at in range(3)]


def test_looks_tell_of_the_weakest_layer(book: Book) -> None:
    """An upper that shines tells of its layer that is nearest to the limit, under the film and beside it."""
    seen = (pressed(book, bond="holds"), pressed(book, looks="shiny"))
    rows = look_rows(book, seen, PRIOR, PRIOR)
    assert ([1, 1], [-1, -1]) == (rows.sighting.tolist(), rows.worth.tolist())
    limit = rows.observations.slopes[:, rows.parameters.index(("limit", "upper-leather"))]
    assert bool((limit > 0.0).all())
    assert bool((rows.observations.slopes[:, rows.parameters.index(("platen", "swing"))] < 0.0).all())


def test_looks_without_a_cover_have_no_beside(book: Book) -> None:
    """Without a cover sheet nothing beside the film is pressed through one, and a look there tells nothing."""
    bare = pressed(book, looks="unchanged")._replace(cover=None, upper=None)
    assert 0 == look_rows(book, (bare,), PRIOR, PRIOR).sighting.size


def test_nothing_seen(book: Book) -> None:
    """Pressings of which nothing was seen tell nothing."""
    seen = (pressed(book),)
    assert (0, 0) == (
        bond_rows(book, seen, PRIOR, PRIOR).sighting.size,
        look_rows(book, seen, PRIOR, PRIOR).sighting.size,
    )


def test_slopes_are_taken_where_it_is_said(book: Book) -> None:
    """Linear at another point, the quantity there is the one that is computed there."""
    seen = (pressed(book, bond="holds"),)
    first = bond_rows(book, seen, PRIOR, PRIOR)
    before = prior([("needed-share", "smooth")])._replace(mean=np.array([-1.0]))
    moved = bond_rows(book, seen, PRIOR, before)
    point = mean_of(before, first.parameters)
    values = [float((rows.observations.offset + rows.observations.slopes @ point)[0]) for rows in (first, moved)]
    assert pytest.approx(values[1], abs=0.01) == values[0]
    assert values[0] > float(first.observations.offset[0])


def test_platens_stray_on_presses_of_the_book(book: Book) -> None:
    """The platen of a press strays as its record says, that of no press not at all."""
    assert (book.presses["clam"].platen_spread_k, 0.0) == (spread_of(book, "clam"), spread_of(book, ""))


def test_pressing_far_too_short(book: Book) -> None:
    """A film that holds after a second at a platen that is barely warm gives finite numbers."""
    rows = bond_rows(book, (pressed(book, bond="holds", platen_c=60.0, dwell_s=1.0),), PRIOR, PRIOR)
    assert (True, True) == (
        bool(np.isfinite(rows.observations.offset).all()),
        rows.observations.offset[0] < -math.log(10.0),
    )
