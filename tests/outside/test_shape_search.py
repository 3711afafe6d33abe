"""The search for the largest copy against a slow and simple one whose results are stored."""

from __future__ import annotations

import json
import runpy
from pathlib import Path

import pytest
from draws import sample

from featherline_service.shape.placement import containment, largest_copy

SCRIPT = Path(__file__).with_name("shape_search_reference.py")


@pytest.mark.slow
def test_found_copies_are_as_large_as_those_of_a_slow_search() -> None:
    """The copy found is at least 0.99 of the slow search's on 95 % of the pairs, and at least 0.97 on all."""
    script = runpy.run_path(str(SCRIPT))
    stored = json.loads(SCRIPT.with_suffix(".json").read_text())

    shares = []
    for row in sample(stored):
        outline, keep_outs = script["panel"](row["panel"])
        area = containment.free_area(outline, () if keep_outs is None else (("seam", keep_outs),))
        drawn = script["artwork"](row["artwork"])
        found = largest_copy.largest_copy(area, drawn, script["CLEARANCE_MM"], 0.0, script["TURNS"][row["turn"]])
        assert found is not None, row
        assert containment.fits(area, containment.place(drawn, found.pose, found.scale), script["CLEARANCE_MM"]), row
        shares.append(found.scale / row["height_mm"])

    assert len(list(script["pairs"]())) == len(stored) >= 60
    assert min(shares) >= 0.97
    assert sum(share >= 0.99 for share in shares) >= 0.95 * len(shares)
