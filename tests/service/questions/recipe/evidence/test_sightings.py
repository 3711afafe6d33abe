"""Outcomes that a pressing may have."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from pressed_stacks import pressed

from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence.sightings import BONDS, LOOKS, Range, Reading, with_readings


@pytest.mark.parametrize("ranges", [BONDS, LOOKS], ids=["bonds", "looks"])
def test_ranges_are_side_by_side(ranges: dict[str, Range]) -> None:
    """From the best outcome to the worst the ranges meet, and together they leave nothing out; good is above zero."""
    ends = list(ranges.values())
    assert [low for low, _ in ends[:-1]] == [high for _, high in ends[1:]]
    assert (math.inf, 0.0, -math.inf) == (ends[0][1], ends[0][0], ends[-1][0])
    assert all(better[0] >= worse[1] for better, worse in pairwise(ends))


def test_readings_without_outcomes(book: Book) -> None:
    """Stacks are solved by readings alone: what was seen of the pressing beside them is left out."""
    reading = Reading("bond line", 20.0, 140.0, 140.0, 1.0, "probe", 1.5)
    seen, read = pressed(book, bond="holds"), pressed(book, bond="lifts", looks="shiny")._replace(readings=(reading,))
    assert (read._replace(bond=None, upper=None, beside=None),) == with_readings((seen, read))
