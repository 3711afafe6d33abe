"""Reference for the search of the largest copy: a slow and simple search, stored in shape_search_reference.json.

``python tests/outside/shape_search_reference.py``, or ``deploy/bench --references``, takes ten seconds of processor
time for each pair that is not stored yet. The search shares no code with the service's: it starts at random poses and
climbs by random steps that shrink, testing only whether a copy lies in the panel and how far it is from the edges.
"""

from __future__ import annotations

import json
import math
import random
import time
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import shapely
import shapely.affinity
from shapely import MultiPolygon

from featherline_service.shape.outlines import figures, text_outlines
from featherline_service.shape.outlines.svg import paths

SECONDS = 10.0
CLEARANCE_MM = 3.0
STORED = Path(__file__).with_suffix(".json")

# Invented panels, millimetres: outline and keep-outs.
PANELS = {
    "quarter": ("M0 40C0 10 20 0 40 6C70 12 90 4 104 -4L124 30C126 44 124 52 122 58C90 66 40 66 4 62Z",
                "M98 6a3 3 0 1 0 6 0a3 3 0 1 0-6 0ZM108 22a3 3 0 1 0 6 0a3 3 0 1 0-6 0Z"),
    "toe": ("M0 30C10 4 40-6 62 0C84 6 92 22 92 34C92 48 82 62 60 68C36 72 8 62 0 40Z",
            "M20 34a2 2 0 1 0 4 0a2 2 0 1 0-4 0M34 22a2 2 0 1 0 4 0a2 2 0 1 0-4 0M34 46a2 2 0 1 0 4 0a2 2 0 1 0-4 0"),
    "strap": ("M0 0H130C134 8 134 18 130 26H0Z", "M112 8H122V18H112Z"),
    "heel": ("M8 0H50L60 54C40 60 18 60-2 54Z", "M27 0H31V20H27Z"),
    "crescent": ("M0 0C30 50 90 50 120 0C110 80 10 80 0 0Z", ""),
    "tongue": ("M10 0H70C84 10 84 40 70 50H10C0 40 0 10 10 0Z", "M40 0H44V18H40ZM40 32H44V50H40Z"),
}  # fmt: skip
ARTWORK = {
    "name": "MARLOW\n7",
    "long": "CHRISTOPHER",
    "digit": "4",
    "arrow": "M0 10H30V0L50 16L30 32V22H0Z",
    "ring": "M0 20A20 20 0 1 1 40 20A20 20 0 1 1 0 20ZM6 20A14 14 0 1 0 34 20A14 14 0 1 0 6 20Z",
    "pennant": "M0 0L60 12L0 24L8 12Z",
    "initials": "J&Q",
    "small": "wave 12",
    "star": "M50 0L61 35H98L68 57L79 91L50 70L21 91L32 57L2 35H39Z",
    "bolt": "M30 0L0 50H20L10 90L50 35H28L45 0Z",
}
DRAWN = {"arrow", "ring", "pennant", "star", "bolt"}
TURNS = {"fixed": 0.0, "slight": math.radians(15.0), "free": math.pi}


def panel(name: str) -> tuple[MultiPolygon, MultiPolygon | None]:
    """Return outline and keep-outs of a panel."""
    outline, keep_outs = PANELS[name]
    return paths.region(outline, "nonzero", 0.01), paths.region(keep_outs, "nonzero", 0.01) if keep_outs else None


def artwork(name: str) -> MultiPolygon:
    """Return an artwork of height 1, in the bold font or as drawn."""
    if name in DRAWN:
        figure = figures.of_path(ARTWORK[name], "nonzero")
    else:
        file = Path(str(resources.files("font_roboto") / "files" / "Roboto-Black.ttf"))
        figure = figures.of_text(text_outlines.typeface(file), ARTWORK[name])
    return shapely.transform(figure.drawn(0), lambda points: points / figure.height)


def pairs() -> Iterator[tuple[str, str, str]]:
    """Yield every pair of panel and artwork with one of the ranges of rotation."""
    for i, place in enumerate(PANELS):
        for j, art in enumerate(ARTWORK):
            for k, turn in enumerate(TURNS):
                if (i + j + k) % 3 == 0:
                    yield place, art, turn


class Copies:
    """Copies of an artwork on a panel: whether they fit, and how large they may be."""

    def __init__(self, place: str, art: str) -> None:
        outline, keep_outs = panel(place)
        self.free = outline if keep_outs is None else outline.difference(keep_outs)
        self.edge = self.free.boundary
        shapely.prepare(self.free)
        shapely.prepare(self.edge)
        drawn = artwork(art)
        left, low, right, high = drawn.bounds
        self.drawn = shapely.affinity.translate(drawn, -(left + right) / 2.0, -(low + high) / 2.0)

    def fits(self, x: float, y: float, angle: float, height: float) -> bool:
        """Return whether a copy lies in the panel and far enough from its edges."""
        c, s = height * math.cos(angle), height * math.sin(angle)
        copy = shapely.affinity.affine_transform(self.drawn, [c, -s, s, c, x, y])
        return bool(self.free.contains(copy) and not shapely.dwithin(self.edge, copy, CLEARANCE_MM))

    def grown(self, x: float, y: float, angle: float, height: float) -> float:
        """Return the largest height at a pose when it is more than `height`, else zero."""
        if not self.fits(x, y, angle, height * 1.0002):
            return 0.0
        low, high = height * 1.0002, height * 1.3 + 1.0
        while high - low > 1e-4 * low:
            between = (low + high) / 2.0
            low, high = (between, high) if self.fits(x, y, angle, between) else (low, between)
        return low


def slow_search(place: str, art: str, turn: float, seconds: float, seed: int) -> float:
    """Return the largest height found to fit within a time."""
    copies = Copies(place, art)
    draw = random.Random(seed)  # noqa: S311 - poses, not secrets
    left, low, right, high = copies.free.bounds
    best = 0.0
    end = time.process_time() + seconds
    while time.process_time() < end:
        pose = (draw.uniform(left, right), draw.uniform(low, high), draw.uniform(-turn, turn))
        height, step = copies.grown(*pose, 0.5), 8.0
        # A climb ends when its steps are small and it is far below the best height.
        while height > 0.0 and step > 0.01 and not (height < 0.6 * best and step < 2.0) and time.process_time() < end:
            for _ in range(25):
                x, y = (value + draw.gauss(0.0, step) for value in pose[:2])
                angle = max(-turn, min(turn, pose[2] + draw.gauss(0.0, step / 30.0)))
                better = copies.grown(x, y, angle, height)
                if better > height:
                    pose, height = (x, y, angle), better
                    break
            else:
                step /= 2.0
        best = max(best, height)
    return best


def store() -> None:
    """Search the pairs that are not stored yet, and store the results beside this script."""
    known = {(row["panel"], row["artwork"], row["turn"]): row for row in json.loads(STORED.read_text())}
    for seed, pair in enumerate(pairs()):
        if pair not in known:
            place, art, turn = pair
            height = slow_search(place, art, TURNS[turn], SECONDS, seed)
            known[pair] = {"panel": place, "artwork": art, "turn": turn, "height_mm": height}
            STORED.write_text(json.dumps([known[each] for each in pairs() if each in known], indent=1) + "\n")


if __name__ == "__main__":
    store()
