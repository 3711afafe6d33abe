from __future__ import annotations

import pytest
import shapely

from featherline_service.tracing import line
from featherline_service.tracing.refusal import RefusalError

FIELD = (0.0, 0.0, 240.0, 150.0)
NOTCHED = shapely.Polygon([(30, 30), (70, 30), (70, 50), (110, 50), (110, 30), (130, 30), (130, 90), (30, 90)])
ROUND = shapely.Point(80.0, 70.0).buffer(40.0, quad_segs=64)


def drawn(shape: shapely.Geometry, pen: float = 0.8) -> list[shapely.Polygon]:
    """Return what a round pen leaves along lines, as dark areas."""
    ink = shape.buffer(0.5 * pen, quad_segs=16)
    return [part for part in shapely.get_parts(ink) if isinstance(part, shapely.Polygon)]


@pytest.mark.parametrize("pen", [0.4, 0.8, 1.6])
@pytest.mark.parametrize("panel", [NOTCHED, ROUND], ids=["notched", "round"])
def test_the_outline_is_the_way_of_the_pens_middle(panel: shapely.Polygon, pen: float) -> None:
    """A panel with corners in and out, and a round one, come back to a tenth of a millimetre, whatever the pen."""
    traced = line.closed_line(drawn(panel.exterior, pen), FIELD)

    assert pytest.approx(pen, rel=0.05) == traced.width
    assert shapely.hausdorff_distance(panel.exterior, traced.outline.exterior.segmentize(0.2)) < 0.11


def test_a_blurred_corner_comes_back_sharp() -> None:
    """Where blur rounds the sharp edge of the line at a corner, the other edge, round as the pen, is followed."""
    (ink,) = drawn(NOTCHED.exterior, 1.0)
    blurred = ink.buffer(0.4).buffer(-0.8).buffer(0.4)

    traced = line.closed_line([blurred], FIELD)

    assert shapely.hausdorff_distance(NOTCHED.exterior, traced.outline.exterior.segmentize(0.2)) < 0.15


@pytest.mark.parametrize(
    ("ink", "told"),
    [
        ([], "no closed black line"),
        (drawn(shapely.LineString([(10, 10), (60, 10)])), "no closed black line"),
        (drawn(shapely.LineString(list(ROUND.exterior.coords)[:-4])), "is open: close its gaps"),
        (
            drawn(shapely.union_all([ROUND.exterior, shapely.LineString([(80, 30), (80, 110)])])),
            "crosses the panel from edge to edge",
        ),
        (
            drawn(shapely.union_all([ROUND.exterior, shapely.LineString([(120, 70), (131, 70)])])),
            "touches or crosses the panel's line",
        ),
        (drawn(ROUND.exterior) + drawn(ROUND.buffer(-3.0).exterior), "a second closed line lies within it"),
        (
            drawn(ROUND.exterior) + drawn(shapely.Point(180.0, 70.0).buffer(20.0).exterior),
            "trace one panel on each sheet",
        ),
        (
            drawn(shapely.union_all([ROUND.exterior, shapely.box(118.0, 60.0, 121.6, 80.0).exterior])),
            "is doubled in places",
        ),
        (drawn(shapely.Point(41.0, 70.0).buffer(40.0).exterior), "reaches the edge of the field"),
        (drawn(ROUND.exterior, 3.0), r"is 3\.0 mm wide"),
    ],
)
def test_what_is_not_one_closed_line_is_refused_with_the_cure(ink: list[shapely.Polygon], told: str) -> None:
    """Open, crossed, touched, doubled, twofold, cut off and too wide lines each get words of their own."""
    with pytest.raises(RefusalError, match=told):
        line.closed_line(ink, FIELD)
