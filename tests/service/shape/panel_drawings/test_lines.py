from __future__ import annotations

import numpy as np
import pytest

from featherline_service.shape.outlines.curves import MOST_POINTS, DrawingError
from featherline_service.shape.panel_drawings import lines
from featherline_service.shape.panel_drawings.lines import Line


def drawn(*points: tuple[float, float], closed: bool = False, names: tuple[str, ...] = (), red: bool = False) -> Line:
    """Return a line through points."""
    return Line(np.array(points, dtype=np.float64), closed, names, red)


def test_open_lines_whose_ends_meet_are_one_shape() -> None:
    """Whichever way each was drawn, and if their ends are a fortieth of a millimetre apart."""
    parts = (
        drawn((0, 0), (90, 0)),
        drawn((0, 40), (0, 0.025)),
        drawn((90, 40), (90, 0)),
        drawn((90, 40), (50, 40), (0, 40)),
    )

    (ring,) = lines.rings(parts)

    assert pytest.approx(3_600.0, abs=1.5) == ring.polygon.area
    assert 6 == len(ring.polygon.exterior.coords)


def test_lines_join_their_like_alone() -> None:
    """A red shape and a black one that share a corner are two; each keeps how it is marked."""
    black = (drawn((0, 0), (90, 0), (90, 40)), drawn((90, 40), (0, 0)))
    red = (drawn((90, 40), (95, 40), (95, 45), (90, 40), names=("seam",), red=True),)

    assert [((), False, 1_800.0), (("seam",), True, 12.5)] == sorted(
        (ring.names, ring.red, ring.polygon.area) for ring in lines.rings((*black, *red))
    )


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        ((), "has no line"),
        ((drawn((5, 5), (95, 5), (95, 45)),), "ends 0.0 mm from the left and 0.0 mm from the top of the drawing"),
        ((drawn((0, 0), (9, 0), (9, 9), (0, 0.3)),), r"the next end is 0.30 mm away\): close the line"),
        (
            (drawn((0, 0), (9, 0)), drawn((9, 0), (0, 0)), drawn((9, 0), (9, 9)), drawn((9, 9), (9, 0))),
            "More than two lines meet 9.0 mm from the left and 0.0 mm from the top",
        ),
        (
            (drawn((10, 10), (20, 20), (20, 10), (10, 20), closed=True),),
            "crosses or touches itself 5.0 mm from the left and 5.0 mm from the top",
        ),
        ((drawn((0, 0), (9, 0), (4, 0), closed=True),), "encloses no area"),
        ((drawn((0, 0), (9, 0), closed=True),), "encloses no area"),
        ((drawn((0, 0), (9, 0), (9, 9), closed=True),) * 2_001, "more than 2000 lines"),
        ((drawn(*[(0, 0)] * (MOST_POINTS + 1), closed=True),), "more than 30000 points"),
    ],
)
def test_lines_that_are_no_shapes_are_refused(parts: tuple[Line, ...], told: str) -> None:
    """The message says where, from the top left of what is drawn, and what to do."""
    with pytest.raises(DrawingError, match=told):
        lines.rings(parts)


@pytest.mark.parametrize("value", [10_001.0, -1e300, float("nan"), float("inf")])
def test_what_is_far_away_or_no_number_is_refused(value: float) -> None:
    """The limit is ten metres, beyond any panel and any origin that it is drawn at."""
    lines.refuse_far(np.array([[0.0, 10_000.0]]))
    with pytest.raises(DrawingError, match="further than 10 m"):
        lines.refuse_far(np.array([[0.0, value]]))


def test_red_is_told_from_other_colours() -> None:
    """Dark brown, orange, pink and black are not red."""
    assert [True, True, True] == [lines.is_red(colour) for colour in ("#ff0000", "#c02020", "#e53935")]
    assert [False] * 4 == [lines.is_red(colour) for colour in ("#7f2a12", "#ff9800", "#ffc0cb", "#000000")]
