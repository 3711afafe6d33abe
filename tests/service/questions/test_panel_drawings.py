"""One outline, given as SVG, as DXF or as the path of a traced panel, is one panel."""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Final

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from featherline.wire.fits import Fit, FitRequest
from featherline.wire.tracings import TracingQuery
from featherline_service.book.shop_book import Book
from featherline_service.questions import tracings
from featherline_service.questions.fit import fits
from featherline_service.questions.tracings import DRAWING_TYPES, TracingAsked
from featherline_service.shape.panel_drawings.panels import OFF_MM

sys.path += [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "shape")]  # neither is a package
from draws import drawn
from dxf_files import file, polyline

Corners = list[tuple[float, float]]
SVG, DXF = DRAWING_TYPES
QUERY: Final = TracingQuery(panel="outer-quarter", face="outer")


@st.composite
def outlines(draw: st.DrawFn) -> Corners:
    """Draw an outline around a middle, with corners in and out [mm], whose box begins at zero."""
    count = draw(st.integers(5, 11))
    radii = draw(st.lists(st.integers(200, 450), min_size=count, max_size=count))
    turned = draw(st.floats(0.0, 1.0))
    angles = [2.0 * math.pi * (number + turned) / count for number in range(count)]
    corners = [
        (0.1 * radius * math.cos(at), 0.1 * radius * math.sin(at)) for radius, at in zip(radii, angles, strict=True)
    ]
    left, top = (min(values) for values in zip(*corners, strict=True))
    return [(round(x - left, 2), round(y - top, 2)) for x, y in corners]


def path(corners: Corners) -> str:
    """Return an outline as path data."""
    return "M" + "L".join(f"{x} {y}" for x, y in corners) + "Z"


def svg(corners: Corners) -> bytes:
    """Return an outline as SVG in millimetres, somewhere on a page."""
    page = 'xmlns="http://www.w3.org/2000/svg" width="200mm" height="200mm" viewBox="0 0 200 200"'
    return f'<svg {page}><path transform="translate(7 11)" d="{path(corners)}"/></svg>'.encode()


def dxf(corners: Corners) -> bytes:
    """Return an outline as DXF in millimetres, somewhere in a drawing, where y runs upwards."""
    return file(polyline(*((x + 3.0, 150.0 - y) for x, y in corners)))


def fit(book: Book, panel: dict[str, object]) -> Fit:
    """Return how a bar fits in the middle of a panel."""
    return fits.check(
        book,
        msgspec.convert(
            {
                "shoe": {"kind": "measured", "label": "leather", "panels": [{**panel, "curvature": "flat"}]},
                "panel": "outer-quarter",
                "film": "smooth",
                "artwork": {"kind": "path", "d": "M0 0H12V5H0Z", "height": "5 mm"},
            },
            FitRequest,
        ),
    )


def test_an_outline_is_the_same_panel_in_every_form(book: Book) -> None:
    """Area, extents and the room around an artwork are those of the outline as it was drawn, by `OFF_MM` at most."""

    @given(outlines())
    @settings(max_examples=drawn(40), deadline=None, derandomize=True)
    def same(corners: Corners) -> None:
        edges = [*zip(corners, [*corners[1:], corners[0]], strict=True)]
        area = abs(sum(x * b - a * y for (x, y), (a, b) in edges)) / 2.0  # the shoelace formula, from memory
        around = sum(math.dist(one, other) for one, other in edges)
        bare = {"panel": "outer-quarter", "face": "outer", "shape": {"kind": "traced", "d": path(corners)}}
        expected = fit(book, bare)
        for content, media_type in ((svg(corners), SVG), (dxf(corners), DXF)):
            answer = tracings.trace(TracingAsked(content=content, media_type=media_type, query=QUERY))
            found = fit(book, msgspec.to_builtins(answer.panel))
            extents = tuple(max(values) for values in zip(*corners, strict=True))
            assert pytest.approx(extents, abs=2.0 * OFF_MM) == (answer.width_mm, answer.height_mm)
            assert pytest.approx(area, abs=OFF_MM * around) == answer.area_mm2
            assert pytest.approx(expected.clearance_mm, abs=2.0 * OFF_MM) == found.clearance_mm
            assert expected.verdict == found.verdict

    same()
