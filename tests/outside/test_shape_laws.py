"""Laws of placement, and thousands of positive answers confirmed by an independent containment test."""

from __future__ import annotations

import math
import os
import random
import runpy
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, Polygon
from shapely.affinity import rotate, scale, translate

from featherline_service.book.loader import load
from featherline_service.shape.outlines import figures, footprints, text_outlines
from featherline_service.shape.outlines.svg import paths
from featherline_service.shape.placement import containment, largest_copy
from featherline_service.shape.placement.containment import FreeArea, Pose

CHECK = runpy.run_path(str(Path(__file__).with_name("shape_containment.py")))
contradicts, sides = CHECK["contradicts"], CHECK["sides"]
YES = int(os.environ.get("PLACER_YES", "2000"))
"""Number of positive answers that are confirmed."""
# A yes may be wrong by the rounding of coordinates that `fits` allows, and by that of the sums here.
ROUNDING_MM = 2.0 * containment.ROUNDING_MM
CLEARANCES = (0.0, 0.5, 1.0, 3.0)
PANELS = (
    ("regatta-deck", "outer-quarter"), ("court-trainer", "toe"), ("turf-boot", "inner-quarter"),
    ("ward-clog", "outer-side"), ("quay-sandal", "instep-strap"), ("minnow-trainer", "outer-quarter"),
    ("gala-glossy", "vamp"), ("yard-boot", "outer-quarter"),
)  # fmt: skip


def area_of(shoe: str, panel: str) -> FreeArea:
    """Return the free area of a panel of the demo book at its reference size, its curves flattened to 0.05 mm."""
    found = next(each for each in load().shoes[shoe].panels if each.id == panel)
    keep_outs = tuple((one.what, paths.region(one.d, "nonzero", 0.05)) for one in found.keep_outs)
    return containment.free_area(paths.region(found.outline, "nonzero", 0.05), keep_outs)


def artworks() -> Iterator[MultiPolygon]:
    """Yield artwork of a millimetre's size: texts, a ring, a star, an arrow, in parts and as hulls."""
    face = text_outlines.typeface(load().font_files["bold"])
    for text in ("7", "OK", "AV\n80"):
        figure = figures.of_text(face, text)
        yield shapely.transform(figure.drawn(0), lambda points, size=figure.height: points / size)
    ring = Point(0, 0).buffer(0.5, 8).difference(Point(0, 0).buffer(0.38, 8))
    yield MultiPolygon([ring])
    yield MultiPolygon([ring, Point(0, 0).buffer(0.2, 4)])
    turns = np.arange(10) * math.pi / 5.0
    reach = np.where(np.arange(10) % 2, 0.2, 0.5)
    yield MultiPolygon([Polygon(np.column_stack([reach * np.sin(turns), reach * np.cos(turns)]))])
    head = [(0.1, -0.1), (0.1, -0.3), (0.5, 0.0), (0.1, 0.3), (0.1, 0.1)]
    arrow = MultiPolygon([Polygon([(-0.5, -0.1), *head, (-0.5, 0.1)])])
    yield arrow
    yield footprints.footprint_of(arrow, "hull")
    yield MultiPolygon([shapely.box(-0.5, -0.2, -0.1, 0.2), shapely.box(0.2, -0.1, 0.5, 0.1)])


@pytest.mark.slow
def test_thousands_of_times_yes_is_never_false() -> None:
    """Of random poses and sizes, and of each one as near as it can be, every yes is confirmed by exact predicates.

    Vertices, and samples 0.9 mm apart, lie inside by crossing numbers of exact sign; no sides cross, no vertex of the
    boundary lies in the artwork, and none is nearer than the clearance.
    """
    draw = random.Random(2026)  # noqa: S311 - poses, not secrets
    areas = [area_of(*names) for names in PANELS]
    boundaries = [sides(area.region) for area in areas]
    drawn = list(artworks())
    said_yes = tight = asked = 0
    while said_yes < YES:
        index = draw.randrange(len(areas))
        area, boundary = areas[index], boundaries[index]
        left, low, right, high = area.region.bounds
        pose = Pose(draw.uniform(left, right), draw.uniform(low, high), draw.uniform(-math.pi, math.pi))
        if not shapely.contains_xy(area.region, pose.x, pose.y) and draw.random() < 0.8:
            continue
        placed = containment.place(draw.choice(drawn), pose, 1.5 ** draw.uniform(1.0, 9.0))
        asked += 1
        clearance = draw.choice(CLEARANCES)
        if containment.fits(area, placed, clearance):
            said_yes += 1
            assert contradicts(boundary, placed, clearance, ROUNDING_MM) is None
            if draw.random() < 0.3 and (nearest := containment.room(area, placed).clearance) > clearance:
                tight += 1
                said_yes += 1
                assert containment.fits(area, placed, nearest)
                assert contradicts(boundary, placed, nearest, ROUNDING_MM) is None
    # Neither did it say yes to all, nor to what has room to spare alone.
    assert asked > 1.5 * (said_yes - tight)
    assert tight > 0.1 * YES


def test_the_check_finds_what_is_wrong() -> None:
    """Artwork over the edge, across a seam, around an eyelet, and too near the edge is contradicted."""
    seam, eyelet = shapely.box(18, -1, 19, 21), Point(40, 10).buffer(2.0)
    area = containment.free_area(
        MultiPolygon([shapely.box(0, 0, 60, 20)]), (("seam", MultiPolygon([seam])), ("eyelets", MultiPolygon([eyelet])))
    )
    boundary = sides(area.region)

    def why(art: Polygon, clearance: float) -> str | None:
        return contradicts(boundary, MultiPolygon([art]), clearance, ROUNDING_MM)

    assert "sample" in str(why(shapely.box(2, 2, 10, 25), 1.0))
    assert "sample" in str(why(shapely.box(10, 8, 30, 12), 1.0))
    assert "sample" in str(why(shapely.box(10, 8, 30, 12), 0.0))
    assert "boundary lies in" in str(why(shapely.box(30, 5, 50, 15), 1.0))
    assert "too near" in str(why(shapely.box(2, 2, 10, 10), 2.1))
    assert why(shapely.box(2, 2, 10, 10), 2.0) is None


ART = MultiPolygon([Polygon([(0, 0), (20, 0), (20, 6), (6, 6), (6, 12), (0, 12)])])
QUARTER = Polygon([(0, 0), (110, 0), (121, 20), (105, 60), (60, 50), (20, 58), (2, 40)])
HOLES = (Point(88, 44).buffer(3, 8), Point(30, 20).buffer(4, 8))


def quarter(grow: float = 1.0, turn: float = 0.0, shrink: float = 0.0) -> FreeArea:
    """Return a panel with two eyelets, scaled, turned by degrees and drawn in."""

    def moved(shape: Polygon) -> MultiPolygon:
        return MultiPolygon([scale(rotate(shape, turn, origin=(0, 0)), grow, grow, origin=(0, 0))])

    return containment.free_area(moved(QUARTER.buffer(-shrink)), tuple(("eyelets", moved(hole)) for hole in HOLES))


def searched(area: FreeArea, art: MultiPolygon = ART, clearance: float = 2.0) -> float:
    """Return the scale of the largest copy found at any rotation."""
    found = largest_copy.largest_copy(area, art, clearance)
    assert found is not None
    assert (
        contradicts(sides(area.region), containment.place(art, found.pose, found.scale), clearance, ROUNDING_MM) is None
    )
    return found.scale


@settings(max_examples=6, deadline=None)
@given(turn=st.floats(0, 360), grow=st.floats(0.5, 3.0))
def test_a_search_turned_and_scaled_finds_the_same(turn: float, grow: float) -> None:
    """Turning or scaling panel and artwork together keeps the largest scale to 2 parts in 100."""
    art = MultiPolygon([rotate(scale(part, grow, grow, origin=(0, 0)), turn, origin=(0, 0)) for part in ART.geoms])

    assert pytest.approx(searched(quarter()), rel=0.02) == searched(quarter(grow, turn), art, 2.0 * grow)


@settings(max_examples=6, deadline=None)
@given(shrink=st.floats(0.0, 4.0, allow_subnormal=False), more=st.floats(0.0, 4.0))
def test_a_search_finds_no_more_on_less(shrink: float, more: float) -> None:
    """Shrinking the panel, or asking for more clearance, raises the scale found by at most a part in 100."""
    whole = searched(quarter())

    assert searched(quarter(shrink=shrink)) <= 1.01 * whole
    assert searched(quarter(), clearance=2.0 + more) <= 1.01 * whole


def test_a_search_finds_no_more_for_more() -> None:
    """A larger footprint has no larger copy: a ring can surround an eyelet, its disc cannot."""
    round_it = Point(0, 0).buffer(10, 16).difference(Point(0, 0).buffer(8, 16))
    ring = MultiPolygon([round_it, translate(Point(0, 0).buffer(3), 18)])

    exact, filled, hull = (
        searched(quarter(), footprints.footprint_of(ring, kind)) for kind in ("exact", "filled", "hull")
    )

    assert 1.01 * exact >= filled
    assert 1.01 * filled >= hull
