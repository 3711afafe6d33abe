from __future__ import annotations

import time

import pytest

from featherline_service.cost.nesting import outline_nesting
from featherline_service.cost.nesting.outline_nesting import (
    Shape,
    nest_outlines,
    perimeter_mm,
    verified_nest,
)
from featherline_service.cost.nesting.outline_search import Laid, Piece
from featherline_service.cost.nesting.rectangles import nest

TRIANGLE = ((0.0, 0.0), (30.0, 0.0), (15.0, 26.0))
SQUARE = ((0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0))
TWO = (Piece(outline=SQUARE, count=2, angles=(0.0,)),)


def test_triangles_lie_closer_than_their_boxes() -> None:
    """Nested triangles take less than nine tenths of the film of their rectangles, and no less than their area."""
    boxes = nest([(30.0, 26.0)] * 24, strip_mm=200, gap_mm=2, turnable=True)
    nested = nest_outlines([Shape(outline=TRIANGLE, count=24)], strip_mm=200, gap_mm=2, turnable=True, budget_s=1)
    assert nested is not None

    assert 24 * 390 < nested.length_mm * nested.width_mm < 0.9 * boxes.area_mm2
    assert nested.width_mm <= 200 + 0.02


def test_the_nest_of_two_laid_pieces() -> None:
    """Two squares of 10 mm, one turned by a right angle, 2 mm apart: 22 mm of the strip, 10 mm of its width."""
    laid = [Laid(0, 0.0, 0.0, 0.0), Laid(0, 90.0, 22.0, 0.0)]
    nested = verified_nest(TWO, laid, strip_mm=50, gap_mm=2)
    assert nested is not None

    assert (22, 10) == pytest.approx((nested.length_mm, nested.width_mm))


@pytest.mark.parametrize(
    "laid",
    [
        [Laid(0, 0.0, 0.0, 0.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 12.0, 0.0), Laid(0, 0.0, 24.0, 0.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 11.9, 0.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 5.0, 5.0)],
        [Laid(0, 0.0, 0.0, 0.0), Laid(0, 0.0, 12.0, 40.1)],
        [Laid(0, 0.0, 0.0, -0.1), Laid(0, 0.0, 12.0, 0.0)],
    ],
    ids=["one is missing", "one too many", "too near", "one on another", "over the far edge", "over the near edge"],
)
def test_invalid_results_are_rejected(laid: list[Laid]) -> None:
    """A result with a missing, overlapping or misplaced piece gives no nest."""
    assert verified_nest(TWO, laid, strip_mm=50, gap_mm=2) is None


def test_too_many_pieces_are_not_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """No search runs for more than the greatest number of pieces, nor for none."""
    monkeypatch.setattr(outline_nesting, "search", None)
    many = outline_nesting.MOST_PIECES + 1

    assert nest_outlines([Shape(outline=SQUARE, count=many)], strip_mm=50, gap_mm=2, turnable=True, budget_s=1) is None
    assert nest_outlines([Shape(outline=SQUARE, count=0)], strip_mm=50, gap_mm=2, turnable=True, budget_s=1) is None


def test_the_length_of_an_outline() -> None:
    """A square with sides of 10 mm has a perimeter of 40 mm."""
    assert 40 == perimeter_mm(SQUARE)


def test_a_search_without_a_valid_result_gives_no_nest(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is laid is checked, whatever the library says of it."""
    monkeypatch.setattr(outline_nesting, "search", lambda _: [])

    assert nest_outlines([Shape(outline=SQUARE, count=2)], strip_mm=50, gap_mm=2, turnable=True, budget_s=1) is None


def test_a_search_takes_as_long_as_it_may() -> None:
    """Its budget is by the clock, and it ends soon after."""
    begun = time.monotonic()
    nest_outlines([Shape(outline=TRIANGLE, count=48)], strip_mm=200, gap_mm=2, turnable=True, budget_s=1)

    assert time.monotonic() - begun < 10
