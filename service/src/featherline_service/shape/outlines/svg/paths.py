"""SVG path data: the whole grammar of SVG 1.1, bounded against hostile input.

Why not a library: those tried accept text outside the grammar or fail on parts of it (packed arc flags, implicit
lines), and none bounds its input.
"""

from __future__ import annotations

import math
import re
from typing import Final

from shapely import MultiPolygon

from featherline_service.messages.values import Quantity
from featherline_service.runtime.cache import cached
from featherline_service.shape.outlines import curves
from featherline_service.shape.outlines.curves import Contour, DrawingError, Segment
from featherline_service.shape.outlines.regions import FillRule, fill

LONGEST_PATH: Final = 100_000
MOST_SEGMENTS: Final = 10_000
LARGEST_COORDINATE: Final = 1e6
# A region with less area than this share of the square around its drawing is the rounding error of doubled lines.
SMALLEST_SHARE: Final = 1e-9

_GAP: Final = re.compile(r"[\t\n\r ]*(?:,[\t\n\r ]*)?")
_BLANKS: Final = re.compile(r"[\t\n\r ]*")
NUMBER: Final = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER: Final = re.compile(NUMBER)
_FLAG: Final = re.compile(r"[01]")
# Arguments of the commands: n is a number, f a flag.
_ARGUMENTS: Final = {
    "M": "nn", "L": "nn", "H": "n", "V": "n", "C": "nnnnnn", "S": "nnnn", "Q": "nnnn", "T": "nn", "A": "nnnffnn",
    "Z": "",
}  # fmt: skip


class _Pen:
    """A pen that follows path commands and collects closed contours."""

    def __init__(self) -> None:
        self.contours: list[Contour] = []
        self.closed: list[bool] = []
        self._drawn = 0
        self._run: list[Segment] = []
        self._start = self._at = self._mirror = 0j
        self._after = ""

    def draw(self, command: str, values: list[float]) -> None:  # noqa: C901 - one case for each command
        """Draw a command with one set of arguments; lower-case commands are relative."""
        name = command.upper()
        base = self._at if command.islower() else 0j
        pairs = values[5:] if name == "A" else values
        points = [base + complex(x, y) for x, y in zip(pairs[::2], pairs[1::2], strict=False)]
        match name:
            case "Z":
                self.close(explicitly=True)
            case "M":
                self.close()
                self._start = self._at = points[0]
            case "L":
                self._add([curves.line(self._at, points[0])])
            case "H":
                self._add([curves.line(self._at, complex(base.real + values[0], self._at.imag))])
            case "V":
                self._add([curves.line(self._at, complex(self._at.real, base.imag + values[0]))])
            case "C":
                self._cubic(points[0], points[1], points[2])
            case "S":
                self._cubic(self._reflected("CS"), points[0], points[1])
            case "Q":
                self._quadratic(points[0], points[1])
            case "T":
                self._quadratic(self._reflected("QT"), points[0])
            case _:
                tilt = math.radians(math.fmod(values[2], 360.0))
                large, sweep = values[3] == 1.0, values[4] == 1.0
                self._add(
                    curves.elliptical_arc(self._at, points[0], (values[0], values[1]), tilt, large=large, sweep=sweep)
                )
        self._after = name
        if max(abs(self._at.real), abs(self._at.imag)) > LARGEST_COORDINATE:
            raise DrawingError(
                "drawing.out-of-range",
                "The path leaves the range of {largest_coordinate} units: draw it smaller",
                largest_coordinate=Quantity(round(LARGEST_COORDINATE, 0), None, 0),
            )

    def close(self, *, explicitly: bool = False) -> None:
        """End the subpath; an open subpath is closed by a straight line, as for filling (SVG 1.1 section 11.3)."""
        if self._run:
            self.closed.append(explicitly or self._at == self._start)
            if self._at != self._start:
                self._run.append(curves.line(self._at, self._start))
            self.contours.append(curves.contour(self._run))
        self._run = []
        self._at = self._start

    def _reflected(self, family: str) -> complex:
        """Return the last command's control point mirrored in the current point, or the current point without one."""
        return 2.0 * self._at - self._mirror if self._after and self._after in family else self._at

    def _cubic(self, first: complex, second: complex, end: complex) -> None:
        self._add([(self._at, first, second, end)])
        self._mirror = second

    def _quadratic(self, control: complex, end: complex) -> None:
        self._add([curves.quadratic(self._at, control, end)])
        self._mirror = control

    def _add(self, segments: list[Segment]) -> None:
        if segments:
            self._run.extend(segments)
            self._at = segments[-1][3]
            self._drawn += len(segments)
        if self._drawn > MOST_SEGMENTS:
            raise DrawingError(
                "path.too-many-segments",
                "The path has more than {most_segments} segments: simplify it",
                most_segments=MOST_SEGMENTS,
            )


def contours(data: str) -> tuple[Contour, ...]:
    """Return the closed contours of SVG path data, y upwards.

    Args:
        data: Path data, y downwards, in any length unit; at most 100,000 characters.

    Returns:
        Arrays of cubic segments, shape (k, 4, 2), one array per subpath. Open subpaths are closed.

    Raises:
        DrawingError: The text is not path data, or exceeds a limit; a syntax error names its position.

    References:
        SVG 1.1 (Second Edition), W3C 2011, section 8.3.9, the grammar for path data.
    """
    return _drawn(data)[0]


def are_closed(data: str) -> tuple[bool, ...]:
    """Tell of each contour of path data whether it is drawn closed; of others the last segment is added.

    Raises:
        DrawingError: As in `contours`.
    """
    return _drawn(data)[1]


def widest_gap(data: str) -> float:
    """Return how far at most a contour of path data ends from where it begins, in its unit; 0 if all are closed.

    Raises:
        DrawingError: As in `contours`.
    """
    added = [contour[-1] for contour, closed in zip(*_drawn(data), strict=True) if not closed]
    return max((math.dist(line[0], line[3]) for line in added), default=0.0)


@cached
def _drawn(data: str) -> tuple[tuple[Contour, ...], tuple[bool, ...]]:
    if len(data) > LONGEST_PATH:
        raise DrawingError(
            "path.too-long",
            "The path data is longer than {longest_path} characters: simplify the drawing",
            longest_path=LONGEST_PATH,
        )
    pen = _Pen()
    at = _skip(_BLANKS, data, 0)
    first = True
    while at < len(data):
        command = data[at]
        takes = _ARGUMENTS.get(command.upper())
        if takes is None or not command.isascii():
            raise DrawingError(
                "path.no-such-command",
                "{position}: there is no path command {command!r}",
                position=_position(data, at),
                command=command,
            )
        if first and command not in "Mm":
            raise DrawingError(
                "path.no-start", "{position}: path data starts with M or m", position=_position(data, at)
            )
        first = False
        at = _skip(_BLANKS, data, at + 1)
        if not takes:
            pen.draw(command, [])
            continue
        more = True
        while more:
            values, at = _arguments(data, at, takes, command)
            pen.draw(command, values)
            if command in "Mm":
                command = "L" if command == "M" else "l"
            after = _skip(_GAP, data, at)
            more = after < len(data) and _NUMBER.match(data, after) is not None
            at = after if more else _skip(_BLANKS, data, at)
    pen.close()
    return tuple(contour * (1.0, -1.0) for contour in pen.contours), tuple(pen.closed)


@cached
def region(data: str, rule: FillRule, tolerance: float, *, tangled: bool = False) -> MultiPolygon:
    """Return the region that SVG path data encloses, y upwards, its curves flattened to `tolerance`.

    Args:
        data: Path data, y downwards, in any length unit.
        rule: ``nonzero`` or ``evenodd``.
        tolerance: Largest distance of a curve from its chords, in the path's unit.
        tangled: Whether its outlines may cross as often as they do.

    Raises:
        DrawingError: As in `contours` and `regions.fill`; no area is enclosed.
    """
    outlines = contours(data)
    filled = fill([curves.flatten(contour, tolerance) for contour in outlines], rule, tangled=tangled)
    width, height = extent(data)
    if filled.area <= SMALLEST_SHARE * max(width, height) ** 2:
        raise DrawingError("path.no-area", "The path encloses no area: draw closed shapes, not lines")
    return filled


def extent(data: str) -> tuple[float, float]:
    """Return width and height of the box around all control points of path data, in its unit.

    Raises:
        DrawingError: As in `contours`; the path draws nothing.
    """
    outlines = contours(data)
    if not outlines:
        raise DrawingError("path.empty", "The path draws nothing: give at least one closed shape")
    return curves.box_size(outlines)


def _skip(pattern: re.Pattern[str], data: str, at: int) -> int:
    match = pattern.match(data, at)
    return match.end() if match else at


def _position(data: str, at: int) -> str:
    return f"Path data, character {at + 1}" if at < len(data) else "Path data, at its end"


def _arguments(data: str, at: int, takes: str, command: str) -> tuple[list[float], int]:
    """Return one set of a command's arguments and the position after it."""
    values = []
    for index, kind in enumerate(takes):
        if index:
            at = _skip(_GAP, data, at)
        match = (_FLAG if kind == "f" else _NUMBER).match(data, at)
        if match is None:
            expected = "a flag, 0 or 1" if kind == "f" else "a number"
            place = _position(data, at)
            raise DrawingError(
                "path.number-missing",
                "{place}: {command} wants {expected} here (it takes {takes} at a time)",
                place=place,
                command=command,
                expected=expected,
                takes=len(takes),
            )
        value = float(match[0])
        if not abs(value) <= LARGEST_COORDINATE:
            raise DrawingError(
                "path.number-too-large",
                "{position}: {match} is beyond {largest_coordinate}",
                position=_position(data, at),
                match=match[0][:20],
                largest_coordinate=Quantity(round(LARGEST_COORDINATE, 0), None, 0),
            )
        values.append(value)
        at = match.end()
    return values, at
