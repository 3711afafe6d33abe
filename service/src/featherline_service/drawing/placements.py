"""Placement drawing: a panel with its keep-outs, and the artwork on it, at true scale or smaller.

Figures and labels are placed so that none overlaps another and none leaves the sheet, whatever the sizes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import pairwise
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
from shapely import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from featherline_service.drawing.hatching import Hatch, hatched
from featherline_service.drawing.scene import (
    ASCENT,
    BLACK,
    DESCENT,
    GREY,
    MARGIN,
    PALE,
    SMALL,
    TEXT,
    WHITE,
    Anchor,
    Box,
    Ink,
    Scene,
    Shape,
    Words,
    arrow_head,
    box,
    box_around,
    boxes_overlap,
    contours,
    fitted,
    heading,
    line,
    nearest_in,
    room_for,
    strokes,
    without_minus_zero,
    words_box,
)

Shoe = Literal["left", "right"]
Ends = tuple[tuple[float, float], tuple[float, float]]
"""Begin and end of a straight line [mm]."""

_KEEP_OUTS: Final[dict[str, tuple[str, Hatch]]] = {
    "eyelets": ("eyelets", Hatch((45.0, 135.0), 0.9)),
    "seam": ("seam", Hatch((135.0,), 1.0)),
    "perforation": ("perforation", Hatch((), 1.2)),
    "old-mark": ("old mark", Hatch((0.0,), 1.0)),
    "featherline": ("featherline", Hatch((45.0,), 1.5)),
    "collar": ("collar", Hatch((90.0,), 1.3)),
    "toe-cap": ("toe cap", Hatch((0.0, 90.0), 1.6)),
}
"""Name and hatching of each kind of keep-out."""
_MARKS: Final = (
    Hatch((20.0,), 0.7),
    Hatch((110.0,), 0.7),
    Hatch((), 0.9),
    Hatch((20.0, 110.0), 1.1),
)
"""Hatchings of further marks, on top of their colours; the artwork itself has none."""

_SMALL_MARGIN: Final = 1.0
_CHAIN: Final = 4.5
"""[mm] Distance of a chain of dimensions from the drawing, or from the chain inside it."""
_FIGURE_GAP: Final = 1.3
_APART: Final = 0.8
"""[mm] Least distance between two figures of a chain."""
_CLEAR: Final = 0.4
"""[mm] Least distance between two labels."""
_NARROWEST_SHEET: Final = 112.0
_LEAST_SEGMENT: Final = 0.05
_LEAST_ROOM: Final = 4.0
"""[mm2] On the sheet: dashes around less room than this look like a speck."""
_ROW: Final = 5.6
_TOE_ARROW: Final = 10.0
"""[mm] Length of the arrow to the toe with the gap before its word."""
_SWATCH: Final = (7.0, 3.8)
_LEGEND_GAP: Final = 6.0
_HALO: Final = 0.55
_OVER: Final = Hatch((60.0,), 1.1)
_DASH: Final = (1.6, 1.0)
_COUNTED_DASH: Final = (0.5, 0.7)
_PLAIN_UPPER: Final = "#ececec"
_PLAIN_FILM: Final = "#9a9a9a"
_DIRECTIONS: Final = 16
_FURTHEST_RING: Final = 24
_RING: Final = 1.5
_HALF_STEPS: Final = {"mm": 0.05, "in": 0.127}
"""[mm] Half of the last digit of a length in words, by the unit."""


class Mark(NamedTuple):
    """A further mark on the panel, at its place in the panel's millimetres, y upwards.

    A `backing` lies under the artwork, any other mark beside or over it. `label` names it in the drawing, such as the
    number of its placement. `rotation_deg` and `directional` as in `Placed`.
    """

    artwork: MultiPolygon
    film: str
    film_colour: str | None = None
    backing: bool = False
    label: str = ""
    rotation_deg: float = 0.0
    directional: bool = False


class Ways(NamedTuple):
    """Words for where the toe is, and for each shoe of the pair."""

    toe: str = "toe"
    left: str = "left shoe"
    right: str = "right shoe"


class Placed(NamedTuple):
    """Content of a placement drawing. Geometry is in millimetres, y upwards.

    `counted` is the region of the artwork that counts against edges and keep-outs. `measured` are the ends of the ruler
    that places the artwork by an edge, or None. `lines` stand under the title. `film` and `upper` are words for the
    legend, with colours or None where unknown. `toe` tells whether the panel's right end points to the toe (left if
    `mirrored`). `free` is the clearance in figures; empty, it is measured in the drawing and rounded down. `say` gives
    a length [mm] as figures in the caller's unit, named `unit`; `rule` is the length [mm] of the rule that checks the
    print, its steps [mm], and its words.

    `marks` are further marks, from the bottom up; `label` names the artwork among them. `shoe` is the shoe of the pair
    that the geometry is of, None if it does not matter. `rotation_deg` is how far the artwork is turned
    counter-clockwise; `directional` artwork is mirrored with the panel on the other shoe, any other reads the same.
    `ways` are words that the drawing has in it.
    """

    name: str
    title: str
    lines: tuple[str, ...]
    description: str
    panel: MultiPolygon
    keep_outs: tuple[tuple[str, BaseGeometry], ...]
    artwork: MultiPolygon
    counted: MultiPolygon
    measured: Ends | None
    clearance: float
    film: str
    film_colour: str | None
    upper: str
    upper_colour: str | None
    toe: bool
    free: str
    say: Callable[[float], str]
    unit: str
    rule: tuple[float, float, str]
    marks: tuple[Mark, ...] = ()
    label: str = ""
    shoe: Shoe | None = None
    rotation_deg: float = 0.0
    directional: bool = False
    mirrored: bool = False
    ways: Ways = Ways()


class _Frame(NamedTuple):
    """Boxes on the sheet [mm]: of panel, artwork and marks together, of the panel, of the artwork."""

    all: Box
    panel: Box
    artwork: Box


class _Outline(NamedTuple):
    """Boxes and lines of a placement [mm], y upwards: all that the layout of its figures needs."""

    all: Box
    panel: Box
    artwork: Box
    marks: tuple[tuple[str, Box], ...]
    nearest: Ends | None
    measured: Ends | None


def draw(placed: Placed, shoe: Shoe | None = None) -> Scene:
    """Return the placement drawing at true scale, with words, dimensions and a legend.

    The artwork has its film's colour with a dark and a white edge, so that it shows on any upper and in print without
    colour; keep-outs and further marks are told apart by their hatching. Dimensions are those of the artwork's box and
    its distances from the ends of the panel.

    Args:
        placed: the content.
        shoe: the shoe to draw; None: the one that the geometry is of.

    Raises:
        ValueError: as `on_shoe`.
    """
    placed = on_shoe(placed, shoe)
    labels = tuple(_labels(placed, _outline(placed), 1.0, tiers=2))
    left, top, right, bottom = _extent(labels, placed, 1.0)
    on_sheet = _scaled(placed, 1.0)
    rule, _, rule_words = placed.rule
    width = max(_NARROWEST_SHEET, right - left + 2.0 * MARGIN, rule + 3.0 + room_for(rule_words, SMALL) + 2.0 * MARGIN)
    title = tuple(heading(placed.title, placed.lines, width - 2.0 * MARGIN))
    head = title[-1].y + TEXT
    body = _moved((*_drawn(on_sheet), *labels), MARGIN - left, head - top)
    legend, end = _legend(placed, _legend_entries(on_sheet), head + bottom - top + 4.0, width)
    return Scene(placed.name, placed.title, placed.description, width, end + MARGIN, (*title, *body, *legend))


def draw_small(placed: Placed, scale: float) -> Scene:
    """Return the placement drawing at a scale, without title and legend, its figures as large as at true scale.

    Args:
        placed: the content.
        scale: scale of the geometry; figures give true lengths.
    """
    labels = tuple(_labels(placed, _outline(placed), scale, tiers=1))
    left, top, right, bottom = _extent(labels, placed, scale)
    body = _moved((*_drawn(_scaled(placed, scale)), *labels), _SMALL_MARGIN - left, _SMALL_MARGIN - top)
    width, height = right - left + 2.0 * _SMALL_MARGIN, bottom - top + 2.0 * _SMALL_MARGIN
    return Scene(placed.name, placed.title, placed.description, width, height, body)


def largest_scale(placed: Placed, width: float, height: float, scales: Sequence[float]) -> float | None:
    """Return the first of some scales at which `draw_small` fits a room [mm], or None."""
    outline = _outline(placed)
    for scale in scales:
        wide, high = _size(placed, outline, scale)
        if wide <= width and high <= height:
            return scale
    return None


def scale_to_fit(placed: Placed, width: float, height: float) -> float:
    """Return the largest scale at which `draw_small` fits a room [mm], to a ten-thousandth of it."""
    outline = _outline(placed)
    left, low, right, high = outline.all
    fits, too_large = 0.0, 1.1 * min(width / (right - left), height / (high - low))
    while too_large - fits > 1e-4 * too_large:
        scale = 0.5 * (fits + too_large)
        wide, tall = _size(placed, outline, scale)
        fits, too_large = (scale, too_large) if wide <= width and tall <= height else (fits, scale)
        if too_large < 1e-4:  # noqa: PLR2004 - the figures alone are larger than the room
            return too_large
    return fits


def on_shoe(placed: Placed, shoe: Shoe | None) -> Placed:
    """Return a placement on a shoe of the pair: on the other one the panel is mirrored, and letters still read.

    Artwork that is not directional is at the mirrored place, turned the other way.

    Raises:
        ValueError: the other shoe is asked for and `placed.shoe` is not known.
    """
    if shoe is None or shoe == placed.shoe:
        return placed
    if placed.shoe is None:
        raise ValueError(f"The {shoe} shoe cannot be drawn: it is not known which shoe the panel is of")

    def there(region: BaseGeometry) -> BaseGeometry:
        return shapely.transform(region, lambda points: points * (-1.0, 1.0))

    pivot = _middle(placed.artwork, placed.rotation_deg)

    def art(region: MultiPolygon) -> MultiPolygon:
        return there(region) if placed.directional else _reading(region, pivot, placed.rotation_deg)

    return placed._replace(
        panel=there(placed.panel),
        keep_outs=tuple((what, there(region)) for what, region in placed.keep_outs),
        artwork=art(placed.artwork),
        counted=art(placed.counted),
        measured=None if placed.measured is None else _ends(there(LineString(placed.measured))),
        free="",
        marks=tuple(
            mark._replace(
                artwork=there(mark.artwork)
                if mark.directional
                else _reading(mark.artwork, _middle(mark.artwork, mark.rotation_deg), mark.rotation_deg),
                rotation_deg=-mark.rotation_deg,
            )
            for mark in placed.marks
        ),
        shoe=shoe,
        rotation_deg=-placed.rotation_deg,
        mirrored=not placed.mirrored,
    )


def _middle(artwork: MultiPolygon, rotation_deg: float) -> tuple[float, float]:
    """Return the middle of the box that artwork has before it is turned."""
    turned_back = _turned(artwork, (0.0, 0.0), -rotation_deg)
    left, low, right, high = turned_back.bounds
    ((x, y),) = shapely.get_coordinates(
        _turned(shapely.points(0.5 * (left + right), 0.5 * (low + high)), (0.0, 0.0), rotation_deg)
    ).tolist()
    return x, y


def _reading(region: MultiPolygon, pivot: tuple[float, float], rotation_deg: float) -> MultiPolygon:
    """Return a region turned about a point to the other side, the point moved to its mirror image."""
    turned = _turned(region, pivot, -2.0 * rotation_deg)
    return shapely.transform(turned, lambda points: points - (2.0 * pivot[0], 0.0))


def _turned(region: BaseGeometry, pivot: tuple[float, float], degrees: float) -> BaseGeometry:
    cosine, sine = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    turn = np.array([(cosine, sine), (-sine, cosine)])
    return shapely.transform(region, lambda points: (points - pivot) @ turn + pivot)


def _scaled(placed: Placed, scale: float) -> Placed:
    """Return a placement on the sheet, y downwards; `say` still gives true lengths."""

    def there(region: BaseGeometry) -> BaseGeometry:
        return shapely.transform(region, lambda points: points * (scale, -scale))

    return placed._replace(
        panel=there(placed.panel),
        keep_outs=tuple((what, there(shapely.intersection(part, placed.panel))) for what, part in placed.keep_outs),
        artwork=there(placed.artwork),
        counted=there(placed.counted),
        measured=None if placed.measured is None else _ends(there(LineString(placed.measured))),
        clearance=scale * placed.clearance,
        say=lambda length: placed.say(length / scale),
        marks=tuple(mark._replace(artwork=there(mark.artwork)) for mark in placed.marks),
    )


def _outline(placed: Placed) -> _Outline:
    whole = shapely.union_all([placed.panel, placed.artwork, *(mark.artwork for mark in placed.marks)])
    free = _free(placed)
    nearest = None
    if not free.is_empty and shapely.covers(free, placed.counted):
        nearest = _ends(shapely.shortest_line(placed.counted, free.boundary))
    marks = [(placed.label, placed.artwork.bounds), *((mark.label, mark.artwork.bounds) for mark in placed.marks)]
    return _Outline(whole.bounds, placed.panel.bounds, placed.artwork.bounds, tuple(marks), nearest, placed.measured)


def _size(placed: Placed, outline: _Outline, scale: float) -> tuple[float, float]:
    """Return width and height [mm] of the small drawing at a scale."""
    left, top, right, bottom = _extent(tuple(_labels(placed, outline, scale, tiers=1)), placed, scale)
    return right - left + 2.0 * _SMALL_MARGIN, bottom - top + 2.0 * _SMALL_MARGIN


def _extent(labels: Sequence[Shape | Words], placed: Placed, scale: float) -> Box:
    """Return the box around the labels and the drawing on the sheet."""
    boxes = [
        words_box(item) if isinstance(item, Words) else _box_of(np.concatenate(item.contours))
        for item in labels
        if isinstance(item, Words) or item.contours
    ]
    drawn = (placed.panel, placed.artwork, *(mark.artwork for mark in placed.marks))
    boxes += [_on_sheet(region.bounds, scale) for region in drawn]
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return min(lefts), min(tops), max(rights), max(bottoms)


def _box_of(points: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> Box:
    (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left, top, right, bottom


def _on_sheet(bounds: Box, scale: float) -> Box:
    """Return a box in the panel's millimetres, y upwards, as a box on the sheet."""
    left, low, right, high = bounds
    return scale * left, -scale * high, scale * right, -scale * low


def _line_on_sheet(ends: Ends, scale: float) -> Ends:
    (x, y), (to_x, to_y) = ends
    return (scale * x, -scale * y), (scale * to_x, -scale * to_y)


def _moved(items: Sequence[Shape | Words], right: float, down: float) -> tuple[Shape | Words, ...]:
    """Return items moved by a distance [mm]."""
    return tuple(
        item._replace(x=item.x + right, y=item.y + down)
        if isinstance(item, Words)
        else item._replace(contours=tuple(points + np.array((right, down)) for points in item.contours))
        for item in items
    )


def _drawn(placed: Placed) -> Iterator[Shape]:
    yield from _panel(placed)
    yield from _clearance(placed)
    for number, mark in enumerate(placed.marks):
        if mark.backing:
            yield from _mark(mark, number)
    yield from _artwork(placed)
    for number, mark in enumerate(placed.marks):
        if not mark.backing:
            yield from _mark(mark, number)
    yield from _trespass(placed)


def _panel(placed: Placed) -> Iterator[Shape]:
    yield Shape("panel", contours(placed.panel), Ink(fill=placed.upper_colour or _PLAIN_UPPER))
    for what, region in placed.keep_outs:
        _, hatch = _KEEP_OUTS[what]
        yield from _hatching(what, region, hatch)
    yield Shape("panel-edge", contours(placed.panel), Ink(stroke=BLACK, width=0.5))


def _hatching(what: str, region: BaseGeometry, hatch: Hatch) -> Iterator[Shape]:
    """Yield a keep-out: white, so that the hatching shows on any upper, hatched and edged."""
    yield Shape(f"keep-out {what}", contours(region), Ink(fill=WHITE))
    yield _hatch(region, hatch, BLACK, 0.16)
    yield Shape("keep-out-edge", contours(region), Ink(stroke=BLACK, width=0.2))


def _hatch(region: BaseGeometry, hatch: Hatch, colour: str, width: float) -> Shape:
    if hatch.angles:
        return Shape("hatch", hatched(region, hatch), Ink(stroke=colour, width=width), closed=False)
    return Shape("hatch", hatched(region, hatch), Ink(fill=colour))


def _free(placed: Placed) -> BaseGeometry:
    return shapely.difference(placed.panel, shapely.union_all([region for _, region in placed.keep_outs]))


def _clearance(placed: Placed) -> Iterator[Shape]:
    if placed.clearance <= 0.0:
        return
    inside = shapely.get_parts(shapely.buffer(_free(placed), -placed.clearance, quad_segs=16))
    inner = contours(shapely.union_all(inside[shapely.area(inside) >= _LEAST_ROOM]))
    yield Shape("clearance-halo", inner, Ink(stroke=WHITE, width=0.6))
    yield Shape("clearance", inner, Ink(stroke=BLACK, width=0.25, dash=_DASH))


def _artwork(placed: Placed) -> Iterator[Shape]:
    rings = contours(placed.artwork)
    yield Shape("artwork-halo", rings, Ink(stroke=WHITE, width=_HALO))
    yield Shape("artwork", rings, Ink(fill=placed.film_colour or _PLAIN_FILM, stroke=BLACK, width=0.12))


def _mark(mark: Mark, number: int) -> Iterator[Shape]:
    """Yield a further mark: its colour, and a hatching that tells it from others in print without colour."""
    rings, fill = contours(mark.artwork), mark.film_colour or _PLAIN_FILM
    yield Shape("mark-halo", rings, Ink(stroke=WHITE, width=_HALO))
    yield Shape("mark", rings, Ink(fill=fill))
    yield _hatch(mark.artwork, _MARKS[number % len(_MARKS)], WHITE if _is_dark(fill) else BLACK, 0.18)
    yield Shape("mark-edge", rings, Ink(stroke=BLACK, width=0.12))


def _is_dark(colour: str) -> bool:
    """Return whether white lines show better than black ones on a colour ``#rrggbb``: by its luma (ITU-R BT.601)."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue < 128.0  # noqa: PLR2004 - half of the largest value


def _trespass(placed: Placed) -> Iterator[Shape]:
    """Yield the region that counts, where it is more than the artwork, and the part that is where it must not be."""
    if not _counts_alone(placed):
        yield Shape("counted-halo", contours(placed.counted), Ink(stroke=WHITE, width=0.6))
        yield Shape("counted", contours(placed.counted), Ink(stroke=BLACK, width=0.25, dash=_COUNTED_DASH))
    if (over := _over(placed)) is not None:
        yield from _stripes(over)


def _counts_alone(placed: Placed) -> bool:
    """Return whether no more than the artwork itself counts."""
    return bool(placed.counted.area - placed.artwork.area < _LEAST_SEGMENT**2)


def _over(placed: Placed) -> BaseGeometry | None:
    """Return the part of the artwork that is where it must not be."""
    over = shapely.difference(placed.counted, _free(placed))
    return over if over.area > _LEAST_SEGMENT**2 else None


def _stripes(over: BaseGeometry) -> Iterator[Shape]:
    yield Shape("over", contours(over), Ink(fill=WHITE))
    yield Shape("hatch", hatched(over, _OVER), Ink(stroke=BLACK, width=0.5), closed=False)
    yield Shape("over-edge", contours(over), Ink(stroke=BLACK, width=0.35))


def _ends(way: LineString) -> Ends:
    (x, y), (to_x, to_y) = np.asarray(way.coords).tolist()
    return (x, y), (to_x, to_y)


def _labels(placed: Placed, outline: _Outline, scale: float, *, tiers: int) -> Iterator[Shape | Words]:
    """Yield all figures and words of the drawing with their lines, none over another.

    Words below and to the right are dimensions; all others stay above and to the left of these.
    """
    frame = _Frame(*(_on_sheet(bounds, scale) for bounds in (outline.all, outline.panel, outline.artwork)))
    head, row = _head(placed, frame)
    taken = [] if row is None else [row]
    ways: list[tuple[str, Ends, str]] = []
    if outline.nearest is not None:
        ways.append(("nearest", _line_on_sheet(outline.nearest, scale), _free_figures(placed, outline.nearest)))
    if outline.measured is not None:
        ways.append(
            ("measured", _line_on_sheet(outline.measured, scale), _figures(placed, math.dist(*outline.measured)))
        )
    avoid = [_on_sheet(bounds, scale) for _, bounds in outline.marks]
    avoid += [_box_of(np.array(ends)) for _, ends, _ in ways]
    for name, ends, text in ways:
        yield from _way(name, ends, text, taken, avoid, frame)
    for label, bounds in outline.marks:
        if label:
            yield from _tag(label, _on_sheet(bounds, scale), taken, avoid, frame)
    yield from _dimensions(placed, frame, scale, tiers=tiers)
    yield from head


def _figures(placed: Placed, length: float) -> str:
    return without_minus_zero(placed.say(length))


def _free_figures(placed: Placed, nearest: Ends | None) -> str:
    """Return the clearance in figures: as given, or else as drawn and rounded down."""
    if placed.free or nearest is None:
        return without_minus_zero(placed.free)
    half = _HALF_STEPS.get(placed.unit, 0.0)
    return _figures(placed, max(0.0, math.dist(*nearest) - half + 1e-6))


def _way(  # noqa: PLR0917 - a line, its words, and what is on the sheet
    name: str, ends: Ends, text: str, taken: list[Box], avoid: Sequence[Box], frame: _Frame
) -> Iterator[Shape | Words]:
    """Yield a dimension between two points, its figures in a box beside it."""
    (x, y), (to_x, to_y) = ends
    length = math.dist(*ends)
    if length < _LEAST_SEGMENT:
        return
    way = LineString(ends)
    yield Shape(f"{name}-halo", strokes(way), Ink(stroke=WHITE, width=1.1), closed=False)
    yield Shape(name, strokes(way), Ink(stroke=BLACK, width=0.35), closed=False)
    head = min(1.6, 0.45 * length)
    yield arrow_head((to_x, to_y), (to_x - x, to_y - y), head)
    yield arrow_head((x, y), (x - to_x, y - to_y), head)
    yield from _boxed(text, (0.5 * (x + to_x), 0.5 * (y + to_y)), taken, avoid, frame)


def _tag(label: str, bounds: Box, taken: list[Box], avoid: Sequence[Box], frame: _Frame) -> Iterator[Shape | Words]:
    """Yield the label of a mark in a box beside it."""
    left, top, right, bottom = bounds
    yield from _boxed(label, (0.5 * (left + right), 0.5 * (top + bottom)), taken, avoid, frame, mark=bounds)


def _boxed(  # noqa: PLR0917 - words, their place, and what is on the sheet
    text: str,
    at: tuple[float, float],
    taken: list[Box],
    avoid: Sequence[Box],
    frame: _Frame,
    mark: Box | None = None,
) -> Iterator[Shape | Words]:
    """Yield words in a box near a point, joined to it by a thin line where they are further away."""
    wide, high = room_for(text, SMALL) + 1.2, 1.44 * SMALL
    x, y = _place(at, wide, high, taken, avoid, frame)
    around = box_around((x, y), wide, high)
    taken.append(around)
    end = nearest_in(around, at)
    begin = at if mark is None else nearest_in(mark, end)
    if math.dist(begin, end) > 1.0:
        yield line("leader-halo", Ink(stroke=WHITE, width=0.6), begin, end)
        yield line("leader", Ink(stroke=BLACK, width=0.2), begin, end)
    yield box("label", Ink(fill=WHITE, stroke=BLACK, width=0.15), around[0], around[1], wide, high)
    yield Words(text, x, y + 0.36 * SMALL, SMALL, "middle", bold=True)


def _place(  # noqa: PLR0917 - a size, its place, and what is on the sheet
    at: tuple[float, float], wide: float, high: float, taken: Sequence[Box], avoid: Sequence[Box], frame: _Frame
) -> tuple[float, float]:
    """Return the middle of a free box nearest to a point: off other labels, and if possible off the marks."""
    _, _, most_x, most_y = frame.all
    off_labels: tuple[float, float] | None = None
    for ring in range(_FURTHEST_RING):
        for direction in range(_DIRECTIONS if ring else 1):
            angle = 2.0 * math.pi * direction / _DIRECTIONS
            x, y = at[0] + _RING * ring * math.cos(angle), at[1] - _RING * ring * math.sin(angle)
            x, y = min(x, most_x - 0.5 * wide), min(y, most_y - 0.5 * high)
            around = box_around((x, y), wide, high)
            if any(boxes_overlap(around, other, _CLEAR) for other in taken):
                continue
            if not any(boxes_overlap(around, other, _CLEAR) for other in avoid):
                return x, y
            off_labels = off_labels or (x, y)
    if off_labels is not None:
        return off_labels
    top = min((other[1] for other in taken), default=at[1])
    return min(at[0], most_x - 0.5 * wide), top - 0.5 * high - 2.0 * _CLEAR


def _dimensions(placed: Placed, frame: _Frame, scale: float, *, tiers: int) -> Iterator[Shape | Words]:
    """Yield the chains of dimensions below the drawing and to its right; on a second tier the panel's own."""

    def say(length: float) -> str:
        return _figures(placed, length / scale)

    art, panel = frame.artwork, frame.panel
    for upright in (False, True):
        begin, end = (1, 3) if upright else (0, 2)
        edge, artwork_end = (frame.all[2], art[2]) if upright else (frame.all[3], art[3])
        stops = [panel[begin], art[begin], art[end], panel[end]]
        first = edge + _CHAIN
        chain = tuple(_chain(say, stops, first, upright=upright))
        boxes = [words_box(item) for item in chain if isinstance(item, Words)]
        second = max((figures[2 if upright else 3] for figures in boxes), default=first) + _APART
        for at in (art[begin], art[end]):
            yield _extension(at, artwork_end + 0.8, first + 1.0, upright=upright)
        for at in (panel[begin], panel[end]):
            yield _extension(at, edge + 1.0, (second if tiers > 1 else first) + 1.0, upright=upright)
        yield from chain
        if tiers > 1:
            yield from _chain(say, [panel[begin], panel[end]], second, upright=upright)


def _extension(at: float, begin: float, end: float, *, upright: bool) -> Shape:
    points = ((begin, at), (end, at)) if upright else ((at, begin), (at, end))
    return line("extension", Ink(stroke=GREY, width=0.12), *points)


def _chain(say: Callable[[float], str], stops: Sequence[float], at: float, *, upright: bool) -> Iterator[Shape | Words]:
    """Yield the dimensions between stops that rise: lines at a place, and figures beyond them, none over another."""
    steps = [(a, b) for a, b in pairwise(stops) if b - a > _LEAST_SEGMENT]
    texts = [say(end - begin) for begin, end in steps]
    middles = [0.5 * (begin + end) for begin, end in steps]
    high = (ASCENT + DESCENT) * SMALL
    places = _spread(middles, [high if upright else room_for(text, SMALL) for text in texts])
    for (begin, end), text, middle, place in zip(steps, texts, middles, places, strict=True):
        along = ((at, begin), (at, end)) if upright else ((begin, at), (end, at))
        yield line("dimension", Ink(stroke=BLACK, width=0.18), *along)
        for x, y in along:
            yield line("tick", Ink(stroke=BLACK, width=0.3), (x - 0.7, y + 0.7), (x + 0.7, y - 0.7))
        if abs(place - middle) > 0.5 * (end - begin):
            far = at + _FIGURE_GAP
            joint = ((at, middle), (far, place)) if upright else ((middle, at), (place, far))
            yield line("leader", Ink(stroke=GREY, width=0.12), *joint)
        if upright:
            words = Words(text, at + _FIGURE_GAP, place - 0.5 * high + ASCENT * SMALL, SMALL)
        else:
            words = Words(text, place, at + _FIGURE_GAP + ASCENT * SMALL, SMALL, "middle")
        left, top, right, bottom = words_box(words)
        yield box("ground", Ink(fill=WHITE), left, top, right - left, bottom - top)
        yield words


def _spread(middles: Sequence[float], widths: Sequence[float]) -> list[float]:
    """Return the middles of intervals in a row, moved as little as possible so that they do not overlap.

    References:
        Barlow, Bartholomew, Bremner & Brunk, Statistical Inference under Order Restrictions (1972), section 1.2: least
            squares in order, by pooling adjacent violators (from memory).
    """
    offsets = [0.0]
    for width, other in pairwise(widths):
        offsets.append(offsets[-1] + 0.5 * (width + other) + _APART)
    pools: list[tuple[float, int]] = []
    for middle, offset in zip(middles, offsets, strict=False):
        value, count = middle - offset, 1
        while pools and pools[-1][0] > value:
            before, number = pools.pop()
            value, count = (before * number + value * count) / (number + count), number + count
        pools.append((value, count))
    shifts = [value for value, count in pools for _ in range(count)]
    return [shift + offset for shift, offset in zip(shifts, offsets, strict=False)]


def _head(placed: Placed, frame: _Frame) -> tuple[tuple[Shape | Words, ...], Box | None]:
    """Return the arrow to the toe and the name of the shoe, in a row above the drawing, and the row's box.

    The row never reaches beyond the drawing's right end, where dimensions may be.
    """
    left, top, right, _ = frame.all
    y, shoe = top - 2.2, _shoe_word(placed)
    toe = _TOE_ARROW + room_for(placed.ways.toe, TEXT) if placed.toe else 0.0
    if not toe and not shoe:
        return (), None
    begin = min(left, right - toe - (room_for(shoe, TEXT) + 3.0 if shoe else 0.0))
    items: list[Shape | Words] = []
    if toe:
        tip, way = (begin, -1.0) if placed.mirrored else (right, 1.0)
        items.append(line("toe", Ink(stroke=BLACK, width=0.3), (tip - 9.0 * way, y), (tip - 1.0 * way, y)))
        items.append(arrow_head((tip, y), (way, 0.0), 2.2))
        anchor: Anchor = "start" if placed.mirrored else "end"
        items.append(Words(placed.ways.toe, tip - _TOE_ARROW * way, y + 0.9, TEXT, anchor))
    if shoe:
        at, anchor = (right, "end") if placed.mirrored else (begin, "start")
        items.append(Words(shoe, at, y + 0.9, TEXT, anchor))
    return tuple(items), (begin, y - TEXT, right, y + 0.5 * TEXT)


def room_for_ways(placed: Placed) -> float:
    """Return the width [mm] of the row that tells where the toe is and which shoe it is."""
    shoe = _shoe_word(placed)
    toe = _TOE_ARROW + room_for(placed.ways.toe, TEXT) if placed.toe else 0.0
    return toe + (room_for(shoe, TEXT) + 3.0 if shoe else 0.0)


def _shoe_word(placed: Placed) -> str:
    if placed.shoe is None:
        return ""
    return placed.ways.left if placed.shoe == "left" else placed.ways.right


def _legend_entries(placed: Placed) -> list[tuple[str, Callable[[BaseGeometry], Iterator[Shape]]]]:
    """Return the words of each entry of the legend and what paints its swatch."""
    kinds = dict.fromkeys(what for what, region in placed.keep_outs if not region.is_empty)
    film = f"{placed.label}: {placed.film}" if placed.label else placed.film
    entries: list[tuple[str, Callable[[BaseGeometry], Iterator[Shape]]]] = [
        (film, lambda swatch: _plain("swatch-film", swatch, placed.film_colour or _PLAIN_FILM)),
        (placed.upper, lambda swatch: _plain("swatch-upper", swatch, placed.upper_colour or _PLAIN_UPPER)),
    ]
    for number, mark in enumerate(placed.marks):
        first = f"{mark.label}: " if mark.label else "under it: " if mark.backing else ""
        entries.append((f"{first}{mark.film}", partial(_mark_swatch, mark, number)))
    if placed.clearance > 0.0:
        entries.append((f"clearance, {_figures(placed, placed.clearance)} {placed.unit}", _dashes))
    if not _counts_alone(placed):
        entries.append(("what counts of the artwork", partial(_dashes, dash=_COUNTED_DASH)))
    if _over(placed) is not None:
        entries.append(("artwork where it must not be", _stripes))
    for what in kinds:
        words, hatch = _KEEP_OUTS[what]
        entries.append((words, partial(_hatching, what, hatch=hatch)))
    return entries


def _mark_swatch(mark: Mark, number: int, swatch: MultiPolygon) -> Iterator[Shape]:
    yield from _mark(mark._replace(artwork=swatch), number)


def _legend(
    placed: Placed,
    entries: Sequence[tuple[str, Callable[[BaseGeometry], Iterator[Shape]]]],
    top: float,
    width: float,
) -> tuple[tuple[Shape | Words, ...], float]:
    """Return the legend and the rule that checks the print, and where they end."""
    items: list[Shape | Words] = []
    x, y = MARGIN, top
    for name, painted in entries:
        words = fitted(name, SMALL, width - 2.0 * MARGIN - _SWATCH[0] - 1.5)
        wide = _SWATCH[0] + 1.5 + room_for(words, SMALL)
        if x > MARGIN and x + wide > width - MARGIN:
            x, y = MARGIN, y + _ROW
        items += painted(shapely.box(x, y, x + _SWATCH[0], y + _SWATCH[1]))
        items.append(Words(words, x + _SWATCH[0] + 1.5, y + 0.5 * _SWATCH[1] + 0.36 * SMALL, SMALL))
        x += wide + _LEGEND_GAP
    y += _ROW + 2.5
    items += _rule(placed.rule, y)
    return tuple(items), y + 4.6


def _plain(name: str, swatch: BaseGeometry, colour: str) -> Iterator[Shape]:
    yield Shape(name, contours(swatch), Ink(fill=colour, stroke=BLACK, width=0.2))


def _dashes(swatch: BaseGeometry, dash: tuple[float, float] = _DASH) -> Iterator[Shape]:
    left, top, right, bottom = swatch.bounds
    middle = 0.5 * (top + bottom)
    yield line("clearance-key", Ink(stroke=BLACK, width=0.25, dash=dash), (left, middle), (right, middle))


def _rule(rule: tuple[float, float, str], top: float) -> Iterator[Shape | Words]:
    length, step, words = rule
    for number in range(round(length / step)):
        colour = BLACK if number % 2 == 0 else PALE
        yield box("rule", Ink(fill=colour, stroke=BLACK, width=0.2), MARGIN + number * step, top, step, 1.8)
    yield Words(words, MARGIN + length + 3.0, top + 1.8, SMALL, colour=GREY)
