"""Many paths at once: which of them plainly can be drawn, told from their numbers without drawing them.

A shop book has tens of thousands of paths, each of which takes a millisecond and more to draw. What is told here takes
ten microseconds a path, and is only ever a yes: a path that is not plain has to be drawn to know.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

MOST_DRAWN: Final = 64
"""Lines, curves and arcs of a plain path: so few draw no tangle worth refusing."""
_MOST_POINTS: Final = 30_000
# Of the square of its length, for each command: a region needs 1e-9 of the square of its extent, which is up to twice
# its length, and no point is wound around more often than three times a command, as often as a cubic crosses a ray.
_SMALLEST_SHARE: Final = 1e-7
_ARC_PIECES: Final = 16
_STEPS: Final = 16  # of each curve of a ring: chords stay within 0.3 % of its bend

_NUMBER: Final = r"[+-]?[0-9]{1,4}(?:\.[0-9]{1,20})?"
_BLANKS: Final = r"[ \t\r\n]*+"
_GAP: Final = rf"(?:[ \t\r\n]++,?|,){_BLANKS}"
_PAIR: Final = f"{_NUMBER}{_GAP}{_NUMBER}"
_DRAWN: Final = (
    f"(?:C{_BLANKS}{_PAIR}(?:{_GAP}{_PAIR}){{2}}|L{_BLANKS}{_PAIR}|[HV]{_BLANKS}{_NUMBER}"
    f"|A{_BLANKS}{_PAIR}{_GAP}{_NUMBER}{_GAP}[01]{_GAP}[01]{_GAP}{_PAIR}){_BLANKS}"
)
_PLAIN: Final = re.compile(f"(?:{_BLANKS}M{_BLANKS}{_PAIR}{_BLANKS}(?:{_DRAWN})+[Zz]{_BLANKS})+")
_ONE_RING: Final = re.compile(r"[^M]*M[^MA]*")
_M, _C, _L, _H, _V, _A, _Z, _END = b"MCLHVAZ|"
_NO_LETTERS: Final = b"0123456789+-., \t\r\n"
_NUMBERS_ALONE: Final = bytes.maketrans(b"MCLHVAZ,|", b" " * 9)
_TAKES: Final = np.zeros(256, np.intp)
for _letter, _count in ((_M, 2), (_C, 6), (_L, 2), (_H, 1), (_V, 1), (_A, 7)):
    _TAKES[_letter] = _count


@dataclass(frozen=True, eq=False)
class _Commands:
    """The commands of plain paths, in a row: the path of each, its letter, its start and end, and its arguments."""

    owner: Places
    letter: NDArray[np.uint8]
    start: Floats
    end: Floats
    first: Places
    numbers: Floats

    def arguments(self, chosen: Places, count: int) -> Floats:
        """Return the arguments of some commands that take so many, shape (n, count)."""
        arguments: Floats = self.numbers[self.first[chosen][:, None] + np.arange(count)]
        return arguments

    def controls(self, chosen: Places) -> Floats:
        """Return the control points of some cubics, shape (n, 4, 2)."""
        middle = self.arguments(chosen, 6).reshape(-1, 3, 2)
        return np.concatenate([self.start[chosen][:, None], middle], axis=1)


def drawable(paths: Sequence[str], tolerance: float) -> NDArray[np.bool_]:
    """Tell of each of many paths whether it plainly can be drawn, with the rule ``nonzero``.

    Args:
        paths: Path data, in millimetres.
        tolerance: With which its curves would be flattened [mm].

    Returns:
        For each path: True where `paths.region` draws it if crossings are not counted; False where that is not plain.

    References:
        The winding number of a closed curve, integrated over the plane, is its signed area (Green's theorem). The area
        beside a cubic is that of its Bernstein polynomials, integrated in pairs.
    """
    plain = np.array([_PLAIN.fullmatch(path) is not None for path in paths], np.bool_)
    places = np.flatnonzero(plain)
    if not len(places):
        return plain
    commands = _commands([paths[place] for place in places.tolist()])
    area, length, points = _measures(commands, tolerance)

    def total(values: Floats) -> Floats:
        return np.bincount(commands.owner, weights=values, minlength=len(places)).astype(np.float64)

    count, whole = total(np.ones_like(area)), total(length)
    drawn = total(((commands.letter != _M) & (commands.letter != _Z)).astype(np.float64))
    # The flattened outline lies within the tolerance of the curves.
    least = 2.0 * tolerance * whole + _SMALLEST_SHARE * count * whole**2
    plain[places] = (np.abs(total(area)) > least) & (drawn <= MOST_DRAWN) & (total(points) <= _MOST_POINTS)
    return plain


def rings(paths: Sequence[str]) -> NDArray[np.object_]:
    """Return plain paths of one contour without arcs as polygons, y upwards, for rough checks; others are None."""
    drawn = np.full(len(paths), None, np.object_)
    places = [place for place, path in enumerate(paths) if _PLAIN.fullmatch(path) and _ONE_RING.fullmatch(path)]
    if places:
        commands = _commands([paths[place] for place in places])
        moves = (commands.letter != _C) & np.all(commands.start == commands.end, axis=1)
        kept = np.flatnonzero((commands.letter != _M) & ~moves)
        start, end = commands.start[kept], commands.end[kept]
        controls = np.stack([start, (2.0 * start + end) / 3.0, (start + 2.0 * end) / 3.0, end], axis=1)
        cubic = commands.letter[kept] == _C
        controls[cubic] = commands.controls(kept[cubic])
        t = np.arange(_STEPS) / _STEPS
        weights = np.stack([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3], axis=1)
        points = (weights @ controls).reshape(-1, 2) * (1.0, -1.0)
        loops = shapely.linearrings(points, indices=np.repeat(commands.owner[kept], _STEPS))
        drawn[places] = shapely.polygons(loops)
    return drawn


def _commands(paths: Sequence[str]) -> _Commands:
    """Return the commands of plain paths."""
    text = "|".join(paths).upper().encode("ascii")
    letter = np.frombuffer(text.translate(None, _NO_LETTERS), np.uint8)
    owner = np.cumsum(letter == _END)[letter != _END]
    letter = letter[letter != _END]
    numbers = np.fromstring(text.translate(_NUMBERS_ALONE).decode("ascii"), sep=" ")
    takes = _TAKES[letter]
    first = np.cumsum(takes) - takes
    order = np.arange(len(letter))
    moved = np.maximum.accumulate(np.where(letter == _M, order, 0))

    def ends(at: Places, keeps: int) -> Floats:
        """Return a coordinate of where each command ends: its own, that of the move before Z, or else the last."""
        comes_from = np.where(letter == _Z, moved, order)
        known = np.maximum.accumulate(np.where(letter == keeps, 0, order))
        coordinates: Floats = numbers[np.minimum(at, len(numbers) - 1)][comes_from[known]]
        return coordinates

    x = ends(np.where(letter == _H, first, first + takes - 2), _V)
    y = ends(first + takes - 1, _H)
    end = np.stack([x, y], axis=1)
    return _Commands(owner, letter, np.roll(end, 1, axis=0), end, first, numbers)


def _measures(commands: _Commands, tolerance: float) -> tuple[Floats, Floats, Floats]:
    """Return of each command its part of the signed area, at least its length, and at least its flattened points."""
    area = _cross(commands.start, commands.end) / 2.0
    length = np.hypot(*(commands.end - commands.start).T)
    area[commands.letter == _M] = 0.0
    length[np.flatnonzero(np.diff(commands.owner, prepend=-1))] = 0.0
    points = np.ones_like(area)
    cubics = np.flatnonzero(commands.letter == _C)
    p0, p1, p2, p3 = np.moveaxis(commands.controls(cubics), 1, 0)
    area[cubics] = (
        6.0 * (_cross(p0, p1) + _cross(p2, p3))
        + 3.0 * (_cross(p0, p2) + _cross(p1, p2) + _cross(p1, p3))
        + _cross(p0, p3)
    ) / 20.0
    length[cubics] = sum(np.hypot(*(b - a).T) for a, b in ((p0, p1), (p1, p2), (p2, p3)))
    # As `curves.flatten`, with twice the length for the largest second difference.
    points[cubics] = 1.0 + np.sqrt(1.5 * length[cubics] / tolerance)
    arcs = np.flatnonzero(commands.letter == _A)
    area[arcs], length[arcs] = _of_arcs(commands, arcs, area[arcs])
    points[arcs] = _ARC_PIECES + np.sqrt(1.5 * _ARC_PIECES * length[arcs] / tolerance)
    return area, length, points


def _of_arcs(commands: _Commands, arcs: Places, chords: Floats) -> tuple[Floats, Floats]:
    """Return the part of arcs in the signed area, the segment beside the chord with it, and at least their length.

    References:
        SVG 1.1 (Second Edition), W3C 2011, appendix F.6: radii that are too small grow, one of zero makes a line.
    """
    radius_x, radius_y, tilt, large, sweep = commands.arguments(arcs, 5).T
    radius_x, radius_y = np.abs(radius_x), np.abs(radius_y)
    chord = commands.end[arcs] - commands.start[arcs]
    cosine, sine = np.cos(np.radians(tilt)), np.sin(np.radians(tilt))
    curved = (radius_x > 0.0) & (radius_y > 0.0) & np.any(chord != 0.0, axis=1)
    along = (chord[:, 0] * cosine + chord[:, 1] * sine) / np.where(curved, radius_x, 1.0)
    across = (chord[:, 1] * cosine - chord[:, 0] * sine) / np.where(curved, radius_y, 1.0)
    half = np.hypot(along, across) / 2.0
    grown = np.maximum(half, 1.0)
    angle = 2.0 * np.arcsin(half / grown)
    angle = np.where(large == 1.0, 2.0 * np.pi - angle, angle)
    segment = radius_x * radius_y * grown**2 * (angle - np.sin(angle)) / 2.0
    length = np.maximum(radius_x, radius_y) * grown * angle + np.hypot(*chord.T)
    return chords + np.where(curved, np.where(sweep == 1.0, segment, -segment), 0.0), length


def _cross(a: Floats, b: Floats) -> Floats:
    product: Floats = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product
