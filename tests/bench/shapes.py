"""The subjects of the measures of geometry: new texts in known letters, a drawing, a panel."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from functools import partial
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from featherline.wire import Film, Pad
from featherline_service.book.shop_book import Book
from featherline_service.questions.shoes.panels import panel_area
from featherline_service.shape.outlines import figures, text_outlines, widths
from featherline_service.shape.placement import containment, curvature, largest_copy
from featherline_service.shape.placement.containment import Pose

LETTERS: Final = "CHRISTOPHER"
POINTS: Final = 2_000
_CLEARANCE_MM: Final = 3.0
_HEIGHT_MM: Final = 22.0


class Shapes:
    """The calls to time, each on a new text, pose or patch."""

    def __init__(self, book: Book) -> None:
        """Draw what the calls begin with."""
        self._face = text_outlines.typeface(book.font_files["bold"])
        self._texts = map("".join, itertools.permutations(LETTERS))
        self._fine = self._face.em / 16_384.0
        figures.of_text(self._face, LETTERS)
        self._lines = text_outlines.lay_out(self._face, LETTERS)
        self._drawing = buttons()
        left, low, right, high = self._drawing.bounds
        self._finest = max(right - left, high - low) / 16_384.0
        if int(shapely.get_num_coordinates(shapely.simplify(self._drawing, self._finest))) < POINTS:
            raise RuntimeError("Too few of the drawing's points matter: it is not as heavy as its name says")
        shoe = book.shoes["regatta-deck"]
        _, self._area, self._centre = panel_area(
            next(each for each in shoe.panels if each.id == "outer-quarter"), 1.0, 1.0
        )
        figure = figures.of_text(self._face, "MARLOW\n7")
        self._scale = _HEIGHT_MM / figure.height
        self._artwork = figure.drawn(figure.fineness(self._scale))
        self._shifts = itertools.count()
        self._film: Film = book.films["smooth"]
        self._pad: Pad = next(iter(book.pads.values()))

    def outline(self) -> MultiPolygon:
        """Shape eleven letters in an order never asked before, and draw them."""
        return text_outlines.text_region(text_outlines.lay_out(self._face, next(self._texts)), self._face, self._fine)

    def lay_out(self) -> None:
        """Shape eleven letters in an order never asked before."""
        self._lines = text_outlines.lay_out(self._face, next(self._texts))

    def text_widths(self) -> widths.Detail:
        """Measure the letters that were laid out last."""
        letters = figures._separate_letters(self._face, self._lines, self._fine)
        if letters is None:
            raise RuntimeError("The letters touch one another: they are not measured one by one")
        return figures._joined(letters, self._fine)

    def drawing_widths(self) -> widths.Detail:
        """Measure a drawing of 2,000 points that all matter."""
        return widths.measure(self._drawing, self._finest)

    def placed(self, turn: float) -> Callable[[], largest_copy.Copy | None]:
        """Return the search for the largest copy of a name over a number, turned by up to an angle [rad]."""
        return partial(largest_copy.largest_copy, self._area, self._artwork, _CLEARANCE_MM, 0.0, turn)

    def at_pose(self) -> tuple[bool, containment.Room]:
        """Ask whether the name fits at a pose, and how much room it has there."""
        x, y = self._centre
        pose = Pose(x + math.sin(next(self._shifts)), y, 0.0)
        there = containment.place(self._artwork, pose, self._scale)
        return containment.fits(self._area, there, _CLEARANCE_MM), containment.room(self._area, there)

    def wrapped(self) -> tuple[float, float]:
        """Ask for the pressure at the corners of a patch on a curved panel, and for its strain."""
        half = 20.0 + 1e-3 * next(self._shifts)
        curve = tuple((point.pressure_kpa, point.strain) for point in self._pad.compression)
        pressure = curvature.corner_pressure(half, 10.0, 150.0, 120.0, 276.0, self._pad.thickness_mm, curve)
        return pressure, max(map(abs, curvature.wrapping_strain(half, 150.0, 120.0)))


def buttons() -> MultiPolygon:
    """Return a dozen wavy discs, each with a wavy hole, in 2,000 points and some more."""
    draw = np.random.default_rng(5)

    def wavy(x: float, y: float, radius: float, points: int) -> list[tuple[float, float]]:
        turns = 2.0 * np.pi * np.arange(points) / points
        waves = sum(draw.uniform(-0.15, 0.15) * np.cos(k * turns + draw.uniform(0.0, 6.0)) for k in (2, 3, 5))
        far = radius * (1.0 + waves)
        return list(zip(x + far * np.cos(turns), y + far * np.sin(turns), strict=True))

    places = [(3.0 * (k % 4), 3.0 * (k // 4)) for k in range(12)]
    return MultiPolygon([Polygon(wavy(x, y, 1.0, 120), [wavy(x, y, 0.5, 72)]) for x, y in places])
