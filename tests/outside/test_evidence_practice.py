"""The trade's statements, each predicted by the others: common practice, no source."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from scipy.stats import norm

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.evidence.beliefs import mean_of, root_of
from featherline_service.questions.recipe.evidence.known import known_of
from featherline_service.questions.recipe.evidence.outcomes.outcome_rows import bond_rows, look_rows
from featherline_service.questions.recipe.evidence.practices import practices_of


@functools.cache
def book() -> Book:
    """Return the demo book."""
    return load()


@pytest.mark.parametrize("left_out", range(8))
def test_each_statement_is_predicted_by_the_other_seven(left_out: int) -> None:
    """That a film holds after 30 s, and that the upper is unchanged, is within the 95 % band of what the others say.

    A statement with one side lies in that band where its chance is 2.5 % and more. What is known of uppers is known by
    the book's limits, as no statement widens a window.
    """
    stated = practices_of(book())
    others, own = stated[:left_out] + stated[left_out + 1 :], (stated[left_out],)
    known = known_of(book(), others, ())
    for rows, belief in (
        (bond_rows(book(), own, known.readings, known.bond), known.bond),
        (look_rows(book(), own, known.readings, known.readings), known.readings),
    ):
        mean, root = mean_of(belief, rows.parameters), root_of(belief, rows.parameters)
        observed = rows.observations
        expected = observed.offset + observed.slopes @ mean
        deviation = np.hypot(np.linalg.norm(observed.slopes @ root, axis=1), observed.noise)
        assert bool((norm.cdf(expected / deviation) >= 0.025).all())


def test_no_statement_contradicts_the_others() -> None:
    """Taken in together, none of the eight is a contradiction."""
    assert () == known_of(book(), practices_of(book()), ()).contradicting
