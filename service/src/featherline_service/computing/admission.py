"""Admission: how much work of a caller may wait before it is refused at once.

A burst may wait for a fifth of a second's work. A line that has not been empty for a second is a flood, and so is
whatever follows a refusal within a second: of a flood only so much is taken as is answered nearly as soon as on a quiet
day. Others have lines of their own, and do not notice.

A service that has just started is lenient until it has answered some questions: what callers ask over and over is not
cached yet, takes many times as long as it soon will, and would pass for a flood.

References:
    K. Nichols, V. Jacobson, Controlling queue delay, ACM Queue 10 (5), 2012: that a standing queue helps nobody.
"""

from __future__ import annotations

import math
from typing import Final

MOST_IN_LINE: Final = 64
BURST_S: Final = 0.2
BURST_QUESTIONS: Final = 2  # however long they take: who waits for two takes three times as long as alone
FLOOD_S: Final = 0.02
FLOOD_AFTER_S: Final = 1.0
CALM_S: Final = 1.0
COLD_QUESTIONS: Final = 100
COLD_S: Final = 3.0


class Line:
    """The work of one caller that waits or runs."""

    def __init__(self, now_s: float) -> None:
        self.count = 0
        self._work_s = 0.0
        self._empty_s = now_s
        self._flooded_until_s = -math.inf

    def admit(self, seconds: float, now_s: float, processes: int, *, answered: int) -> bool:
        """Return whether a question may join, and count it if so.

        Args:
            seconds: How much processor time it is thought to take.
            now_s: The instant, as a clock counts that never goes back.
            processes: How many compute.
            answered: How many questions the service has answered, of any caller.
        """
        if not self.count:
            self._empty_s, self._work_s = now_s, 0.0
        is_flood = now_s - self._empty_s > FLOOD_AFTER_S or now_s < self._flooded_until_s
        allowed_s = FLOOD_S if is_flood else max(BURST_S, BURST_QUESTIONS * seconds)
        if answered < COLD_QUESTIONS:
            allowed_s = COLD_S
        if self.count >= MOST_IN_LINE or (self.count >= processes and self._work_s > allowed_s * processes):
            self._flooded_until_s = now_s + CALM_S
            return False
        self.count += 1
        self._work_s += seconds
        return True

    def leave(self, seconds: float, now_s: float) -> None:
        """Count a question as done, that was thought to take so long."""
        self.count -= 1
        self._work_s -= seconds
        if not self.count:
            self._empty_s = now_s
