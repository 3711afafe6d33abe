"""Bonding and heating by named parameters."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pressed_stacks import job_on

from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import prior
from featherline_service.heat.variation import SIGMAS_95, kinetics, needed_doses
from featherline_service.questions.recipe.evidence.frames import (
    NEEDED_HIGH,
    NEEDED_LOW,
    adhesive,
    bonding_of,
    heatings_of,
    published,
)


def test_what_a_bond_depends_on(book: Book) -> None:
    """Each of the kinetics' parameters moves its own value by its record's spread at 1.96, and nothing else does."""
    parameters, bonding = bonding_of(book, job_on(book)._replace(press="clam"), "paper", prior(()), 5.0)
    at = {name: place for place, name in enumerate(parameters)}
    assert len(at) == len(parameters)
    ends = SIGMAS_95 * np.eye(len(parameters))
    own = adhesive(book.films["smooth"])
    assert pytest.approx(5.0) == ends[at["platen", "clam"]] @ bonding.platen_k
    assert pytest.approx(own.onset_c + 5.0) == kinetics(bonding, ends).onset_c[at["onset", "smooth"]]
    assert (
        pytest.approx(own.activation_high_j_mol)
        == kinetics(bonding, ends).activation_j_mol[at["activation", "hot-melt"]]
    )
    share = needed_doses(bonding, ends)[at["needed-share", "smooth"]] / needed_doses(bonding, 0.0 * ends)[0]
    assert pytest.approx(NEEDED_HIGH / math.sqrt(NEEDED_LOW * NEEDED_HIGH)) == share
    assert pytest.approx(0.75, abs=0.001) == bonding.needed_share


def test_job_and_reference_have_materials_in_common(book: Book) -> None:
    """The film's conductivity is one parameter of both stacks, the upper's and the cloth's of one each."""
    parameters, bonding = bonding_of(book, job_on(book), "paper", prior(()), 3.0)

    def in_both(name: tuple[str, ...]) -> tuple[bool, bool]:
        row = parameters.index(name)
        return bool(bonding.job.logs[row].any()), bool(bonding.reference.logs[row].any())

    assert (True, True) == in_both(("conductivity", "hot-melt"))
    assert (True, False) == in_both(("conductivity", "upper-leather"))
    assert (False, True) == in_both(("conductivity", "cotton-fabric"))


def test_places_that_get_hot(book: Book) -> None:
    """Under a cover sheet the shoe gets hot under the film and beside it, without one under the film alone."""
    job = job_on(book)
    covered, bare = (heatings_of(book, job, cover, prior(()), 3.0) for cover in ("paper", None))
    assert (2, 1) == (len(covered), len(bare))
    under, beside = covered
    assert ("film" in under.stack.roles, "film" in beside.stack.roles) == (True, False)
    limit = under.parameters.index(("limit", "upper-leather"))
    layer = under.stack.materials.index("upper-leather")
    spread_k = book.materials["upper-leather"].limit.spread_k
    assert pytest.approx(spread_k) == SIGMAS_95 * under.heating.limit_k[layer, limit]
    assert 1 == np.count_nonzero(under.heating.limit_k[:, limit])


def test_film_that_is_harmed(book: Book) -> None:
    """The published setting is the middle of the film's temperatures; where no harm is stated there is no end."""
    found = published(book.films["reflective"])
    assert (155.0, math.inf) == (found.platen_c, found.harmed_s)
