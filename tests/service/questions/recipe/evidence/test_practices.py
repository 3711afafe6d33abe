"""Statements of the trade in the book, as sightings."""

from __future__ import annotations

import math

import pytest

from featherline_service.book.shop_book import Book
from featherline_service.heat.variation import SIGMAS_95
from featherline_service.questions.recipe.evidence.known import known_of
from featherline_service.questions.recipe.evidence.practices import practices_of


def test_statements_are_sightings(book: Book) -> None:
    """Each is pressed on no press of the book, with the spreads of its record as standard deviations."""
    for (film, practice), sighting in zip(book.practices.values(), practices_of(book), strict=True):
        assert (practice.name, film, book.uppers[practice.upper], None) == (
            sighting.name,
            sighting.job.film,
            sighting.job.upper,
            sighting.press,
        )
        assert (practice.bond, practice.upper_looks, practice.upper_looks) == (
            sighting.bond,
            sighting.upper,
            sighting.beside,
        )
        assert pytest.approx(math.log(1.0 + practice.dwell_spread)) == SIGMAS_95 * sighting.bond_noise
        assert pytest.approx(math.log(1.0 + practice.habit_spread)) == SIGMAS_95 * sighting.habit_noise
        assert pytest.approx(practice.limit_spread_k) == SIGMAS_95 * sighting.look_noise_k


@pytest.mark.parametrize("left_out", range(8))
def test_each_statement_is_predicted_by_the_others(book: Book, left_out: int) -> None:
    """With one left out, the other seven say of it what the trade says: none of all eight is a contradiction."""
    stated = practices_of(book)
    others = stated[:left_out] + stated[left_out + 1 :]
    assert () == known_of(book, others, (stated[left_out],)).contradicting
    assert () == known_of(book, stated, ()).contradicting
