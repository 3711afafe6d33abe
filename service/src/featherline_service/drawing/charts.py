"""Temperature chart of a recipe: platen, bond line and layers through press and opening, window and limits.

Labels in the plot are off its lines and off one another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Final, Literal, NamedTuple

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from featherline_service.drawing.scene import (
    BLACK,
    GREY,
    MARGIN,
    PALE,
    SMALL,
    WHITE,
    Box,
    Ink,
    Points,
    Scene,
    Shape,
    Words,
    arrow_head,
    box,
    box_around,
    boxes_overlap,
    circle,
    fitted,
    heading,
    line,
    nearest_in,
    room_for,
    without_minus_zero,
    wrapped,
)

Role = Literal["platen", "bond", "film", "upper", "aid"]

_WIDTH: Final = 180.0
_LEFT: Final = 20.0
_RIGHT: Final = _WIDTH - 12.0
_PLOT_HEIGHT: Final = 84.0
_ROW: Final = 4.9
_HEADROOM_C: Final = 8.0
_TAG: Final = 1.75
"""[mm] Radius of a curve's tag."""
_CLEAR: Final = 0.35
"""[mm] Least distance of a label from a line or another label."""
_RINGS: Final = tuple(circle(radius, 24) * (1.0, -1.0) for radius in np.arange(1.2, 84.0, 1.2))
"""[mm] Where labels are tried around the place that they are wanted at, nearest first."""
_ARROW: Final = 2.6
"""[mm] Room that a pointer's arrow head needs around its point."""
_SURPRISING_K: Final = 2.0
"""[K] Least excess of a layer over the bond line that the chart explains."""
_SURPRISING_S: Final = 2.0
"""[s] Least delay of a layer's peak after opening that the chart explains."""
_DASHES: Final[tuple[tuple[float, ...], ...]] = ((), (3.2, 1.1), (1.0, 0.9), (4.0, 0.9, 0.8, 0.9), (6.0, 1.4))
_INKS: Final[dict[Role, tuple[str, float]]] = {
    "platen": (BLACK, 0.3),
    "bond": (BLACK, 1.0),
    "film": (GREY, 0.4),
    "upper": (BLACK, 0.45),
    "aid": ("#9a9da1", 0.4),
}
"""Colour and width [mm] of each kind of curve: the bond line thick, what is not the shoe's own in grey."""


_BAND: Final = Ink(fill="#e9eaec")
_HATCH: Final = Ink(stroke=GREY, width=0.12)
_HATCH_APART: Final = 1.3
"""[mm] Distance of the lines that a layer's band is hatched with."""
_SAMPLE: Final = 12.0
"""[mm] Width of a sample in the legend."""
_WHISKER: Final = Ink(stroke=BLACK, width=0.22)


class Band(NamedTuple):
    """The lower and the upper end [degC] of a temperature's 95 % band at the chart's times."""

    low_c: Points
    high_c: Points


class Curve(NamedTuple):
    """Temperatures [degC] of one thing at the chart's times, and its row in the table.

    A layer of the upper is drawn where it is hottest: under the film, or beside it. `peak` is its time [s] and
    temperature [degC], `worst_c` that of the 95 % worst case, `limit_c` the hottest it stands; None where there is
    none. `remarks` are the cells of the table after the name. Of the bond line and of a layer there may be a `band`.
    """

    name: str
    role: Role
    temperatures_c: Points
    peak: tuple[float, float] | None = None
    worst_c: float | None = None
    limit_c: float | None = None
    remarks: tuple[str, ...] = ()
    band: Band | None = None


class Span(NamedTuple):
    """A range of dwells [s], its name and, where it is shown in the same bar, the range that is `sure`.

    A range that ends before it begins has no dwell.
    """

    name: str
    begin_s: float
    end_s: float
    sure: tuple[float, float] | None = None


class Chart(NamedTuple):
    """Content of a temperature chart: times [s] from closing the press, temperatures [degC].

    `scale` converts a temperature to the caller's scale, named `unit`; `heads` are the table's. `marks` are moments
    that are named in the plot: time [s], temperature [degC] and words.
    """

    name: str
    title: str
    lines: tuple[str, ...]
    description: str
    times_s: Points
    dwell_s: float
    dwell_words: str
    curves: tuple[Curve, ...]
    spans: tuple[Span, ...]
    marks: tuple[tuple[float, float, str], ...]
    heads: tuple[str, ...]
    scale: Callable[[float], float]
    unit: str


class _Axes(NamedTuple):
    """Axes of the plot: times [s] and temperatures [degC] on the sheet [mm]."""

    top: float
    end_s: float
    low_c: float
    high_c: float

    def x(self, time_s: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * time_s / self.end_s

    def y(self, temperature_c: float) -> float:
        return self.bottom - _PLOT_HEIGHT * (temperature_c - self.low_c) / (self.high_c - self.low_c)

    @property
    def bottom(self) -> float:
        return self.top + _PLOT_HEIGHT


def draw(chart: Chart) -> Scene:
    """Return the temperature chart."""
    title = tuple(heading(chart.title, chart.lines, _WIDTH - 2.0 * MARGIN))
    shown = [float(np.nanmax(curve.temperatures_c)) for curve in chart.curves]
    limits = [curve.limit_c for curve in chart.curves if curve.role == "upper" and curve.limit_c is not None]
    hottest = max([*shown, *limits, *(float(curve.band.high_c.max()) for curve in chart.curves if curve.band)])
    coldest = min(float(np.nanmin(curve.temperatures_c)) for curve in chart.curves)
    axes = _Axes(title[-1].y + 7.0, float(chart.times_s[-1]), coldest - 5.0, hottest + _HEADROOM_C)
    strip, strip_bottom = _strip(chart, axes)
    legend, legend_bottom = _legend(chart, strip_bottom)
    notes, notes_bottom = _notes(chart, legend_bottom)
    table, bottom = _table(chart, notes_bottom + 5.0)
    limit_lines, curves = tuple(_limits(chart, axes)), tuple(_curves(chart, axes))
    opening = tuple(_opening(chart, axes))
    plot = _Plot(chart, axes, _lines_of((*limit_lines, *curves, *opening)))
    items = (
        *title,
        *_bands(chart, axes),
        *_grid(chart, axes),
        *opening,
        *limit_lines,
        *curves,
        *_limit_labels(plot),
        *_marks(plot),
        *_tags(plot),
        *strip,
        *legend,
        *notes,
        *table,
    )
    return Scene(chart.name, chart.title, chart.description, _WIDTH, bottom + MARGIN, items)


def _ticks(low: float, high: float) -> list[float]:
    """Return about ten round values in a range: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / 10.0
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough)
    return [step * number for number in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def _grid(chart: Chart, axes: _Axes) -> Iterator[Shape | Words]:
    thin = Ink(stroke=PALE, width=0.15)
    low, high = chart.scale(axes.low_c), chart.scale(axes.high_c)
    for value in _ticks(low, high):
        y = axes.y(axes.low_c + (value - low) / (high - low) * (axes.high_c - axes.low_c))
        yield line("grid", thin, (_LEFT, y), (_RIGHT, y))
        yield Words(without_minus_zero(f"{value:g}"), _LEFT - 1.5, y + 0.36 * SMALL, SMALL, "end")
    for value in _ticks(0.0, axes.end_s):
        x = axes.x(value)
        yield line("grid", thin, (x, axes.top), (x, axes.bottom))
        yield Words(f"{value:g}", x, axes.bottom + 4.0, SMALL, "middle")
    yield line("axis", Ink(stroke=BLACK, width=0.3), (_LEFT, axes.top), (_LEFT, axes.bottom), (_RIGHT, axes.bottom))
    yield Words(chart.unit, _LEFT - 1.5, axes.top - 2.2, SMALL, "end", bold=True)
    yield Words("s after closing", _RIGHT, axes.bottom + 8.0, SMALL, "end", bold=True)


def _opening(chart: Chart, axes: _Axes) -> Iterator[Shape | Words]:
    """Yield the time for which the press is closed."""
    x = axes.x(chart.dwell_s)
    yield line("opening", Ink(stroke=BLACK, width=0.3, dash=(0.8, 0.8)), (x, axes.top - 3.5), (x, axes.bottom))
    if x + 1.2 + room_for(chart.dwell_words, SMALL) <= _WIDTH - MARGIN:
        yield Words(chart.dwell_words, x + 1.2, axes.top - 1.6, SMALL)
    else:
        yield Words(chart.dwell_words, x - 1.2, axes.top - 1.6, SMALL, "end")


def _limits(chart: Chart, axes: _Axes) -> Iterator[Shape]:
    """Yield the limits of the upper's layers, over where they come nearest to them, and the worst cases' whiskers."""
    for limit_c, layers in sorted(_by_limit(chart).items()):
        y = axes.y(limit_c)
        left, right = _limit_ends(axes, layers)
        teeth = tuple(np.array([(at, y), (at + 1.1, y - 1.3)]) for at in np.arange(left, right, 1.4))
        yield line("limit", Ink(stroke=BLACK, width=0.5), (left, y), (right, y))
        yield Shape("hatch", teeth, Ink(stroke=BLACK, width=0.15), closed=False)
    for curve in chart.curves:
        if curve.role == "upper" and curve.peak is not None and curve.worst_c is not None:
            x, y, worst = axes.x(curve.peak[0]), axes.y(curve.peak[1]), axes.y(min(curve.worst_c, axes.high_c))
            yield line("worst", _WHISKER, (x, y), (x, worst))
            yield line("worst", _WHISKER, (x - 0.9, worst), (x + 0.9, worst))


def _limit_ends(axes: _Axes, layers: Sequence[tuple[int, Curve]]) -> tuple[float, float]:
    """Return where the line of a limit begins and ends [mm]."""
    peaks = [axes.x(curve.peak[0]) for _, curve in layers if curve.peak is not None]
    return max(_LEFT, min(peaks) - 8.0), min(_RIGHT, max(peaks) + 8.0)


def _limit_labels(plot: _Plot) -> Iterator[Shape | Words]:
    """Yield the letters and the temperature of each limit beside its line."""
    chart, axes = plot.chart, plot.axes
    for limit_c, layers in sorted(_by_limit(chart).items()):
        letters = ", ".join(_letter(number) for number, _ in layers)
        text = f"{letters}: {without_minus_zero(f'{chart.scale(limit_c):.0f}')} {chart.unit}"
        left, right = _limit_ends(axes, layers)
        y, half = axes.y(limit_c), 0.5 * room_for(text, SMALL) + 1.5
        beside = [(right + half, y), (left - half, y)]
        yield from plot.label(text, beside, joined=((left, y), (right, y)))


class _Plot:
    """Places labels in the plot, off its lines and off one another."""

    def __init__(self, chart: Chart, axes: _Axes, lines: BaseGeometry) -> None:
        """Start with lines [mm] and no labels."""
        self.chart, self.axes, self.lines = chart, axes, lines
        self.pointers: BaseGeometry = shapely.geometrycollections([])
        self._taken: list[Box] = []
        shapely.prepare(lines)

    def is_off_labels(self, around: Box) -> bool:
        """Return whether a box is in the plot and off all labels."""
        inside = (
            around[0] > _LEFT + 0.5
            and around[2] < _WIDTH - 2.0
            and self.axes.top + 0.5 < around[1]
            and around[3] < self.axes.bottom - 0.5
        )
        return inside and not any(boxes_overlap(around, other, _CLEAR) for other in self._taken)

    def take(self, around: Box) -> None:
        """Keep other labels off a box."""
        self._taken.append(around)

    def cross(self, *points: tuple[float, float]) -> None:
        """Keep other labels off a line."""
        pointer = shapely.linestrings(points)
        self.pointers = shapely.geometrycollections([self.pointers, pointer])
        self.lines = shapely.geometrycollections([self.lines, pointer])
        shapely.prepare(self.lines)

    def place(
        self, targets: Sequence[tuple[float, float]], wide: float, high: float, to: BaseGeometry
    ) -> tuple[float, float]:
        """Return the middle of a free box at a wanted point, or else nearest to the first of these, and take it.

        The shortest line from the box `to` what it names crosses no label.
        """
        free: list[Box] = []
        second_best: list[Box] = []
        for middles in (np.array(targets), *(targets[0] + ring for ring in _RINGS)):
            half = np.array((0.5 * wide, 0.5 * high))
            corners = np.hstack((middles - half, middles + half))
            crossed = shapely.dwithin(shapely.box(*corners.T), self.lines, _CLEAR)
            boxes: list[Box] = [(a, b, c, d) for a, b, c, d in corners.tolist()]
            allowed = [self.is_off_labels(around) for around in boxes]
            free = [
                around for around, off, cut in zip(boxes, allowed, crossed.tolist(), strict=True) if off and not cut
            ]
            second_best = second_best or free or [around for around, off in zip(boxes, allowed, strict=True) if off]
            free = [around for around in free if self._reaches(around, to)]
            if free:
                break
        # With more labels than the plot has room for, one is off the others at least.
        chosen = (free or second_best or boxes)[0]
        self.take(chosen)
        return 0.5 * (chosen[0] + chosen[2]), 0.5 * (chosen[1] + chosen[3])

    def _reaches(self, around: Box, to: BaseGeometry) -> bool:
        """Return whether the shortest lines from a box, and from its middle, to something cross no label."""
        middle = shapely.Point(0.5 * (around[0] + around[2]), 0.5 * (around[1] + around[3]))
        for begin in (middle, shapely.box(*around)):
            way = shapely.shortest_line(begin, to)
            end = shapely.get_point(way, 1)
            for other in map(shapely.box, *zip(*self._taken, strict=True)) if self._taken else ():
                if way.intersects(other) and not other.contains(end):
                    return False
        return True

    def label(
        self, text: str, targets: Sequence[tuple[float, float]], joined: tuple[tuple[float, float], ...]
    ) -> Iterator[Shape | Words]:
        """Yield words near a point, joined by a thin line to the nearest of some points where they are away from it."""
        wide, high = room_for(text, SMALL) + 0.6, SMALL + 0.6
        x, y = self.place(targets, wide, high, shapely.multipoints(joined))
        if (x, y) not in [(float(a), float(b)) for a, b in targets]:
            end = min(joined, key=lambda point: math.dist(point, (x, y)))
            begin = nearest_in(box_around((x, y), wide, high), end)
            self.cross(begin, end)
            yield line("pointer", Ink(stroke=GREY, width=0.15), begin, end)
        yield box("ground", Ink(fill=WHITE), x - 0.5 * wide, y - 0.5 * high, wide, high)
        yield Words(text, x, y + 0.36 * SMALL, SMALL, "middle", bold=True)


def _lines_of(shapes: Sequence[Shape | Words]) -> BaseGeometry:
    """Return all lines of some shapes."""
    return shapely.geometrycollections(
        [
            shapely.linestrings(points)
            for shape in shapes
            if isinstance(shape, Shape)
            for points in shape.contours
            if len(points) > 1
        ]
    )


def _by_limit(chart: Chart) -> dict[float, list[tuple[int, Curve]]]:
    """Return the numbered curves of the upper's layers by their limits [degC], limits within a kelvin together."""
    by_limit: dict[float, list[tuple[int, Curve]]] = {}
    for number, curve in enumerate(chart.curves):
        if curve.role == "upper" and curve.limit_c is not None and curve.peak is not None:
            near = next((limit_c for limit_c in by_limit if abs(limit_c - curve.limit_c) < 1.0), curve.limit_c)
            by_limit.setdefault(near, []).append((number, curve))
    return by_limit


def _ink(chart: Chart, number: int) -> Ink:
    """Return the ink of a curve: its role's colour and width, dashes by its place among those of its role."""
    role = chart.curves[number].role
    place = sum(curve.role == role for curve in chart.curves[:number])
    colour, width = _INKS[role]
    return Ink(stroke=colour, width=width, dash=(0.4, 0.9) if role == "platen" else _DASHES[place % len(_DASHES)])


def _bands(chart: Chart, axes: _Axes) -> Iterator[Shape]:
    """Yield the curves' bands: the bond line's shaded, a layer's hatched."""
    for curve in chart.curves:
        if curve.band is None:
            continue
        xs = np.array([axes.x(time_s) for time_s in chart.times_s.tolist()])
        low, high = (np.array([axes.y(value) for value in end.tolist()]) for end in curve.band)
        if curve.role == "bond":
            outline = np.column_stack((np.concatenate((xs, xs[::-1])), np.concatenate((high, low[::-1]))))
            yield Shape("band", (outline,), _BAND)
        else:
            yield _hatched(xs, low, high)


def _hatched(xs: Points, low: Points, high: Points) -> Shape:
    """Return upright lines between two curves [mm]."""
    at = np.arange(xs[0] + _HATCH_APART, xs[-1], _HATCH_APART)
    ends = np.column_stack((at, np.interp(at, xs, low), at, np.interp(at, xs, high))).reshape(-1, 2, 2)
    return Shape("band", tuple(ends), _HATCH, closed=False)


def _legend(chart: Chart, top: float) -> tuple[tuple[Shape | Words, ...], float]:
    """Return what the bands and bars mean, and where that ends."""
    items: list[Shape | Words] = []
    y, right = top, MARGIN + _SAMPLE
    for number, curve in enumerate(chart.curves):
        if curve.band is None:
            continue
        y += 1.6 * SMALL
        if curve.role == "bond":
            items.append(box("band sample", _BAND, MARGIN, y - 2.4, _SAMPLE, 2.8))
            said = f"shaded: where the temperature of the {curve.name} ({_letter(number)}) is in 95 of 100 cases"
        else:
            ends = np.array([MARGIN - _HATCH_APART, right])
            hatched = _hatched(ends, np.full(2, y + 0.4), np.full(2, y - 2.4))
            items.append(hatched._replace(name="band sample"))
            said = f"hatched: that of the upper's layer that is nearest to its limit, {curve.name} ({_letter(number)})"
        items.append(Words(fitted(said, SMALL, _WIDTH - 2.0 * MARGIN - _SAMPLE - 2.0), right + 2.0, y, SMALL))
    if any(span.sure is not None for span in chart.spans):
        y += 1.6 * SMALL
        items.append(box("window sample", Ink(fill=BLACK), MARGIN, y - 2.4, _SAMPLE, 2.4))
        items.append(Words("black: dwells that are sure at the 95 % worst case", right + 2.0, y, SMALL))
    return tuple(items), y


def _curves(chart: Chart, axes: _Axes) -> Iterator[Shape]:
    """Yield all curves, the widest last."""
    for number in sorted(range(len(chart.curves)), key=lambda number: _INKS[chart.curves[number].role][1]):
        yield from _curve(chart, axes, number)


def _curve(chart: Chart, axes: _Axes, number: int) -> Iterator[Shape]:
    curve = chart.curves[number]
    shown = np.isfinite(curve.temperatures_c)
    points = np.column_stack(
        (
            [axes.x(time_s) for time_s in chart.times_s[shown].tolist()],
            [axes.y(value) for value in curve.temperatures_c[shown].tolist()],
        )
    )
    yield Shape(f"curve {curve.role}", (points,), _ink(chart, number), closed=False)


def _marks(plot: _Plot) -> Iterator[Shape | Words]:
    """Yield the moments that are named, each with its words and an arrow from these."""
    axes = plot.axes
    for time_s, temperature_c, words in plot.chart.marks:
        wide, high = room_for(words, SMALL) + 0.6, SMALL + 0.6
        x, y = axes.x(min(time_s, axes.end_s)), axes.y(temperature_c)
        plot.take(box_around((x, y), 2.0 * _ARROW, 2.0 * _ARROW))
        above = (min(x + 0.5 * wide, _WIDTH - 2.5 - 0.5 * wide), y - 8.0)
        at_x, at_y = plot.place([above], wide, high, shapely.Point(x, y))
        begin = nearest_in(box_around((at_x, at_y), wide, high), (x, y))
        length = math.dist(begin, (x, y))
        way = ((x - begin[0]) / length, (y - begin[1]) / length)
        plot.cross(begin, (x, y))
        yield line("pointer", Ink(stroke=BLACK, width=0.25), begin, (x - 1.2 * way[0], y - 1.2 * way[1]))
        yield arrow_head((x - 0.4 * way[0], y - 0.4 * way[1]), way, 1.8)
        yield box("ground", Ink(fill=WHITE), at_x - 0.5 * wide, at_y - 0.5 * high, wide, high)
        yield Words(words, at_x, at_y + 0.36 * SMALL, SMALL, "middle", bold=True)


def _tags(plot: _Plot) -> Iterator[Shape | Words]:
    """Yield a lettered tag for each curve: on it where no other line is near, else beside it with a line to it."""
    chart, axes = plot.chart, plot.axes
    lines = [_lines_of(tuple(_curve(chart, axes, number))) for number in range(len(chart.curves))]
    rest = _lines_of((*_limits(chart, axes), *_opening(chart, axes)))
    for number, curve in enumerate(chart.curves):
        others = shapely.geometrycollections([*lines[:number], *lines[number + 1 :], rest])
        shown = np.flatnonzero(np.isfinite(curve.temperatures_c))
        times_s = np.interp(np.linspace(0.94, 0.04, 46), (0.0, 1.0), (0.0, float(chart.times_s[shown[-1]])))
        values = np.interp(times_s, chart.times_s[shown], curve.temperatures_c[shown])
        places = [(axes.x(time), axes.y(value)) for time, value in zip(times_s.tolist(), values.tolist(), strict=True)]
        on_it = next(_clear(plot, places, others), None)
        x, y = on_it or plot.place([places[0]], 2.0 * _TAG, 2.0 * _TAG, lines[number])
        if on_it is None:
            near = shapely.shortest_line(lines[number], shapely.Point(x, y))
            begin, end = (tuple(point) for point in np.asarray(near.coords).tolist())
            length = math.dist(begin, end)
            edge = tuple(b + (a - b) * _TAG / length for a, b in zip(begin, end, strict=True))
            plot.cross((edge[0], edge[1]), (begin[0], begin[1]))
            yield line("tag-line", Ink(stroke=BLACK, width=0.2), (edge[0], edge[1]), (begin[0], begin[1]))
            yield Shape("tag-dot", (circle(0.45, 24) + begin,), Ink(fill=BLACK))
        else:
            plot.take(box_around((x, y), 2.0 * _TAG, 2.0 * _TAG))
        yield Shape("tag", (circle(_TAG, 24) + np.array((x, y)),), Ink(fill=WHITE, stroke=BLACK, width=0.25))
        yield Words(_letter(number), x, y + 0.9, 2.5, "middle", bold=True)


def _clear(plot: _Plot, places: list[tuple[float, float]], others: BaseGeometry) -> Iterator[tuple[float, float]]:
    """Yield the places of tags on a curve that are off all other lines and labels, and in the plot."""
    near = shapely.dwithin(shapely.points(places), shapely.geometrycollections([others, plot.pointers]), _TAG + _CLEAR)
    for (x, y), crossed in zip(places, near.tolist(), strict=True):
        if not crossed and plot.is_off_labels(box_around((x, y), 2.0 * _TAG, 2.0 * _TAG)):
            yield x, y


def _letter(number: int) -> str:
    return chr(ord("A") + number)


def _strip(chart: Chart, axes: _Axes) -> tuple[tuple[Shape | Words, ...], float]:
    """Return the windows of dwells as bars on the time axis, the dwell as a line across them, and where they end."""
    items: list[Shape | Words] = []
    y, dwell = axes.bottom + 10.5, axes.x(chart.dwell_s)
    for number, span in enumerate(chart.spans):
        if span.sure is not None:
            items += _compared(span, axes, y, dwell)
            y += 7.2
            continue
        begin, end = (axes.x(min(max(value, 0.0), axes.end_s)) for value in (span.begin_s, span.end_s))
        ink = Ink(fill=PALE, stroke=BLACK, width=0.25) if number == 0 else Ink(fill=BLACK, stroke=BLACK, width=0.25)
        items.append(box("window", ink, begin, y, max(end - begin, 0.4), 2.4))
        items.append(line("opening", Ink(stroke=BLACK, width=0.3, dash=(0.8, 0.8)), (dwell, y - 0.8), (dwell, y + 3.2)))
        name = fitted(span.name, SMALL, _WIDTH - 2.0 * MARGIN)
        wide = room_for(name, SMALL)
        after = end + 1.5 if not end - 1.0 <= dwell <= end + 3.0 + wide else dwell + 1.5
        before = begin - 1.5 if not begin - 3.0 - wide <= dwell <= begin + 1.0 else min(begin, dwell) - 1.5
        if after + wide <= _WIDTH - MARGIN:
            items.append(Words(name, after, y + 2.1, SMALL))
        elif before - wide >= MARGIN:
            items.append(Words(name, before, y + 2.1, SMALL, "end"))
        else:  # the bar takes the whole row
            y += 4.6
            items.append(Words(name, MARGIN, y + 2.1, SMALL))
        y += 4.6
    return tuple(items), y


def _compared(span: Span, axes: _Axes, y: float, dwell: float) -> Iterator[Shape | Words]:
    """Yield the name of a window and its bar under that, with its sure part in it."""
    yield Words(fitted(span.name, SMALL, _RIGHT - _LEFT), _LEFT, y + 1.8, SMALL)
    pale, dark = Ink(fill=PALE, stroke=BLACK, width=0.25), Ink(fill=BLACK, stroke=BLACK, width=0.25)
    for ink, ends in ((pale, (span.begin_s, span.end_s)), (dark, span.sure or (1.0, 0.0))):
        if ends[0] <= ends[1]:
            begin, end = (axes.x(min(max(value, 0.0), axes.end_s)) for value in ends)
            yield box("window", ink, begin, y + 3.0, max(end - begin, 0.4), 2.4)
    yield line("opening", Ink(stroke=BLACK, width=0.3, dash=(0.8, 0.8)), (dwell, y + 2.2), (dwell, y + 6.2))


def _notes(chart: Chart, top: float) -> tuple[tuple[Words, ...], float]:
    """Return sentences on what may surprise in the chart, and where they end."""
    words: list[Words] = []
    y = top
    for sentence in _surprises(chart):
        for part in wrapped(sentence, SMALL, _WIDTH - 2.0 * MARGIN, 3):
            y += 1.5 * SMALL
            words.append(Words(part, MARGIN, y, SMALL))
    return tuple(words), y


def _surprises(chart: Chart) -> Iterator[str]:
    """Yield why layers of the upper are hotter than the bond line, or hottest after the press has opened."""
    bond = next((curve.temperatures_c for curve in chart.curves if curve.role == "bond"), None)
    closed = chart.times_s <= chart.dwell_s
    hotter, later = [], []
    for number, curve in enumerate(chart.curves):
        if curve.role != "upper":
            continue
        # Heat comes from above: under the film nothing of the upper is hotter than the bond line in a closed press.
        if bond is not None and bool((curve.temperatures_c - bond)[closed].max() > _SURPRISING_K):
            hotter.append(_letter(number))
        if curve.peak is not None and curve.peak[0] > chart.dwell_s + _SURPRISING_S:
            later.append(_letter(number))
    if hotter:
        gets = "gets" if len(hotter) == 1 else "get"
        yield (
            f"{' and '.join(hotter)} {gets} hotter than the bond line, because beside the film the upper has no film "
            "between it and the cover sheet."
        )
    if later:
        gets = "is" if len(later) == 1 else "are"
        yield (
            f"{' and '.join(later)} {gets} hottest after the press has opened, because heat from the layers above is "
            "still on its way."
        )


def _columns(count: int) -> Sequence[float]:
    """Return where the table's columns after letter, sample and name begin [mm]."""
    first = 74.0
    return [first + (_WIDTH - MARGIN - first) / count * number for number in range(count)]


def _table(chart: Chart, top: float) -> tuple[tuple[Shape | Words, ...], float]:
    columns = _columns(len(chart.heads))
    column = (_WIDTH - MARGIN - columns[0]) / len(columns) - 1.5
    items: list[Shape | Words] = [
        Words(fitted(head, SMALL, column), x, top + 2.0, SMALL, colour=GREY)
        for x, head in zip(columns, chart.heads, strict=True)
    ]
    y = top + 3.6
    items.append(line("rule", Ink(stroke=BLACK, width=0.2), (MARGIN, y), (_WIDTH - MARGIN, y)))
    for number, curve in enumerate(chart.curves):
        y += _ROW
        items += [
            Words(_letter(number), MARGIN + 1.0, y - 1.0, SMALL, bold=True),
            line("sample", _ink(chart, number), (MARGIN + 5.0, y - 1.9), (MARGIN + 17.0, y - 1.9)),
            Words(fitted(curve.name, SMALL, columns[0] - MARGIN - 20.0), MARGIN + 19.0, y - 1.0, SMALL,
                  bold=curve.role == "bond"),
        ]  # fmt: skip
        items += [
            Words(fitted(cell, SMALL, column), x, y - 1.0, SMALL)
            for x, cell in zip(columns, curve.remarks, strict=False)
        ]
        items.append(line("rule", Ink(stroke=PALE, width=0.15), (MARGIN, y + 0.6), (_WIDTH - MARGIN, y + 0.6)))
    return tuple(items), y
