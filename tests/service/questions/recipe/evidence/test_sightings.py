"""Outcomes that a pressing may have."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from pressed_stacks import pressed

from featherline_service.book.shop_book import Book
from featherline_service.questions.recipe.evidence.sightings import BONDS, LOOKS, Range, Reading, with_readings


@pytest.mark.parametrize("ranges", [BONDS, LOOKS], ids=["bonds", "looks"])
def test_ranges_from_the_best_to_the_worst(ranges: dict[str, Range]) -> None:
    """The good outcome is all above zero; of the bad ones each leaves all below, and each has less room than before."""
    good, *bad = ranges.values()
    assert (0.0, math.inf) == good
    assert {-math.inf} == {low for low, _ in bad}
    assert 0.0 == bad[0][1]
    assert all(better[1] > worse[1] for better, worse in pairwise(bad))


def test_readings_without_outcomes(book: Book) -> None:
    """Stacks are solved by readings alone: what was seen of the pressing beside them is left out."""
    reading = Reading("bond line", 20.0, 140.0, 140.0, 1.0, "probe", 1.5)
    seen, read = pressed(book, bond="holds"), pressed(book, bond="lifts", looks="shiny")._replace(readings=(reading,))
    assert (read._replace(bond=None, upper=None, beside=None),) == with_readings((seen, read))
