"""Lines of a drawing, and the closed shapes that they make."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from featherline_service.messages.told import measured
from featherline_service.messages.values import Quantity
from featherline_service.shape.outlines.curves import DrawingError, refuse_points

Points = NDArray[np.float64]
Unit = Literal["mm", "cm", "in"]

MILLIMETRES: Final[dict[Unit, float]] = {"mm": 1.0, "cm": 10.0, "in": 25.4}
NAMES: Final[dict[Unit, str]] = {"mm": "millimetres", "cm": "centimetres", "in": "inches"}
TOLERANCE_MM: Final = 0.01
"""Of the chords of curves: less than a line's width, more than a cutter can follow."""
TOUCH_MM: Final = 0.05
"""Ends of lines no further apart than this are one point: what is drawn with two decimals in other units meets."""
MOST_LINES: Final = 2_000
LARGEST_MM: Final = 10_000.0
SAY_UNIT: Final = "or say in which unit the drawing is (`unit`)"


class Line(NamedTuple):
    """A line as it is drawn: its points [mm], y downwards, shape (n, 2), whether it is closed, and how it is marked.

    `names` are those of the groups or the layer that it lies in, and its own last.
    """

    points: Points
    closed: bool
    names: tuple[str, ...]
    red: bool


class Drawing(NamedTuple):
    """The lines of a drawing, and what is to be known of how it was read."""

    lines: tuple[Line, ...]
    cautions: tuple[str, ...]


class Ring(NamedTuple):
    """A closed shape [mm], y downwards, and how it is marked."""

    polygon: shapely.Polygon
    names: tuple[str, ...]
    red: bool


def is_red(colour: str) -> bool:
    """Tell whether a colour, as #rrggbb, is plainly red."""
    red, *others = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return red >= 150 and red >= 2 * max(others)  # noqa: PLR2004 - brighter than dark brown


def rings(lines: Sequence[Line]) -> tuple[Ring, ...]:
    """Return the closed shapes of a drawing: lines that are closed, and open ones whose ends meet.

    Raises:
        DrawingError: There are too many lines or points, a coordinate is no number or far away, a line is left open or
            crosses itself, or several meet in one point; the message says where.
    """
    if not lines:
        raise DrawingError(
            "panel-drawing.no-line", "The drawing has no line: draw the panel's outline as one closed line"
        )
    refuse_lines(len(lines))
    refuse_points(sum(len(line.points) for line in lines))
    corner = np.min([line.points.min(axis=0) for line in lines], axis=0)
    closed = [line for line in lines if line.closed or _apart(line.points[0], line.points[-1]) <= TOUCH_MM]
    kept = {id(line) for line in closed}
    by_mark: dict[tuple[tuple[str, ...], bool], list[Line]] = defaultdict(list)
    for line in lines:
        if id(line) not in kept:
            by_mark[line.names, line.red].append(line)
    for (names, red), parts in by_mark.items():
        closed += (Line(points, True, names, red) for points in _joined(parts, corner))
    return tuple(Ring(_polygon(line.points, corner), line.names, line.red) for line in closed)


def refuse_lines(count: int) -> None:
    """Raise `DrawingError` when a drawing has more than `MOST_LINES` lines."""
    if count > MOST_LINES:
        raise DrawingError(
            "panel-drawing.too-many-lines",
            "The drawing has more than {most_lines} lines: keep the panel alone",
            most_lines=MOST_LINES,
        )


def refuse_far(points: Points) -> None:
    """Raise `DrawingError` when a coordinate is no number, or further away than any panel [mm]."""
    if not np.abs(points).max(initial=0.0) <= LARGEST_MM:
        raise DrawingError(
            "panel-drawing.out-of-range",
            "The drawing reaches further than {largest}: move it to its origin, " + SAY_UNIT,
            largest=measured(LARGEST_MM / 1000, "m"),
        )


def place(point: Points, corner: Points) -> str:
    """Return where a point is, in words, from the top left corner of what is drawn."""
    x, y = (point - corner).tolist()
    return f"{x:.1f} mm from the left and {y:.1f} mm from the top of the drawing"


def _apart(one: Points, other: Points) -> float:
    return math.hypot(*(one - other).tolist())


def _polygon(points: Points, corner: Points) -> shapely.Polygon:
    if len(points) < 3 or shapely.multipoints(points).convex_hull.area < TOUCH_MM**2:  # noqa: PLR2004 - a triangle
        raise DrawingError(
            "panel-drawing.no-area",
            "A line {place} encloses no area: take it out, or draw a closed line",
            place=place(points[0], corner),
        )
    polygon = shapely.Polygon(points)
    if not polygon.is_valid:
        # GEOS says "Self-intersection[12.5 30]".
        at = np.array(shapely.is_valid_reason(polygon).partition("[")[2].rstrip("]").split(), dtype=np.float64)
        raise DrawingError(
            "panel-drawing.line-crosses",
            "A line crosses or touches itself {place}: draw it so that it runs around once",
            place=place(at, corner),
        )
    return polygon


def _joined(parts: Sequence[Line], corner: Points) -> Iterator[Points]:
    """Yield the closed lines that open ones make, end to end."""
    ends = np.concatenate([line.points[[0, -1]] for line in parts])
    at = shapely.points(ends)
    pairs = shapely.STRtree(at).query(at, predicate="dwithin", distance=TOUCH_MM)
    meets = np.bincount(pairs[0], minlength=len(ends))  # each end meets itself, too
    if (meets == 1).any():
        end = int(np.argmax(meets == 1))
        away = np.hypot(*(np.delete(ends, end, axis=0) - ends[end]).T).min()
        raise DrawingError(
            "panel-drawing.line-open",
            "A line ends {place}, and none goes on there (the next end is {away} away): close "
            "the line (in path data by Z), or take it out",
            place=place(ends[end], corner),
            away=Quantity(round(away, 2), "mm", 2),
        )
    if (meets > 2).any():  # noqa: PLR2004 - an end and the one that it meets
        end = int(np.argmax(meets > 2))  # noqa: PLR2004 - as above
        raise DrawingError(
            "panel-drawing.lines-meet",
            "More than two lines meet {place}: keep those of the shape's edge",
            place=place(ends[end], corner),
        )
    one, other = pairs[:, pairs[0] != pairs[1]]
    follows = dict(zip(one.tolist(), other.tolist(), strict=True))
    left = dict.fromkeys(range(len(parts)))
    while left:
        first, run = next(iter(left)), []
        start = 2 * first
        while start // 2 in left:
            del left[start // 2]
            points = parts[start // 2].points
            run.append(points[:-1] if start % 2 == 0 else points[:0:-1])
            start = follows[start ^ 1]
        yield np.concatenate(run)
