"""Skyline of a partly filled strip: horizontal segments from side to side, each at its height."""

from __future__ import annotations

import math
from typing import Final

TOLERANCE_MM: Final = 1e-9
"""Tolerance for sums of floats [mm]: far below the resolution of a cutter, far above rounding errors."""


class Skyline:
    """Segments from left to right: left end, height and width of each [mm]. Neighbours differ in height.

    `lost_mm2` is the unusable area filled so far.
    """

    def __init__(self, strip_mm: float) -> None:
        self.x_mm = [0.0]
        self.y_mm = [0.0]
        self.width_mm = [strip_mm]
        self.lost_mm2 = 0.0

    def lowest(self) -> int:
        """Return the index of the lowest segment, the leftmost of equals."""
        return min(range(len(self.y_mm)), key=self.y_mm.__getitem__)

    def walls(self, segment: int) -> tuple[float, float]:
        """Return the heights of the left and right neighbours [mm]; the strip's sides are infinitely high."""
        left = self.y_mm[segment - 1] if segment else math.inf
        right = self.y_mm[segment + 1] if segment + 1 < len(self.y_mm) else math.inf
        return left, right

    def fill_up(self, segment: int) -> bool:
        """Raise a segment to its lower neighbour and count the area as lost. False where there is no neighbour."""
        left, right = self.walls(segment)
        if math.isinf(min(left, right)):
            return False
        self.lost_mm2 += (min(left, right) - self.y_mm[segment]) * self.width_mm[segment]
        self.y_mm[segment] = min(left, right)
        self._join(segment)
        return True

    def lay(self, segment: int, width_mm: float, height_mm: float, *, at_left: bool) -> float:
        """Lay a block on a segment, at its left or right end, and return the block's left edge [mm]."""
        y_mm, room = self.y_mm[segment], self.width_mm[segment]
        rest_mm = room - width_mm
        if rest_mm > TOLERANCE_MM:
            at, begins = (segment + 1, self.x_mm[segment] + width_mm) if at_left else (segment, self.x_mm[segment])
            self.x_mm.insert(at, begins)
            self.y_mm.insert(at, y_mm)
            self.width_mm.insert(at, rest_mm)
            segment += not at_left
            self.width_mm[segment] = width_mm
            if not at_left:
                self.x_mm[segment] += rest_mm
        begins = self.x_mm[segment]
        self.y_mm[segment] = y_mm + height_mm
        self._join(segment)
        return begins

    def _join(self, segment: int) -> None:
        """Merge a segment with neighbours of the same height."""
        for left in (segment, segment - 1):
            right = left + 1
            if left >= 0 and right < len(self.y_mm) and abs(self.y_mm[left] - self.y_mm[right]) <= TOLERANCE_MM:
                self.y_mm[left] = max(self.y_mm[left], self.y_mm[right])
                self.width_mm[left] += self.width_mm[right]
                del self.x_mm[right], self.y_mm[right], self.width_mm[right]
