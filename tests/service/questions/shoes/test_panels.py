from __future__ import annotations

import msgspec
import pytest
import shapely
from msgspec.structs import replace

from featherline.wire.records import Panel
from featherline_service.book.shop_book import Book
from featherline_service.questions.shoes.panels import panel_area


def eyelets(panel: Panel, along: float, around: float) -> list[tuple[float, float, float, float]]:
    """Return the boxes of the eyelets of a panel that has grown."""
    only = replace(panel, keep_outs=tuple(one for one in panel.keep_outs if one.what == "eyelets"))
    _, area, _ = panel_area(only, along, around)
    return [tuple(part.bounds) for part in shapely.get_parts(shapely.union_all([b for _, b in area.barriers[1:]]))]


def test_eyelets_keep_their_size_as_the_panel_grows(book: Book) -> None:
    """In a shoe a tenth longer the eyelets are as large, and their centres a tenth farther from the panel's origin."""
    panel = next(one for one in book.shoes["regatta-deck"].panels if one.id == "outer-quarter")

    small, large = eyelets(panel, 1.0, 1.0), eyelets(panel, 1.1, 1.05)

    for before, after in zip(sorted(small), sorted(large), strict=True):
        assert pytest.approx((before[2] - before[0], before[3] - before[1])) == (
            after[2] - after[0],
            after[3] - after[1],
        )
        assert pytest.approx((1.1 * (before[0] + before[2]), 1.05 * (before[1] + before[3]))) == (
            after[0] + after[2],
            after[1] + after[3],
        )


def test_a_saddle_can_be_said_and_a_radius_of_zero_cannot(book: Book) -> None:
    """A panel may have radii of opposite signs; none of zero."""
    panel = msgspec.to_builtins(next(iter(book.shoes["regatta-deck"].panels)))

    saddle = msgspec.convert({**panel, "radius_along_mm": 60.0, "radius_across_mm": -80.0}, Panel)

    assert -80.0 == saddle.radius_across_mm
    with pytest.raises(msgspec.ValidationError, match="not zero"):
        msgspec.convert({**panel, "radius_along_mm": 0.0}, Panel)
