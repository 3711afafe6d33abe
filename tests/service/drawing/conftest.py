"""Reads drawings again: the shapes of an SVG as geometry, and its words."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from featherline_service.drawing.placements import Placed

sys.path.insert(0, str(Path(__file__).parent))  # the modules beside this one are no package

SVG = "{http://www.w3.org/2000/svg}"
NUMBER = r"-?[0-9]+(?:\.[0-9]+)?"
CONTOUR = re.compile(rf"M{NUMBER} {NUMBER}(?:L{NUMBER} {NUMBER})*Z?")


class Drawing:
    """An SVG, read as XML; y upwards."""

    def __init__(self, svg: str) -> None:
        self.root = ET.fromstring(svg)  # noqa: S314 - our own output

    @property
    def words(self) -> list[str]:
        """All words drawn, in order."""
        return [element.text or "" for element in self.root.iter(f"{SVG}text")]

    def contours(self, name: str) -> list[list[tuple[float, float]]]:
        """Return the contours of all paths of a name."""
        found = [path.get("d", "") for path in self.root.iter(f"{SVG}path") if path.get("data-part") == name]
        return [points(contour) for data in found for contour in CONTOUR.findall(data)]

    def region(self, name: str) -> BaseGeometry:
        """Return the filled region of all paths of a name, by the even-odd rule."""
        found: BaseGeometry = shapely.Polygon()
        for contour in self.contours(name):
            found = shapely.symmetric_difference(found, shapely.Polygon(contour))
        return found

    def lines(self, name: str) -> BaseGeometry:
        """Return the lines of all paths of a name."""
        return shapely.multilinestrings([shapely.linestrings(contour) for contour in self.contours(name)])


def points(contour: str) -> list[tuple[float, float]]:
    """Return the points of one contour."""
    values = [float(value) for value in re.findall(NUMBER, contour)]
    return [(x, -y) for x, y in zip(values[::2], values[1::2], strict=True)]


@pytest.fixture(scope="session")
def read() -> Callable[[str], Drawing]:
    """Read an SVG again."""
    return Drawing


@pytest.fixture
def placed() -> Placed:
    """A panel of 100 x 50 mm with an eyelet of 4 mm, and artwork of 20 x 10 mm whose corner is at (30, 15)."""
    artwork = shapely.MultiPolygon(
        [shapely.box(30.0, 15.0, 50.0, 25.0).difference(shapely.box(38.0, 18.0, 42.0, 22.0))]
    )
    return Placed(
        name="placement",
        title="Outer quarter: 7",
        lines=("Smooth film.", "It fits."),
        description="A square.",
        panel=shapely.MultiPolygon([shapely.box(0.0, 0.0, 100.0, 50.0)]),
        keep_outs=(
            ("eyelets", shapely.Point(80.0, 25.0).buffer(4.0)),
            ("featherline", shapely.box(-5.0, -5.0, 105.0, 4.0)),
        ),
        artwork=artwork,
        counted=artwork,
        measured=None,
        clearance=3.0,
        film="Smooth film, Gorse",
        film_colour="#f2c230",
        upper="upper",
        upper_colour="#1d2b44",
        toe=True,
        free="11.0",
        say=lambda length: f"{length:.1f}",
        unit="mm",
        rule=(50.0, 10.0, "50 mm"),
    )
