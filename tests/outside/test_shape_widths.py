"""Widths against rays from all points of the outline: slow, and independent of the service's algorithm.

The definition is common to both, and no other source is needed: a width is the length of a chord that is perpendicular
to the outline at both ends, or leans by up to 5 degrees in total where a stroke tapers, and a piece or counter is no
wider than the largest circle in it.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
import shapely
from draws import drawn, sample
from numpy.typing import NDArray
from shapely import MultiPolygon

from featherline_service.shape.outlines import figures, text_outlines, widths
from featherline_service.shape.outlines.svg import paths
from featherline_service.shape.outlines.text_outlines import Typeface

Floats = NDArray[np.float64]

SAMPLES = 600
FINER = 4.0
CORNER = math.radians(30.0)
TIP = math.radians(60.0)
# Where a stroke tapers by about the limit, the reference is a range between these angles.
LIMIT, LOWER, UPPER = math.radians(5.0), math.radians(4.0), math.radians(6.5)
FONTS = {"plain": ("font_fjallaone", "FjallaOne-Regular.ttf"), "bold": ("font_roboto", "Roboto-Black.ttf")}


def typeface(name: str) -> Typeface:
    """Return a font of the demo book."""
    package, file = FONTS[name]
    return text_outlines.typeface(Path(str(resources.files(package) / "files" / file)))


def inked(face: Typeface) -> list[int]:
    """Return the glyphs of a font with ink."""
    return [glyph for glyph in range(1, face.font.face.glyph_count) if text_outlines.glyph_contours(face, glyph)]


def angles(one: Floats, other: Floats) -> Floats:
    """Return the angles from vectors to others [rad]."""
    cross = one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0]
    return np.asarray(np.arctan2(cross, np.sum(one * other, axis=-1)))


@dataclass
class Ray:
    """The length of a ray, its start and end as segments and positions along them, and its lean at the end."""

    length: float
    begin: int
    begin_share: float
    end: int
    end_share: float
    lean: float


class Rays:
    """The rays inside a region, or outside, from all points of its outline to their first meeting with it."""

    def __init__(self, region: MultiPolygon, *, inside: bool) -> None:
        self.region, self.inside = region, inside
        rings = [
            shapely.get_coordinates(ring)[:-1]
            for part in shapely.orient_polygons(region).geoms
            for ring in (part.exterior, *part.interiors)
        ]
        self.start = np.concatenate(rings)
        self.side = np.concatenate([np.roll(ring, -1, axis=0) - ring for ring in rings])
        self.ring = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
        starts = [0, *np.cumsum([len(ring) for ring in rings])]
        numbers = [np.arange(low, high) for low, high in itertools.pairwise(starts)]
        self.before = np.concatenate([np.roll(number, 1) for number in numbers])
        self.after = np.concatenate([np.roll(number, -1) for number in numbers])
        self.length = np.hypot(*self.side.T)
        self.along = np.concatenate([np.cumsum(self.length[number]) - self.length[number] for number in numbers])
        self.around = np.concatenate([np.full(len(number), self.length[number].sum()) for number in numbers])
        tangent = self.side / self.length[:, None]
        sign = -1.0 if inside else 1.0
        self.normal = sign * np.column_stack([tangent[:, 1], -tangent[:, 0]])
        self.turn = sign * angles(tangent[self.before], tangent)
        """Turn at the segments' starts; positive where the outline points to the measured side."""
        self.corners = np.flatnonzero(np.abs(self.turn) > CORNER)
        self.tips = np.flatnonzero(self.turn < TIP - math.pi)
        self.found = sorted(self._shot(), key=lambda ray: ray.length)

    def _origins(self) -> Iterator[tuple[Floats, Floats, NDArray[np.intp], Floats]]:
        """Yield points, directions, segments and positions: along the segments, and in fans at corners that point."""
        count = np.maximum(1, np.ceil(self.length * SAMPLES / self.region.length)).astype(int)
        segment = np.repeat(np.arange(len(count)), count)
        place = np.arange(len(segment)) - np.repeat(np.cumsum(count) - count, count)
        every = np.arange(len(count))
        for own, share in (
            (segment, (place + 0.5) / count[segment]),
            (every, np.full(len(every), 1e-3)),
            (every, np.full(len(every), 1.0 - 1e-3)),
        ):
            yield self.start[own] + share[:, None] * self.side[own], self.normal[own], own, share
        for corner in self.corners[self.turn[self.corners] > 0.0]:
            first = math.atan2(*self.normal[self.before[corner]][::-1])
            swing = float(angles(self.normal[self.before[corner]], self.normal[corner]))
            turned = first + np.linspace(0.0, swing, 2 + int(abs(swing) / math.radians(0.5)))
            own = np.full(len(turned), corner)
            yield self.start[own], np.column_stack([np.cos(turned), np.sin(turned)]), own, np.zeros(len(turned))

    def _shot(self) -> Iterator[Ray]:
        """Yield the rays that arrive nearly perpendicular."""
        points, directions, segments, shares = map(np.concatenate, zip(*self._origins(), strict=True))
        size = math.hypot(*np.ptp(self.start, axis=0))
        for low in range(0, len(points), 512):
            some = slice(low, low + 512)
            p, d, own = points[some, None], directions[some, None], segments[some]
            x, y = np.moveaxis(self.start - p, -1, 0)
            with np.errstate(divide="ignore", invalid="ignore"):
                across = d[..., 0] * self.side[:, 1] - d[..., 1] * self.side[:, 0]
                ahead = (x * self.side[:, 1] - y * self.side[:, 0]) / across
                share = (x * d[..., 1] - y * d[..., 0]) / across
            row = np.arange(len(own))
            missed = ~((ahead > 1e-9 * size) & (share >= 0.0) & (share <= 1.0))
            missed[row, own] = True
            fans = shares[some] == 0.0
            missed[row[fans], self.before[own[fans]]] = True
            ahead[missed] = math.inf
            hit = np.argmin(ahead, axis=1)
            lean = np.abs(angles(self.normal[hit], -directions[some]))
            for k in np.flatnonzero(np.isfinite(ahead[row, hit]) & (lean <= UPPER)):
                yield Ray(
                    float(ahead[k, hit[k]]), int(own[k]), float(shares[some][k]), int(hit[k]),
                    float(share[k, hit[k]]), float(lean[k]),
                )  # fmt: skip

    def in_tip(self, ray: Ray) -> bool:
        """Return whether a ray joins the straight arms of a sharp corner."""
        one, other = ray.begin, ray.end
        parallel = -float(self.normal[one] @ self.normal[other]) >= math.cos(math.radians(1.5))
        if self.ring[one] != self.ring[other] or parallel:
            return False
        ends = [
            (self.along[segment] + share * self.length[segment], self.start[segment] + share * self.side[segment])
            for segment, share in ((one, ray.begin_share), (other, ray.end_share))
        ]
        for (here, at), (there, to) in (ends, ends[::-1]):
            way = (there - here) % self.around[one]
            for tip in self.tips[self.ring[self.tips] == self.ring[one]]:
                if (self.along[tip] - here) % self.around[one] <= way:
                    arms = math.dist(at, self.start[tip]) + math.dist(to, self.start[tip])
                    if arms >= 0.97 * way:
                        return True
        return False

    def _lean(self, corner: int, direction: Floats) -> float:
        """Return how far a direction leans from square at a corner."""
        into, out = (float(angles(self.normal[side], direction)) for side in (self.before[corner], corner))
        if self.turn[corner] > 0.0 and (into <= 0.0 <= out or out <= 0.0 <= into) and abs(into - out) < math.pi:
            return 0.0
        return min(abs(into), abs(out))

    def _between_corners(self, limit: float, most: float) -> float:
        """Return the shortest chord from corner to corner that leans by up to a limit, or `most`."""
        for place, one in enumerate(self.corners):
            for other in self.corners[place + 1 :]:
                way = self.start[other] - self.start[one]
                length = float(np.hypot(*way))
                if length >= most or other in (self.before[one], self.after[one]):
                    continue
                if self._lean(int(one), way) + self._lean(int(other), -way) > limit:
                    continue
                line = shapely.linestrings([self.start[one] + 1e-6 * way, self.start[other] - 1e-6 * way])
                clear = self.region.contains_properly(line) if self.inside else not self.region.intersects(line)
                if clear and not self.in_tip(Ray(length, int(one), 0.0, int(other), 0.0, 0.0)):
                    most = length
        return most

    def narrowest(self, limit: float = LIMIT) -> float:
        """Return the narrowest stroke or gap; infinite where there is none."""
        straight = (ray.length for ray in self.found if ray.lean <= limit and not self.in_tip(ray))
        spaces = (
            list(self.region.geoms)
            if self.inside
            else [shapely.polygons(ring) for part in self.region.geoms for ring in part.interiors]
        )
        circles = [_largest_circle(space) for space in spaces]
        return self._between_corners(limit, min(next(straight, math.inf), min(circles, default=math.inf)))


def _largest_circle(space: shapely.Polygon) -> float:
    left, low, right, high = space.bounds
    circle = shapely.maximum_inscribed_circle(space, min(right - left, high - low) / 4000.0)
    return 2.0 * float(shapely.length(circle))


def differing(detail: widths.Detail, fine: MultiPolygon) -> list[str]:
    """Return what of a detail is more than 0.5 % from what rays find on a finer outline."""
    found = []
    for what, measure, inside in (("stroke", detail.stroke, True), ("gap", detail.gap, False)):
        ours, rays = math.inf if measure is None else measure, Rays(fine, inside=inside)
        exact = rays.narrowest()
        if ours == exact or abs(ours / exact - 1.0) <= 0.005:
            continue
        if not 0.995 * rays.narrowest(UPPER) <= ours <= 1.005 * rays.narrowest(LOWER):
            found.append(f"{what} {ours:.6g}, by rays {exact:.6g}")
    return found


@pytest.mark.parametrize("part", range(5))
@pytest.mark.parametrize("font", FONTS)
def test_widths_of_a_hundred_glyphs_of_each_font_agree_with_rays(font: str, part: int) -> None:
    """Strokes and gaps of letters, digits, accents and signs, spread over the whole font, within 0.5 %."""
    face = typeface(font)
    all_of_them = inked(face)
    chosen = all_of_them[:: len(all_of_them) // 100][:100]

    wrong = {}
    for glyph in sample(chosen[part::5]):
        tolerance = face.em / 16384.0
        detail = widths.measure(text_outlines.glyph_region(face, glyph, tolerance), tolerance)
        wrong[glyph] = differing(detail, text_outlines.glyph_region(face, glyph, tolerance / FINER))

    assert drawn(20) == len(wrong)
    assert {} == {glyph: what for glyph, what in wrong.items() if what}


def ring_of(points: list[tuple[float, float]]) -> str:
    """Return a polygon as path data."""
    return "M" + "L".join(f"{x:.6f} {y:.6f}" for x, y in points) + "Z"


def smooth(points: list[tuple[float, float]]) -> str:
    """Return a smooth closed curve through points as path data: Catmull-Rom's, as cubics."""
    count = len(points)
    data = f"M{points[0][0]:.6f} {points[0][1]:.6f}"
    for k in range(count):
        a, b, c, d = (points[(k + step) % count] for step in (-1, 0, 1, 2))
        first = (b[0] + (c[0] - a[0]) / 6.0, b[1] + (c[1] - a[1]) / 6.0)
        second = (c[0] - (d[0] - b[0]) / 6.0, c[1] - (d[1] - b[1]) / 6.0)
        data += "C" + " ".join(f"{x:.6f} {y:.6f}" for x, y in (first, second, c))
    return data + "Z"


def around(radii: list[float], x: float = 0.0, y: float = 0.0, phase: float = 0.0) -> list[tuple[float, float]]:
    """Return points around a centre."""
    turns = [phase + 2.0 * math.pi * k / len(radii) for k in range(len(radii))]
    return [(x + r * math.cos(t), y + r * math.sin(t)) for r, t in zip(radii, turns, strict=True)]


def star(draw: random.Random) -> str:
    """Return a star of a few points, more or less deep."""
    depth = draw.uniform(0.3, 0.8)
    return ring_of(around([10.0 * (depth if k % 2 else 1.0) for k in range(2 * draw.randint(4, 11))]))


def comb(draw: random.Random) -> str:
    """Return a comb whose teeth and gaps are of many widths."""
    points, x, back = [(0.0, 0.0)], 0.0, draw.uniform(1.0, 4.0)
    for _ in range(draw.randint(3, 8)):
        tooth, gap = draw.uniform(0.4, 2.0), draw.uniform(0.4, 2.0)
        points += [(x, 8.0), (x + tooth, 8.0), (x + tooth, back), (x + tooth + gap, back)]
        x += tooth + gap
    return ring_of([*points, (x, 8.0), (x + 1.0, 8.0), (x + 1.0, 0.0)])


def ring(draw: random.Random) -> str:
    """Return a ring around a hole that is off its middle."""
    a, b = 10.0, draw.uniform(6.0, 10.0)
    r = draw.uniform(0.3, 0.7) * b
    x = draw.uniform(-0.9, 0.9) * (b - r)
    outer = f"M{-a} 0A{a} {b} 0 1 1 {a} 0A{a} {b} 0 1 1 {-a} 0Z"
    return outer + f"M{x - r} 0A{r} {r} 0 1 0 {x + r} 0A{r} {r} 0 1 0 {x - r} 0Z"


def spiral(draw: random.Random) -> str:
    """Return a band wound up in a spiral."""
    pitch, band = draw.uniform(1.5, 3.0), draw.uniform(0.3, 0.7)
    turns = np.linspace(0.0, 2.0 * math.pi * draw.uniform(1.5, 2.5), 160)
    inner = [(pitch * t / 6.28 + 2.0, t) for t in turns]
    outer = [(pitch * t / 6.28 + 2.0 + band * pitch, t) for t in turns[::-1]]
    return ring_of([(r * math.cos(t), r * math.sin(t)) for r, t in (*inner, *outer)])


def plate(draw: random.Random) -> str:
    """Return a polygon with holes."""
    outer = ring_of(around([draw.uniform(9.0, 12.0) for _ in range(draw.randint(5, 12))]))
    holes = [
        ring_of(around([draw.uniform(1.0, 2.0) for _ in range(draw.randint(3, 7))], x, y, draw.uniform(0.0, 6.0)))
        for x, y in around([4.5, 4.5, 4.5])
    ]
    return outer + "".join(holes)


def blob(draw: random.Random) -> str:
    """Return a smooth shape with a smooth hole."""
    outer = smooth(around([draw.uniform(5.0, 12.0) for _ in range(draw.randint(6, 11))]))
    return outer + smooth(around([draw.uniform(1.0, 3.0) for _ in range(draw.randint(4, 6))]))


DRAWINGS: dict[str, Callable[[random.Random], str]] = {
    "star": star, "comb": comb, "ring": ring, "spiral": spiral, "plate": plate, "blob": blob,
}  # fmt: skip


@pytest.mark.parametrize("kind", DRAWINGS)
def test_widths_of_drawings_agree_with_rays(kind: str) -> None:
    """Nine drawings of six kinds have widths within 0.5 % of the rays'."""
    wrong = {}
    for seed in range(9):
        data = DRAWINGS[kind](random.Random(seed))  # noqa: S311 - drawings, not secrets
        figure = figures.of_path(data, "evenodd")
        wrong[seed] = differing(figure.detail, paths.region(data, "evenodd", figure.coarsest / 2.0 / FINER))

    assert {} == {seed: what for seed, what in wrong.items() if what}
