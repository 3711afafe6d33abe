"""The photos of the tests: rendered by tests/outside/tracing_photos.py, with what is drawn on them."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import shapely
from shapely import affinity

from featherline_service.tracing import panels
from featherline_service.tracing.panels import Tracing

FOLDER = Path(__file__).parent / "photos"


class Drawn(NamedTuple):
    """A photo, its measured bars, and what is drawn on its sheet [mm]."""

    photo: bytes
    bars: tuple[float, float]
    outline: shapely.Polygon
    eyelets: list[tuple[float, float, float]]
    keep_out: shapely.Polygon | None


@lru_cache
def _drawn(name: str) -> Drawn:
    told = json.loads((FOLDER / "photos.json").read_text(encoding="utf-8"))[name]
    return Drawn(
        (FOLDER / f"{name}.jpg").read_bytes(),
        tuple(told["bars"]),
        shapely.Polygon(told["outline"]),
        [tuple(eye) for eye in told["eyelets"]],
        None if told["keep_out"] is None else shapely.Polygon(told["keep_out"]),
    )


@lru_cache
def _traced(name: str) -> Tracing:
    drawn = _drawn(name)
    return panels.trace(drawn.photo, "image/jpeg", drawn.bars)


@pytest.fixture
def drawn() -> Callable[[str], Drawn]:
    """Return what is drawn on a photo, by its name."""
    return _drawn


@pytest.fixture
def traced() -> Callable[[str], Tracing]:
    """Return what is traced from a photo, by its name; traced once."""
    return _traced


@pytest.fixture
def moved() -> Callable[[shapely.Polygon, Any], tuple[float, float]]:
    """Return the way from the centroid of a tracing's outline to that of what was drawn."""

    def way(drawn: shapely.Polygon, traced: shapely.Polygon) -> tuple[float, float]:
        return drawn.centroid.x - traced.centroid.x, drawn.centroid.y - traced.centroid.y

    return way


def shifted(shape: shapely.Polygon, way: tuple[float, float]) -> shapely.Polygon:
    """Return a shape moved."""
    return affinity.translate(shape, *way)
