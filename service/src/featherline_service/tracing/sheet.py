"""The sheet that a tracing is stuck on: where its marks, bars, crosses and field are, as it is drawn.

Millimetres from the top left corner of the paper, y downwards, the toe to the right. A printer makes all of it a little
smaller or larger: by how much, the measured bars tell.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final, Literal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Paper = Literal["a4", "letter"]

CELL_MM: Final = 2.5
MARK_MM: Final = 15.0
"""A frame of one cell around the four by four of its word."""
EDGE_MM: Final = 8.0
"""Between the marks and the edge of the paper: more than common printers leave white (6.4 mm; from memory)."""
_ALONG: Final = 7
_DOWN: Final = 5
BAR_WIDE_MM: Final = 1.2
_BAR_BESIDE_MM: Final = 3.0
_BAR_SHORTER_MM: Final = 2.0
_FIELD_BESIDE_MM: Final = 3.0
_FIELD_FROM_BAR_MM: Final = 4.0
CROSS_EVERY_MM: Final = 20.0
CROSS_ARM_MM: Final = 2.0
CROSS_WIDE_MM: Final = 0.6


class Sheet(Struct, frozen=True, dict=True):
    """A sheet: its paper [mm], and the number of its first mark."""

    paper: Paper
    width: float
    height: float
    first: int

    @cached_property
    def marks(self) -> Floats:
        """The top left corner of each mark by its number: along the top, down the sides, along the bottom."""
        xs = np.linspace(EDGE_MM, self.width - EDGE_MM - MARK_MM, _ALONG)
        ys = np.linspace(EDGE_MM, self.height - EDGE_MM - MARK_MM, _DOWN)
        sides = [(x, y) for y in ys[1:-1] for x in (xs[0], xs[-1])]
        return np.array([*((x, ys[0]) for x in xs), *sides, *((x, ys[-1]) for x in xs)])

    @property
    def corners(self) -> Floats:
        """The corners of each mark, clockwise from its top left, shape (marks, 4, 2)."""
        return self.marks[:, None, :] + MARK_MM * np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])

    @property
    def along(self) -> tuple[float, float, float]:
        """The bar along the sheet: its left end, its right end, and its middle line."""
        inner = EDGE_MM + MARK_MM + _BAR_SHORTER_MM
        return inner, self.width - inner, self.height - EDGE_MM - MARK_MM - _BAR_BESIDE_MM

    @property
    def across(self) -> tuple[float, float, float]:
        """The bar across the sheet: its upper end, its lower end, and its middle line."""
        inner = EDGE_MM + MARK_MM + _BAR_SHORTER_MM
        return inner, self.height - inner - _FIELD_FROM_BAR_MM, EDGE_MM + MARK_MM + _BAR_BESIDE_MM

    @property
    def field(self) -> tuple[float, float, float, float]:
        """Where the tape goes: left, top, right, bottom."""
        inner = EDGE_MM + MARK_MM
        return (
            inner + _BAR_BESIDE_MM + _FIELD_FROM_BAR_MM,
            inner + _FIELD_BESIDE_MM,
            self.width - inner - _FIELD_BESIDE_MM,
            self.height - inner - _BAR_BESIDE_MM - _FIELD_FROM_BAR_MM,
        )

    @cached_property
    def crosses(self) -> Floats:
        """The middles of the pale crosses in the field, shape (crosses, 2)."""
        left, top, right, bottom = self.field
        counts = [int((high - low - 8.0) // CROSS_EVERY_MM) for low, high in ((left, right), (top, bottom))]
        xs = 0.5 * (left + right) + CROSS_EVERY_MM * (np.arange(counts[0] + 1) - 0.5 * counts[0])
        ys = 0.5 * (top + bottom) + CROSS_EVERY_MM * (np.arange(counts[1] + 1) - 0.5 * counts[1])
        return np.array([(x, y) for y in ys for x in xs])


# ISO 216 A4, and ANSI/ASME Y14.1 size A ("Letter", 8.5 in by 11 in), both lying.
SHEETS: Final = (Sheet("a4", 297.0, 210.0, 0), Sheet("letter", 279.4, 215.9, 20))
MARKS: Final = 2 * _ALONG + 2 * (_DOWN - 2)
