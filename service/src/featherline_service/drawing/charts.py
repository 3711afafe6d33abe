"""The temperature chart of a recipe: platen, bond line and layers through press and opening, window and limits."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Final, Literal, NamedTuple

import numpy as np

from featherline_service.drawing.scene import (
    BLACK,
    GREY,
    PALE,
    WHITE,
    Ink,
    Points,
    Scene,
    Shape,
    Words,
    arrow_head,
    box,
    fitted,
    line,
    room_for,
    wrapped,
)

Role = Literal["platen", "bond", "film", "upper", "aid"]

_MARGIN: Final = 7.0
_WIDTH: Final = 180.0
_TITLE: Final = 4.4
_TEXT: Final = 3.1
_SMALL: Final = 2.7
_LEFT: Final = 20.0
_RIGHT: Final = _WIDTH - 12.0
_PLOT_HEIGHT: Final = 84.0
_ROW: Final = 4.9
_MOST_LINES: Final = 4
_HEADROOM_C: Final = 8.0
_TAG: Final = 1.75
_DASHES: Final[tuple[tuple[float, ...], ...]] = ((), (3.2, 1.1), (1.0, 0.9), (4.0, 0.9, 0.8, 0.9), (6.0, 1.4))
_INKS: Final[dict[Role, tuple[str, float]]] = {
    "platen": (BLACK, 0.3),
    "bond": (BLACK, 1.0),
    "film": (GREY, 0.4),
    "upper": (BLACK, 0.45),
    "aid": ("#9a9da1", 0.4),
}
"""Colour and width [mm] of each kind of curve: the bond line thick, what is not the shoe's own in grey."""


_WHISKER: Final = Ink(stroke=BLACK, width=0.22)


class Curve(NamedTuple):
    """How hot something is [degC] at the chart's times, and what is said of it in the table.

    `peak` is its time [s] and temperature [degC]; `worst_c` that of the 95 % worst case; `limit_c` what it stands. Null
    where there is none. `remarks` are the cells of the table after the name.
    """

    name: str
    role: Role
    temperatures_c: Points
    peak: tuple[float, float] | None = None
    worst_c: float | None = None
    limit_c: float | None = None
    remarks: tuple[str, ...] = ()


class Span(NamedTuple):
    """A stretch of dwells [s] and what it is called."""

    name: str
    begin_s: float
    end_s: float


class Chart(NamedTuple):
    """What a temperature chart shows: times [s] from closing the press, temperatures [degC].

    `scale` brings a temperature to the caller's scale, whose `unit` is named; `heads` are the table's. `marks` are
    moments that are named in the plot: time [s], temperature [degC] and words.
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
    """Where times [s] and temperatures [degC] are on the sheet [mm]."""

    top: float
    end_s: float
    low_c: float
    high_c: float

    def x(self, time_s: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * time_s / self.end_s

    def y(self, temperature_c: float) -> float:
        return self.bottom - _PLOT_HEIGHT * (temperature_c - self.low_c) / (self.high_c - self.low_c)

    def time(self, x: float) -> float:
        return self.end_s * (x - _LEFT) / (_RIGHT - _LEFT)

    @property
    def bottom(self) -> float:
        return self.top + _PLOT_HEIGHT


def draw(chart: Chart) -> Scene:
    """Return the temperature chart."""
    title = tuple(_title(chart))
    shown = [float(np.nanmax(curve.temperatures_c)) for curve in chart.curves]
    limits = [curve.limit_c for curve in chart.curves if curve.role == "upper" and curve.limit_c is not None]
    hottest = max([*shown, *limits])
    coldest = min(float(np.nanmin(curve.temperatures_c)) for curve in chart.curves)
    axes = _Axes(title[-1].y + 7.0, float(chart.times_s[-1]), coldest - 5.0, hottest + _HEADROOM_C)
    strip, strip_bottom = _strip(chart, axes)
    table, bottom = _table(chart, strip_bottom + 6.0)
    items = (
        *title,
        *_grid(chart, axes),
        *_opening(chart, axes),
        *_limits(chart, axes),
        *_curves(chart, axes),
        *_marks(chart, axes),
        *_tags(chart, axes),
        *strip,
        *table,
    )
    return Scene(chart.name, chart.title, chart.description, _WIDTH, bottom + _MARGIN, items)


def _title(chart: Chart) -> Iterator[Words]:
    y = _MARGIN - 0.5 * _TITLE
    for part in wrapped(chart.title, _TITLE, _WIDTH - 2.0 * _MARGIN, 2):
        y += 1.3 * _TITLE
        yield Words(part, _MARGIN, y, _TITLE, bold=True)
    for each in chart.lines:
        for part in wrapped(each, _TEXT, _WIDTH - 2.0 * _MARGIN, _MOST_LINES):
            y += 1.45 * _TEXT
            yield Words(part, _MARGIN, y, _TEXT, colour=GREY)


def _ticks(low: float, high: float, about: int) -> list[float]:
    """Return round values in a range: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= rough)
    return [step * number for number in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def _grid(chart: Chart, axes: _Axes) -> Iterator[Shape | Words]:
    thin = Ink(stroke=PALE, width=0.15)
    low, high = chart.scale(axes.low_c), chart.scale(axes.high_c)
    for value in _ticks(low, high, 10):
        y = axes.y(axes.low_c + (value - low) / (high - low) * (axes.high_c - axes.low_c))
        yield line("grid", thin, (_LEFT, y), (_RIGHT, y))
        yield Words(f"{value:g}", _LEFT - 1.5, y + 0.36 * _SMALL, _SMALL, "end")
    for value in _ticks(0.0, axes.end_s, 10):
        x = axes.x(value)
        yield line("grid", thin, (x, axes.top), (x, axes.bottom))
        yield Words(f"{value:g}", x, axes.bottom + 4.0, _SMALL, "middle")
    yield line("axis", Ink(stroke=BLACK, width=0.3), (_LEFT, axes.top), (_LEFT, axes.bottom), (_RIGHT, axes.bottom))
    yield Words(chart.unit, _LEFT - 1.5, axes.top - 2.2, _SMALL, "end", bold=True)
    yield Words("s after closing", _RIGHT, axes.bottom + 8.0, _SMALL, "end", bold=True)


def _opening(chart: Chart, axes: _Axes) -> Iterator[Shape | Words]:
    """Yield the time for which the press is closed."""
    x = axes.x(chart.dwell_s)
    yield line("opening", Ink(stroke=BLACK, width=0.3, dash=(0.8, 0.8)), (x, axes.top - 3.5), (x, axes.bottom))
    yield Words(chart.dwell_words, x + 1.2, axes.top - 1.6, _SMALL)


def _limits(chart: Chart, axes: _Axes) -> Iterator[Shape | Words]:
    """Yield what the layers of the upper stand, over where they come nearest to it, with the worst cases' whiskers."""
    said: list[float] = []
    for limit_c, found in sorted(_by_limit(chart).items()):
        y = axes.y(limit_c)
        peaks = [axes.x(curve.peak[0]) for _, curve in found if curve.peak is not None]
        left, right = max(_LEFT, min(peaks) - 8.0), min(_RIGHT, max(peaks) + 8.0)
        teeth = tuple(np.array([(at, y), (at + 1.1, y - 1.3)]) for at in np.arange(left, right, 1.4))
        yield line("limit", Ink(stroke=BLACK, width=0.5), (left, y), (right, y))
        yield Shape("hatch", teeth, Ink(stroke=BLACK, width=0.15), closed=False)
        letters = ", ".join(_letter(number) for number, _ in found)
        # Words of limits near to one another go to either side.
        before = any(abs(y - other) < 1.4 * _SMALL for other in said)
        words = Words(f"{letters}: {chart.scale(limit_c):.0f} {chart.unit}", right + 1.5, y + 0.5, _SMALL, bold=True)
        yield words._replace(x=left - 1.5, anchor="end") if before else words
        said = [y] if not before else []
    for curve in chart.curves:
        if curve.role == "upper" and curve.peak is not None and curve.worst_c is not None:
            x, y, worst = axes.x(curve.peak[0]), axes.y(curve.peak[1]), axes.y(min(curve.worst_c, axes.high_c))
            yield line("worst", _WHISKER, (x, y), (x, worst))
            yield line("worst", _WHISKER, (x - 0.9, worst), (x + 0.9, worst))


def _by_limit(chart: Chart) -> dict[float, list[tuple[int, Curve]]]:
    """Return the curves of the upper's layers by what they stand, those within a kelvin of one another together."""
    found: dict[float, list[tuple[int, Curve]]] = {}
    for number, curve in enumerate(chart.curves):
        if curve.role == "upper" and curve.limit_c is not None and curve.peak is not None:
            near = next((limit_c for limit_c in found if abs(limit_c - curve.limit_c) < 1.0), curve.limit_c)
            found.setdefault(near, []).append((number, curve))
    return found


def _ink(chart: Chart, number: int) -> Ink:
    """Return how a curve is drawn: its kind's colour and width, dashes by its place among its kind."""
    role = chart.curves[number].role
    place = sum(curve.role == role for curve in chart.curves[:number])
    colour, width = _INKS[role]
    return Ink(stroke=colour, width=width, dash=(0.4, 0.9) if role == "platen" else _DASHES[place % len(_DASHES)])


def _curves(chart: Chart, axes: _Axes) -> Iterator[Shape]:
    order = sorted(range(len(chart.curves)), key=lambda number: _INKS[chart.curves[number].role][1])
    for number in order:
        curve = chart.curves[number]
        shown = np.isfinite(curve.temperatures_c)
        points = np.column_stack(
            (
                [axes.x(time_s) for time_s in chart.times_s[shown].tolist()],
                [axes.y(value) for value in curve.temperatures_c[shown].tolist()],
            )
        )
        yield Shape(f"curve {curve.role}", (points,), _ink(chart, number), closed=False)


def _marks(chart: Chart, axes: _Axes) -> Iterator[Shape | Words]:
    """Yield the moments that are named, each with its words above all curves there."""
    for time_s, temperature_c, words in chart.marks:
        wide = room_for(words, _SMALL)
        x, y = axes.x(min(time_s, axes.end_s)), axes.y(temperature_c)
        left = min(x + 0.8, _RIGHT - wide)
        there = (chart.times_s >= axes.time(left)) & (chart.times_s <= axes.time(left + wide))
        curves = [curve.temperatures_c[there] for curve in chart.curves]
        top = min(y - 6.0, axes.y(max(float(np.nanmax(each, initial=axes.low_c)) for each in curves)) - 2.5)
        yield line("pointer", Ink(stroke=BLACK, width=0.25), (x, y - 1.2), (x, top + 0.8))
        yield arrow_head((x, y - 0.4), (0.0, 1.0), 1.8)
        yield Words(words, left, top, _SMALL, bold=True)


def _tags(chart: Chart, axes: _Axes) -> Iterator[Shape | Words]:
    """Yield a lettered tag on each curve while the press is closed, apart from one another."""
    turn = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)
    taken: list[tuple[float, float]] = []
    for number, curve in enumerate(chart.curves):
        times_s = chart.dwell_s * np.linspace(0.94, 0.1, 40)
        places = [
            (axes.x(time_s), axes.y(value))
            for time_s, value in zip(
                times_s.tolist(), np.interp(times_s, chart.times_s, curve.temperatures_c).tolist(), strict=True
            )
        ]
        x, y = max(places, key=lambda at: min(2.2 * _TAG, *(math.dist(at, other) for other in (*taken, (1e3, 1e3)))))
        taken.append((x, y))
        ring = _TAG * np.column_stack((np.cos(turn), np.sin(turn))) + (x, y)
        yield Shape("tag", (ring,), Ink(fill=WHITE, stroke=BLACK, width=0.25))
        yield Words(_letter(number), x, y + 0.9, 2.5, "middle", bold=True)


def _letter(number: int) -> str:
    return chr(ord("A") + number)


def _strip(chart: Chart, axes: _Axes) -> tuple[tuple[Shape | Words, ...], float]:
    """Return the windows of dwells as bars on the time axis, and where they end."""
    items: list[Shape | Words] = []
    y = axes.bottom + 10.5
    for number, span in enumerate(chart.spans):
        begin, end = (axes.x(min(max(value, 0.0), axes.end_s)) for value in (span.begin_s, span.end_s))
        ink = Ink(fill=PALE, stroke=BLACK, width=0.25) if number == 0 else Ink(fill=BLACK, stroke=BLACK, width=0.25)
        items.append(box("window", ink, begin, y, max(end - begin, 0.4), 2.4))
        right = end + 1.5 + room_for(span.name, _SMALL) <= _RIGHT
        words = Words(span.name, end + 1.5 if right else begin - 1.5, y + 2.1, _SMALL, "start" if right else "end")
        items.append(words)
        y += 4.2
    if chart.spans:
        x = axes.x(chart.dwell_s)
        items.append(
            line("opening", Ink(stroke=BLACK, width=0.3, dash=(0.8, 0.8)), (x, axes.bottom + 9.0), (x, y - 1.0))
        )
    return tuple(items), y


def _columns(count: int) -> Sequence[float]:
    """Return where the table's columns begin [mm]: letter, sample and name, then the rest."""
    first = 74.0
    return [first + (_WIDTH - _MARGIN - first) / count * number for number in range(count)]


def _table(chart: Chart, top: float) -> tuple[tuple[Shape | Words, ...], float]:
    columns = _columns(len(chart.heads))
    items: list[Shape | Words] = [
        Words(head, x, top + 2.0, _SMALL, colour=GREY) for x, head in zip(columns, chart.heads, strict=True)
    ]
    y = top + 3.6
    items.append(line("rule", Ink(stroke=BLACK, width=0.2), (_MARGIN, y), (_WIDTH - _MARGIN, y)))
    for number, curve in enumerate(chart.curves):
        y += _ROW
        items += [
            Words(_letter(number), _MARGIN + 1.0, y - 1.0, _SMALL, bold=True),
            line("sample", _ink(chart, number), (_MARGIN + 5.0, y - 1.9), (_MARGIN + 17.0, y - 1.9)),
            Words(fitted(curve.name, _SMALL, columns[0] - _MARGIN - 20.0), _MARGIN + 19.0, y - 1.0, _SMALL,
                  bold=curve.role == "bond"),
        ]  # fmt: skip
        items += [
            Words(fitted(cell, _SMALL, _WIDTH / len(columns)), x, y - 1.0, _SMALL)
            for x, cell in zip(columns, curve.remarks, strict=False)
        ]
        items.append(line("rule", Ink(stroke=PALE, width=0.15), (_MARGIN, y + 0.6), (_WIDTH - _MARGIN, y + 0.6)))
    return tuple(items), y
