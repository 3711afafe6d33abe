"""Outlines against flattenings a hundred times finer, and glyphs of both fonts: no other source is needed."""

from __future__ import annotations

import math
import os
from importlib import resources
from pathlib import Path

import pytest
import shapely

from featherline_service.shape.outlines import figures, text_outlines, widths
from featherline_service.shape.outlines.text_outlines import Typeface

FONTS = {"plain": ("font_fjallaone", "FjallaOne-Regular.ttf"), "bold": ("font_roboto", "Roboto-Black.ttf")}
GLYPH_STEP = int(os.environ.get("GLYPH_STEP", "8"))
"""One glyph in so many is measured; all are in the full run."""
LETTERS = "BCDGJOQRSabcefgmstyz0235689&@%ßøçñ?"


def typeface(name: str) -> Typeface:
    """Return a font of the demo book."""
    package, file = FONTS[name]
    return text_outlines.typeface(Path(str(resources.files(package) / "files" / file)))


@pytest.mark.parametrize("height", [6.0, 200.0])
@pytest.mark.parametrize("font", FONTS)
def test_outlines_of_letters_are_within_a_hundredth_of_a_millimetre(font: str, height: float) -> None:
    """At any height letters' outlines are within 0.01 mm of outlines a hundred times finer."""
    face = typeface(font)
    for letter in LETTERS:
        figure = figures.of_text(face, letter)
        scale = height / figure.height
        drawn = figure.drawn(figure.fineness(scale))
        # The tolerance that it was drawn to, in the figure's units, and a hundredth of it.
        exact = figure.region(figures.OUTLINE_TOLERANCE_MM / scale / 100.0)
        assert scale * _farthest(drawn.boundary, exact.boundary) <= figures.OUTLINE_TOLERANCE_MM, letter


@pytest.mark.parametrize(
    "data",
    [
        "M0 50C0 10 40 0 60 20S100 0 100 50S60 100 40 80S0 90 0 50Z",  # cubics, one with a bend
        "M0 0Q100 0 100 100Q50 60 0 100Z",
        "M0 0A80 30 25 1 1 60 40A20 20 0 0 0 20 10Z",
        "M0 0C200 0 -100 60 100 60L0 61Z",  # a loop
        "M0 0C0 0 0 0 100 0C100 0 100 1 99 1Q50 1 0 40Z",  # handles on their ends
    ],
)
@pytest.mark.parametrize("height", [6.0, 300.0])
def test_outlines_of_drawings_are_within_a_hundredth_of_a_millimetre(data: str, height: float) -> None:
    """Outlines of cubics, quadratics and arcs are within 0.01 mm of outlines a hundred times finer."""
    figure = figures.of_path(data, "nonzero")
    scale = height / figure.height
    drawn = figure.drawn(figure.fineness(scale))
    exact = figure.region(figures.OUTLINE_TOLERANCE_MM / scale / 100.0)

    assert scale * _farthest(drawn.boundary, exact.boundary) <= figures.OUTLINE_TOLERANCE_MM


def _farthest(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """Return the largest distance of a vertex of either outline from the other outline."""
    return max(
        float(shapely.distance(shapely.points(shapely.get_coordinates(here)), there).max())
        for here, there in ((one, other), (other, one))
    )


@pytest.mark.parametrize("part", range(8))
@pytest.mark.parametrize("font", FONTS)
def test_any_glyph_is_measured(font: str, part: int) -> None:
    """Every `GLYPH_STEP`th glyph of both fonts has a valid region, and widths within its box."""
    face = typeface(font)
    tolerance = face.em / 2048.0
    for glyph in range(1 + part, face.font.face.glyph_count, 8 * GLYPH_STEP):
        region = text_outlines.glyph_region(face, glyph, tolerance)
        if region.is_empty:
            continue
        detail = widths.measure(region, tolerance)
        left, low, right, high = region.bounds
        assert region.is_valid
        assert 0.0 < detail.stroke <= min(right - left, high - low) * 1.001, glyph
        assert detail.gap is None or 0.0 < detail.gap <= math.hypot(right - left, high - low), glyph
        assert detail.counter is None or detail.gap is None or detail.gap <= detail.counter, glyph
        assert (detail.counter is None) == (detail.counters == 0), glyph
        assert detail.pieces == len(region.geoms), glyph
