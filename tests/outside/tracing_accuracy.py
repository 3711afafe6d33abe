"""How well panels are traced from synthetic photos: over 200 photos, and those that the tests use.

    python tests/outside/tracing_accuracy.py measure  # writes tracing_accuracy.json; takes half an hour
    python tests/outside/tracing_accuracy.py photos   # writes the photos of tests/service/tracing

Of two photos one is taken with reasonable care, the other with little. A tracing is compared with what was drawn,
moved so that both have their centroid at one place: where on the sheet the panel lies makes no difference.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from shapely import affinity
from tracing_photos import Conditions, Subject, conditions, panel, photograph

from featherline.wire.tracings import Paper
from featherline_service.drawing.media import svg
from featherline_service.questions import tracings
from featherline_service.tracing import panels
from featherline_service.tracing.panels import Tracing
from featherline_service.tracing.refusal import RefusalError

HERE: Final = Path(__file__).parent
STORED: Final = HERE / "tracing_accuracy.json"
PHOTOS: Final = HERE.parent / "service" / "tracing" / "photos"
COUNT: Final = 208
_PAPERS: Final[dict[Paper, tuple[float, float]]] = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
_BARS: Final[dict[Paper, tuple[float, float]]] = {"a4": (247.0, 156.0), "letter": (229.4, 161.9)}
_RULER_MM: Final = 0.15
_MARKS_OF_RULER: Final = 4  # in a millimetre, to which the eye rounds


class Photo:
    """A photo by its number: what is on it, how it was taken, and what a ruler says of its bars."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.seed = seed
        self.paper: Paper = "letter" if seed % 4 == 3 else "a4"
        self.subject: Subject = panel(rng, _PAPERS[self.paper])
        self.how: Conditions = conditions(rng, _PAPERS[self.paper], reasonable=seed % 2 == 0)
        self._ruler = rng

    def taken(self) -> bytes:
        """Return the photo."""
        return photograph(svg.write(tracings.sheet(self.paper)), self.subject, self.how, self.seed)

    def bars(self) -> tuple[float, float]:
        """Return what a ruler says; to be asked once."""
        lengths = (
            length * scale + self._ruler.normal(0.0, _RULER_MM)
            for length, scale in zip(_BARS[self.paper], self.how.scale, strict=True)
        )
        first, second = (round(length * _MARKS_OF_RULER) / _MARKS_OF_RULER for length in lengths)
        return first, second


def compared(subject: Subject, traced: Tracing) -> dict[str, Any]:
    """Return how far a tracing is from what was drawn [mm]."""
    drawn, seen = subject.outline, traced.outline
    shift = drawn.centroid.x - seen.centroid.x, drawn.centroid.y - seen.centroid.y
    moved = affinity.translate(seen, *shift)
    worst = shapely.hausdorff_distance(drawn.exterior.segmentize(0.2), moved.exterior.segmentize(0.2))
    pairs = [
        min(
            (math.hypot(eye.x + shift[0] - x, eye.y + shift[1] - y), abs(eye.radius - radius)) for eye in traced.eyelets
        )
        for x, y, radius in subject.eyelets
        if traced.eyelets
    ]
    kept = None if subject.keep_out is None else subject.keep_out
    hatched = shapely.union_all([affinity.translate(area, *shift) for area in traced.hatched])
    return {
        "worst_mm": round(worst, 3),
        "off_mm": round(traced.off_mm, 3),
        "eyelets": [len(traced.eyelets), len(subject.eyelets)],
        "eyelet_mm": round(max((away for away, _ in pairs), default=0.0), 3),
        "radius_mm": round(max((radius for _, radius in pairs), default=0.0), 3),
        "kept_share": None if kept is None else round(kept.intersection(hatched).area / kept.area, 3),
    }


def row(seed: int) -> dict[str, Any]:
    """Return what comes of a photo."""
    photo = Photo(seed)
    told: dict[str, Any] = {"photo": seed, "reasonable": seed % 2 == 0}
    try:
        return told | compared(photo.subject, panels.trace(photo.taken(), "image/jpeg", photo.bars()))
    except RefusalError as error:
        return told | {"refused": str(error)}


def measure() -> None:
    """Trace every photo, and store what came of it."""
    rows = [json.dumps(row(seed)) for seed in range(COUNT)]
    STORED.write_text("[\n" + ",\n".join(rows) + "\n]\n", encoding="utf-8")


def photos() -> None:
    """Write the photos that the tests use, small and taken with care, and what is on them."""
    PHOTOS.mkdir(parents=True, exist_ok=True)
    told = {}
    for name, seed, paper, how in (
        ("deck", 0, "a4", Conditions(tilt=9.0, roll=4.0, bend=(0.03, -0.01), scale=(0.97, 0.972), pen=0.8)),
        ("clog", 12, "letter", Conditions(tilt=3.0, roll=95.0, fill=0.9, tape=(150, 190, 225), pen=0.6)),
        ("bulge", 4, "a4", Conditions(tilt=14.0, ridges=((150.0, 100.0, 20.0, 3.0, 25.0),))),
    ):
        subject = panel(np.random.default_rng(seed), _PAPERS[paper])
        small = how._replace(size=(1_728, 1_296), blur=0.6, quality=80)
        taken = photograph(svg.write(tracings.sheet(paper)), subject, small, seed)
        (PHOTOS / f"{name}.jpg").write_bytes(taken)
        told[name] = {
            "bars": [length * scale for length, scale in zip(_BARS[paper], how.scale, strict=True)],
            "outline": shapely.get_coordinates(subject.outline.exterior).round(3).tolist(),
            "eyelets": [[round(value, 3) for value in eye] for eye in subject.eyelets],
            "keep_out": None
            if subject.keep_out is None
            else shapely.get_coordinates(subject.keep_out.exterior).round(3).tolist(),
        }
    (PHOTOS / "photos.json").write_text(json.dumps(told) + "\n", encoding="utf-8")


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["photos"]:
            photos()
        case ["measure"]:
            measure()
        case _:
            sys.exit(__doc__)
