"""The upper outline of what lies on a strip: level segments from side to side, each at a height."""

from __future__ import annotations

import math
from typing import Final

TOUCH_MM: Final = 1e-9
"""Slack for sums of floats: far below what a cutter can place, far above their rounding."""


class Skyline:
    """Segments from left to right: where each begins, how high it is, how wide [mm]. Neighbours differ in height.

    `lost_mm2` is the area given up for lost so far.
    """

    def __init__(self, strip_mm: float) -> None:
        self.x_mm = [0.0]
        self.y_mm = [0.0]
        self.width_mm = [strip_mm]
        self.lost_mm2 = 0.0

    def lowest(self) -> int:
        """Return the lowest segment, the leftmost of equals."""
        return min(range(len(self.y_mm)), key=self.y_mm.__getitem__)

    def walls(self, segment: int) -> tuple[float, float]:
        """Return how high the neighbours to the left and right are; the strip's sides are infinitely high [mm]."""
        left = self.y_mm[segment - 1] if segment else math.inf
        right = self.y_mm[segment + 1] if segment + 1 < len(self.y_mm) else math.inf
        return left, right

    def fill_up(self, segment: int) -> bool:
        """Give a segment up for lost: lift it to its lower neighbour. False where it is the only one."""
        left, right = self.walls(segment)
        if math.isinf(min(left, right)):
            return False
        self.lost_mm2 += (min(left, right) - self.y_mm[segment]) * self.width_mm[segment]
        self.y_mm[segment] = min(left, right)
        self._join(segment)
        return True

    def lay(self, segment: int, width_mm: float, height_mm: float, *, at_left: bool) -> float:
        """Lay a block on a segment, at its left or right end, and return where the block begins [mm]."""
        y_mm, room = self.y_mm[segment], self.width_mm[segment]
        rest = room - width_mm
        if rest > TOUCH_MM:
            at, begins = (segment + 1, self.x_mm[segment] + width_mm) if at_left else (segment, self.x_mm[segment])
            self.x_mm.insert(at, begins)
            self.y_mm.insert(at, y_mm)
            self.width_mm.insert(at, rest)
            segment += not at_left
            self.width_mm[segment] = width_mm
            if not at_left:
                self.x_mm[segment] += rest
        begins = self.x_mm[segment]
        self.y_mm[segment] = y_mm + height_mm
        self._join(segment)
        return begins

    def _join(self, segment: int) -> None:
        """Make one of a segment and neighbours as high as it."""
        for left in (segment, segment - 1):
            right = left + 1
            if left >= 0 and right < len(self.y_mm) and abs(self.y_mm[left] - self.y_mm[right]) <= TOUCH_MM:
                self.y_mm[left] = max(self.y_mm[left], self.y_mm[right])
                self.width_mm[left] += self.width_mm[right]
                del self.x_mm[right], self.y_mm[right], self.width_mm[right]
