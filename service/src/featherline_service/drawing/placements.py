"""The placement drawing: a panel with what must not be marked, and the artwork where it is to be, at true scale."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
import shapely
from shapely import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from featherline_service.drawing.hatching import Hatch, hatched
from featherline_service.drawing.scene import (
    BLACK,
    GREY,
    PALE,
    WHITE,
    Ink,
    Scene,
    Shape,
    Words,
    arrow_head,
    box,
    contours,
    fitted,
    line,
    room_for,
    strokes,
    wrapped,
)

_KEEP_OUTS: Final[dict[str, tuple[str, Hatch]]] = {
    "eyelets": ("eyelets", Hatch((45.0, 135.0), 0.9)),
    "seam": ("seam", Hatch((135.0,), 1.0)),
    "perforation": ("perforation", Hatch((), 1.2)),
    "old-mark": ("old mark", Hatch((0.0,), 1.0)),
    "featherline": ("featherline", Hatch((45.0,), 1.5)),
    "collar": ("collar", Hatch((90.0,), 1.3)),
    "toe-cap": ("toe cap", Hatch((0.0, 90.0), 1.6)),
}
"""How each kind of keep-out is named and hatched."""

_MARGIN: Final = 7.0
_TITLE: Final = 4.4
_TEXT: Final = 3.1
_SMALL: Final = 2.7
_FIRST_TIER: Final = 6.0
_SECOND_TIER: Final = 12.0
_SMALL_HEAD: Final = 5.5
_SMALL_MARGIN: Final = 6.5
_SMALL_END: Final = 2.5
_NARROWEST_SHEET: Final = 112.0
_LEAST_SEGMENT: Final = 0.05
_ROW: Final = 5.6
_SWATCH: Final = (7.0, 3.8)
_LEGEND_GAP: Final = 6.0
_MOST_LINES: Final = 5
_HALO: Final = 0.55
_OVER: Final = Hatch((60.0,), 1.1)
_DASH: Final = (1.6, 1.0)
_COUNTED_DASH: Final = (0.5, 0.7)
_PLAIN_UPPER: Final = "#ececec"
_PLAIN_FILM: Final = "#9a9a9a"


class Under(NamedTuple):
    """A film that the artwork lies on: where it is [mm], its name, and its colour, None where unknown."""

    region: MultiPolygon
    film: str
    colour: str | None


class Placed(NamedTuple):
    """What a placement drawing shows. Geometry is in millimetres, y upwards.

    `counted` is what of the artwork counts against edges and keep-outs. `measured` is from where to where a ruler is
    laid to place it by an edge; None: by none. `lines` are said under the title. `film` and `upper` are words for the
    legend, with colours or None where unknown. `toe` is whether the toe is to the right; `free` is the clearance there
    is, in figures. `say` gives a length [mm] as figures in the caller's unit, named `unit`; `rule` is the length [mm]
    of the rule to check the print by, its steps [mm], and what it says.
    """

    name: str
    title: str
    lines: tuple[str, ...]
    description: str
    panel: MultiPolygon
    keep_outs: tuple[tuple[str, BaseGeometry], ...]
    artwork: MultiPolygon
    counted: MultiPolygon
    measured: tuple[tuple[float, float], tuple[float, float]] | None
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
    under: tuple[Under, ...] = ()
    """The films that it lies on, the lowest first."""


class _Frame(NamedTuple):
    """The box of panel and artwork on the sheet, and of each alone: left, top, right, bottom [mm]."""

    both: tuple[float, float, float, float]
    panel: tuple[float, float, float, float]
    artwork: tuple[float, float, float, float]


def draw(placed: Placed) -> Scene:
    """Return the placement drawing.

    The artwork has its film's colour with a dark and a white edge, so that it shows on any upper and in print without
    colour; keep-outs are told apart by their hatching. Dimensions are those of the placed artwork's box, and its
    distances from the ends of the panel.
    """
    left, _, right, _ = shapely.union_all([placed.panel, placed.artwork]).bounds
    width = max(_NARROWEST_SHEET, _MARGIN + 2.0 + right - left + _SECOND_TIER + 1.6 * _SMALL + _MARGIN)
    title = tuple(_title(placed, width - 2.0 * _MARGIN))
    head = title[-1].y + _TITLE + 4.0
    on_sheet, frame = _laid_out(placed, _MARGIN + 2.0, head, 1.0)
    legend, bottom = _legend(on_sheet, frame.both[3] + _SECOND_TIER + 5.0, width)
    items = (*title, *_drawn(on_sheet), *_dimensions(on_sheet, frame, tiers=2), *_toe(on_sheet, frame), *legend)
    return Scene(placed.name, placed.title, placed.description, width, bottom + _MARGIN, items)


def draw_small(placed: Placed, scale: float) -> Scene:
    """Return the placement drawing at a scale, without words and legend, its figures no smaller than at full size."""
    on_sheet, frame = _laid_out(placed, _SMALL_MARGIN, _SMALL_HEAD if placed.toe else 2.0, scale)
    items = (*_drawn(on_sheet), *_dimensions(on_sheet, frame, tiers=1), *_toe(on_sheet, frame))
    end = _FIRST_TIER + _SMALL_END
    return Scene(placed.name, placed.title, placed.description, frame.both[2] + end, frame.both[3] + end, items)


def scale_to_fit(placed: Placed, width: float, height: float) -> float:
    """Return the scale at which `draw_small` just fits a room [mm]."""
    left, low, right, high = shapely.union_all([placed.panel, placed.artwork]).bounds
    end = _FIRST_TIER + _SMALL_END
    return float(min((width - _SMALL_MARGIN - end) / (right - left), (height - _SMALL_HEAD - end) / (high - low)))


def _laid_out(placed: Placed, margin: float, head: float, scale: float) -> tuple[Placed, _Frame]:
    """Return what is shown, y downwards, its corner at a point of the sheet; lengths are said as they really are."""
    left, _, _, high = shapely.union_all([placed.panel, placed.artwork]).bounds
    shift = np.array([margin - scale * left, head + scale * high])

    def there(region: BaseGeometry) -> BaseGeometry:
        return shapely.transform(region, lambda points: points * (scale, -scale) + shift)

    keep_outs = ((what, shapely.intersection(part, placed.panel)) for what, part in placed.keep_outs)
    panel, artwork = there(placed.panel), there(placed.artwork)
    on_sheet = placed._replace(
        panel=panel,
        keep_outs=tuple((what, there(part)) for what, part in keep_outs),
        artwork=artwork,
        counted=there(placed.counted),
        under=tuple(each._replace(region=there(each.region)) for each in placed.under),
        measured=None if placed.measured is None else _ends(there(LineString(placed.measured))),
        clearance=scale * placed.clearance,
        say=lambda length: placed.say(length / scale),
    )
    return on_sheet, _Frame(shapely.union_all([panel, artwork]).bounds, panel.bounds, artwork.bounds)


def _drawn(placed: Placed) -> Iterator[Shape | Words]:
    yield from _panel(placed)
    yield from _clearance(placed)
    yield from _artwork(placed)
    yield from _nearest(placed)
    yield from _measured(placed)


def _title(placed: Placed, width: float) -> Iterator[Words]:
    y = _MARGIN - 0.5 * _TITLE
    for part in wrapped(placed.title, _TITLE, width, 2):
        y += 1.3 * _TITLE
        yield Words(part, _MARGIN, y, _TITLE, bold=True)
    for each in placed.lines:
        for part in wrapped(each, _TEXT, width, _MOST_LINES):
            y += 1.45 * _TEXT
            yield Words(part, _MARGIN, y, _TEXT, colour=GREY)


def _panel(placed: Placed) -> Iterator[Shape]:
    yield Shape("panel", contours(placed.panel), Ink(fill=placed.upper_colour or _PLAIN_UPPER))
    for what, region in placed.keep_outs:
        _, hatch = _KEEP_OUTS[what]
        yield from _hatching(what, region, hatch)
    yield Shape("panel-edge", contours(placed.panel), Ink(stroke=BLACK, width=0.5))


def _hatching(what: str, region: BaseGeometry, hatch: Hatch) -> Iterator[Shape]:
    """Yield a keep-out: white, so that the hatching shows on any upper, hatched and edged."""
    yield Shape(f"keep-out {what}", contours(region), Ink(fill=WHITE))
    if hatch.angles:
        yield Shape("hatch", hatched(region, hatch), Ink(stroke=BLACK, width=0.16), closed=False)
    else:
        yield Shape("hatch", hatched(region, hatch), Ink(fill=BLACK))
    yield Shape("keep-out-edge", contours(region), Ink(stroke=BLACK, width=0.2))


def _free(placed: Placed) -> BaseGeometry:
    return shapely.difference(placed.panel, shapely.union_all([region for _, region in placed.keep_outs]))


def _clearance(placed: Placed) -> Iterator[Shape]:
    if placed.clearance <= 0.0:
        return
    inner = contours(shapely.buffer(_free(placed), -placed.clearance, quad_segs=16))
    yield Shape("clearance-halo", inner, Ink(stroke=WHITE, width=0.6))
    yield Shape("clearance", inner, Ink(stroke=BLACK, width=0.25, dash=_DASH))


def _artwork(placed: Placed) -> Iterator[Shape]:
    for each in placed.under:
        lower = contours(each.region)
        yield Shape("under-halo", lower, Ink(stroke=WHITE, width=_HALO))
        yield Shape("under", lower, Ink(fill=each.colour or _PLAIN_FILM, stroke=BLACK, width=0.12))
    rings = contours(placed.artwork)
    yield Shape("artwork-halo", rings, Ink(stroke=WHITE, width=_HALO))
    yield Shape("artwork", rings, Ink(fill=placed.film_colour or _PLAIN_FILM, stroke=BLACK, width=0.12))
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


def _nearest(placed: Placed) -> Iterator[Shape | Words]:
    """Yield the shortest way from the artwork to what bounds it, and how long it is."""
    free = _free(placed)
    if free.is_empty or not shapely.covers(free, placed.counted):
        return
    yield from _way("nearest", placed, _ends(shapely.shortest_line(placed.counted, free.boundary)), placed.free)


def _measured(placed: Placed) -> Iterator[Shape | Words]:
    """Yield the way along which a ruler is laid from an edge to the artwork, and how long it is."""
    if placed.measured is not None:
        yield from _way("measured", placed, placed.measured, placed.say(LineString(placed.measured).length))


def _ends(way: LineString) -> tuple[tuple[float, float], tuple[float, float]]:
    (x, y), (to_x, to_y) = np.asarray(way.coords).tolist()
    return (x, y), (to_x, to_y)


def _way(
    name: str, placed: Placed, ends: tuple[tuple[float, float], tuple[float, float]], text: str
) -> Iterator[Shape | Words]:
    """Yield a dimension between two points, its figures beside its middle."""
    way = LineString(ends)
    (x, y), (to_x, to_y) = ends
    if way.length < _LEAST_SEGMENT:
        return
    yield Shape(f"{name}-halo", strokes(way), Ink(stroke=WHITE, width=1.1), closed=False)
    yield Shape(name, strokes(way), Ink(stroke=BLACK, width=0.35), closed=False)
    head = min(1.6, 0.45 * way.length)
    yield arrow_head((to_x, to_y), (to_x - x, to_y - y), head)
    yield arrow_head((x, y), (x - to_x, y - to_y), head)
    wide = room_for(text, _SMALL) + 1.6
    # Beside the middle of the way, on the side that is further from the artwork's own middle.
    middle = placed.artwork.envelope.centroid
    aside = 0.5 * wide + 0.8
    at_x, at_y = 0.5 * (x + to_x), 0.5 * (y + to_y)
    if abs(to_x - x) > abs(to_y - y):
        at_y += 0.75 * _SMALL + 0.9 if at_y >= middle.y else -(0.75 * _SMALL + 0.9)
    else:
        at_x += aside if at_x >= middle.x else -aside
    yield box("label", Ink(fill=WHITE, stroke=BLACK, width=0.15), at_x - 0.5 * wide, at_y - 0.72 * _SMALL, wide,
              1.44 * _SMALL)  # fmt: skip
    yield Words(text, at_x, at_y + 0.36 * _SMALL, _SMALL, "middle", bold=True)


def _dimensions(placed: Placed, frame: _Frame, *, tiers: int) -> Iterator[Shape | Words]:
    """Yield the chains of dimensions below the drawing and to its right; on a second tier the panel's own."""
    art, panel = frame.artwork, frame.panel
    for upright in (False, True):
        begin, end = (1, 3) if upright else (0, 2)
        edge, other_end = (frame.both[2], art[2]) if upright else (frame.both[3], art[3])
        outer = edge + (_FIRST_TIER, _SECOND_TIER)[tiers - 1]
        for at in (art[begin], art[end]):
            yield _extension(at, other_end + 0.8, edge + _FIRST_TIER + 1.0, upright=upright)
        for at in (panel[begin], panel[end]):
            yield _extension(at, edge + 1.5, outer + 1.0, upright=upright)
        stops = [panel[begin], art[begin], art[end], panel[end]]
        yield from _chain(placed, stops, edge + _FIRST_TIER, upright=upright)
        if tiers > 1:
            yield from _chain(placed, [panel[begin], panel[end]], outer, upright=upright)


def _extension(at: float, begin: float, end: float, *, upright: bool) -> Shape:
    points = ((begin, at), (end, at)) if upright else ((at, begin), (at, end))
    return line("extension", _thin(), *points)


def _thin() -> Ink:
    return Ink(stroke=GREY, width=0.12)


def _chain(placed: Placed, stops: Sequence[float], at: float, *, upright: bool = False) -> Iterator[Shape | Words]:
    """Yield dimensions between stops that rise; between stops that do not, there is nothing to measure."""
    steps = [(a, b) for a, b in pairwise(stops) if b - a > _LEAST_SEGMENT]
    for number, (begin, end) in enumerate(steps):
        text = placed.say(end - begin)
        along = (begin, at), (end, at)
        if upright:
            along = (at, begin), (at, end)
        yield line("dimension", Ink(stroke=BLACK, width=0.18), *along)
        for x, y in along:
            yield line("tick", Ink(stroke=BLACK, width=0.3), (x - 0.7, y + 0.7), (x + 0.7, y - 0.7))
        middle = 0.5 * (begin + end)
        wide = room_for(text, _SMALL) + 1.0
        if wide > end - begin:  # beside the chain's end, or else past the tick
            outside = 0.5 * wide + 0.6
            middle = begin - outside if number == 0 and len(steps) > 1 else end + outside
            if 0 < number < len(steps) - 1:
                middle = 0.5 * (begin + end)
        where = (middle, at - 0.8) if not upright else (at - 0.8, middle)
        yield Words(text, *where, _SMALL, "middle", turn=90.0 if upright else 0.0)


def _toe(placed: Placed, frame: _Frame) -> Iterator[Shape | Words]:
    """Yield which way the toe is, above the panel's right end."""
    if not placed.toe:
        return
    x, y = frame.both[2], frame.both[1] - 2.2
    yield line("toe", Ink(stroke=BLACK, width=0.3), (x - 9.0, y), (x - 1.0, y))
    yield arrow_head((x, y), (1.0, 0.0), 2.2)
    yield Words("toe", x - 10.0, y + 0.9, _TEXT, "end")


def _legend(placed: Placed, top: float, width: float) -> tuple[tuple[Shape | Words, ...], float]:
    """Return the legend and the rule to check the print by, and where they end."""
    kinds = dict.fromkeys(what for what, region in placed.keep_outs if not region.is_empty)
    entries: list[tuple[str, Callable[[BaseGeometry], Iterator[Shape]]]] = [
        (placed.film, lambda swatch: _plain("swatch-film", swatch, placed.film_colour or _PLAIN_FILM)),
        *((f"under it: {each.film}", _swatch_of(each)) for each in placed.under),
        (placed.upper, lambda swatch: _plain("swatch-upper", swatch, placed.upper_colour or _PLAIN_UPPER)),
    ]
    if placed.clearance > 0.0:
        entries.append((f"clearance, {placed.say(placed.clearance)} {placed.unit}", _dashes))
    if not _counts_alone(placed):
        entries.append(("what counts of the artwork", lambda swatch: _dashes(swatch, _COUNTED_DASH)))
    if _over(placed) is not None:
        entries.append(("artwork where it must not be", _stripes))
    for what in kinds:
        words, hatch = _KEEP_OUTS[what]
        entries.append((words, lambda swatch, what=what, hatch=hatch: _hatching(what, swatch, hatch)))  # type: ignore[misc]
    items: list[Shape | Words] = []
    x, y = _MARGIN, top
    for said, painted in entries:
        words = fitted(said, _SMALL, width - 2.0 * _MARGIN - _SWATCH[0] - 1.5)
        wide = _SWATCH[0] + 1.5 + room_for(words, _SMALL)
        if x > _MARGIN and x + wide > width - _MARGIN:
            x, y = _MARGIN, y + _ROW
        items += painted(shapely.box(x, y, x + _SWATCH[0], y + _SWATCH[1]))
        items.append(Words(words, x + _SWATCH[0] + 1.5, y + 0.5 * _SWATCH[1] + 0.36 * _SMALL, _SMALL))
        x += wide + _LEGEND_GAP
    y += _ROW + 2.5
    items += _rule(placed.rule, y)
    return tuple(items), y + 4.6


def _swatch_of(under: Under) -> Callable[[BaseGeometry], Iterator[Shape]]:
    return lambda swatch: _plain("swatch-under", swatch, under.colour or _PLAIN_FILM)


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
        yield box("rule", Ink(fill=colour, stroke=BLACK, width=0.2), _MARGIN + number * step, top, step, 1.8)
    yield Words(words, _MARGIN + length + 3.0, top + 1.8, _SMALL, colour=GREY)
