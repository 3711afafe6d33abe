"""Nests of whole rosters against the shortest of a random search of one minute each.

`cost_nesting_search.json` is the raw output of `cost_nesting_search.py`, which shares no code with the service.
"""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import shapely

from featherline_service.cost.nesting.rectangles import nest

SEARCH = json.loads((Path(__file__).parent / "cost_nesting_search.json").read_text(encoding="utf-8"))
ROSTERS = pytest.mark.parametrize("roster", SEARCH["rosters"], ids=lambda roster: f"roster-{roster['seed']}")


@ROSTERS
def test_a_roster_is_at_most_three_percent_longer_than_the_best_found(roster: dict[str, Any]) -> None:
    """120 pieces are at most 3 % longer than the best of the search, and no shorter than their area."""
    sizes = [(width, height) for width, height in roster["sizes_mm"]]
    strip, gap = SEARCH["strip_mm"], SEARCH["gap_mm"]
    found = nest(sizes, strip_mm=strip, gap_mm=gap, turnable=True)
    least = sum((width + gap) * (height + gap) for width, height in sizes) / (strip + gap) - gap

    assert len(sizes) == 120
    assert least <= found.length_mm <= 1.03 * roster["shortest_mm"]


@ROSTERS
def test_a_rosters_pieces_keep_their_distance(roster: dict[str, Any]) -> None:
    """All pieces lie on the strip and every two are a gap apart, measured by shapely."""
    sizes = [(width, height) for width, height in roster["sizes_mm"]]
    strip, gap = SEARCH["strip_mm"], SEARCH["gap_mm"]
    found = nest(sizes, strip_mm=strip, gap_mm=gap, turnable=True)
    boxes = [
        shapely.box(one.x_mm, one.y_mm, one.x_mm + one.width_mm, one.y_mm + one.height_mm) for one in found.positions
    ]
    first, second = zip(*combinations(boxes, 2), strict=True)
    least_x, least_y, most_x, most_y = shapely.union_all(boxes).bounds

    assert shapely.distance(first, second).min() >= gap - 1e-7
    assert min(least_x, least_y) >= 0
    assert most_x <= strip + 1e-7
    assert most_y <= found.length_mm + 1e-7
    for one in found.positions:
        assert sorted(sizes[one.index]) == pytest.approx(sorted((one.width_mm, one.height_mm)))
