from __future__ import annotations

import pytest
import shapely

from featherline_service.tracing.sheet import (
    BAR_WIDE_MM,
    CROSS_ARM_MM,
    CROSS_EVERY_MM,
    EDGE_MM,
    MARK_MM,
    MARKS,
    SHEETS,
    Sheet,
)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.paper)
def test_nothing_on_a_sheet_lies_over_something_else(sheet: Sheet) -> None:
    """Marks, bars, field and crosses keep clear of one another and of what printers leave white at the edge."""
    marks = [shapely.box(x, y, x + MARK_MM, y + MARK_MM) for x, y in sheet.marks]
    half = 0.5 * BAR_WIDE_MM
    (left, right, y), (top, bottom, x) = sheet.along, sheet.across
    bars = [shapely.box(left, y - half, right, y + half), shapely.box(x - half, top, x + half, bottom)]
    field = shapely.box(*sheet.field)
    parts = [*marks, *bars, field]

    assert MARKS == len(marks)
    assert all(one.distance(other) > 1.5 for number, one in enumerate(parts) for other in parts[:number])
    assert shapely.box(EDGE_MM, EDGE_MM, sheet.width - EDGE_MM, sheet.height - EDGE_MM).covers(shapely.union_all(parts))
    assert field.buffer(-CROSS_ARM_MM).covers(shapely.MultiPoint(sheet.crosses))
    assert pytest.approx(CROSS_EVERY_MM) == sheet.crosses[1][0] - sheet.crosses[0][0]


def test_the_papers_are_those_of_the_standards() -> None:
    """A4 is 297 x 210 mm (ISO 216), Letter 11 x 8.5 in (ANSI/ASME Y14.1); both lie, and their marks differ."""
    assert [("a4", 297.0, 210.0, 0), ("letter", 11 * 25.4, 8.5 * 25.4, MARKS)] == [
        (sheet.paper, sheet.width, pytest.approx(sheet.height), sheet.first) for sheet in SHEETS
    ]
