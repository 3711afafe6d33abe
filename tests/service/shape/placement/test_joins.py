"""Panels are laid beside each other along their joins."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, affinity

from featherline_service.shape.placement.joins import joining

FLAG = MultiPolygon([Polygon([(0, 0), (10, 0), (10, 2), (4, 2), (4, 20), (0, 20)])])


def test_a_square_is_laid_beside_another() -> None:
    """The left edge of one square on the right edge of another: the squares share that edge and nothing else."""
    square = MultiPolygon([shapely.box(0, 0, 10, 10)])
    beside = joining(((10, 10), (10, 0)), ((0, 10), (0, 0)), mirrored=False).moved(square)
    assert (10.0, 0.0, 20.0, 10.0) == pytest.approx(beside.bounds)
    mirrored = joining(((0, 10), (0, 0)), ((0, 10), (0, 0)), mirrored=True).moved(square)
    assert (-10.0, 0.0, 0.0, 10.0) == pytest.approx(mirrored.bounds)


@given(*[st.tuples(st.floats(-50, 50), st.floats(-50, 50))] * 2, st.floats(-math.pi, math.pi), st.booleans())
def test_the_motion_that_moved_an_edge_is_recovered(
    end: tuple[float, float], shift: tuple[float, float], angle: float, mirrored: bool
) -> None:
    """An edge moved by shapely's own affine functions: the motion back takes the region to where it was."""
    edge = (end, (end[0] + 30.0, end[1] + 7.0))
    line, flag = shapely.LineString(edge), FLAG
    if mirrored:
        line, flag = (affinity.scale(it, -1.0, 1.0, origin=(0, 0)) for it in (line, flag))
    line, flag = (
        affinity.translate(affinity.rotate(it, angle, origin=(0, 0), use_radians=True), *shift) for it in (line, flag)
    )
    first, second = list(line.coords)
    back = joining(edge, (first, second), mirrored=mirrored).moved(flag)
    assert shapely.get_coordinates(FLAG) == pytest.approx(shapely.get_coordinates(back), abs=1e-9)


def test_edges_of_two_lengths_meet_in_their_middles() -> None:
    """A longer edge stands out alike at both ends."""
    line = MultiPolygon([shapely.box(0, 0, 1, 12)])
    beside = joining(((5, 0), (5, 10)), ((0, 0), (0, 12)), mirrored=False).moved(line)
    assert (5.0, -1.0, 6.0, 11.0) == pytest.approx(beside.bounds)
