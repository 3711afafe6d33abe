"""What the log tells of records that are used outside their range."""

from __future__ import annotations

import pytest
from structlog.testing import capture_logs

from featherline_service.questions.record_ranges import ADVICE, Outside
from featherline_service.web.answering.range_notes import RangeNotes

BOOKS = ("sha256:0", "sha256:1")


def canvas(dwell_s: float) -> Outside:
    """Return a use of a material's limit in a pressing that takes so long."""
    return Outside("materials/canvas", "limit", dwell_s, 0.0, 60.0, "s")


def test_a_warning_tells_which_record_how_far_and_what_to_do() -> None:
    """With the revision of the book, so that the owner knows whether it is mended already."""
    with capture_logs() as lines:
        RangeNotes(BOOKS).note(1, [canvas(64.00049)])

    assert [
        {
            "event": "book.outside-range",
            "log_level": "warning",
            "record": "materials/canvas",
            "property": "limit",
            "value": 64.00049,
            "lowest": 0.0,
            "highest": 60.0,
            "beyond": 4.0,
            "unit": "s",
            "book": "sha256:1",
            "advice": ADVICE["limit"],
        }
    ] == lines


def test_a_record_is_told_once_and_again_where_it_is_twice_as_far_outside() -> None:
    """For each property and revision; records of other revisions are told by themselves."""
    notes = RangeNotes(BOOKS)
    sizes = Outside("materials/canvas", "sizes", 60.0, 0.0, 60.0, "EU")
    with capture_logs() as lines:
        for dwell_s in (64.0, 64.0, 68.0, 69.0, 78.0, 79.0):
            notes.note(0, [canvas(dwell_s)])
        notes.note(0, [sizes, sizes])
        notes.note(1, [canvas(64.0)])

    assert [
        ("limit", 4.0, "sha256:0"),
        ("limit", 9.0, "sha256:0"),
        ("limit", 19.0, "sha256:0"),
        ("sizes", 0.0, "sha256:0"),
        ("limit", 4.0, "sha256:1"),
    ] == [(line["property"], line["beyond"], line["book"]) for line in lines]


@pytest.mark.parametrize(("value", "beyond"), [(47.5, 0.5), (35.0, 1.0)])
def test_how_far_a_use_is_outside_counts_from_the_nearer_bound(value: float, beyond: float) -> None:
    """Above the highest, or below the lowest."""
    assert beyond == Outside("shoes/deck", "sizes", value, 36.0, 47.0, "EU").beyond
