"""Token buckets: what a caller may use at a steady rate, up to a maximum at once."""

from __future__ import annotations

import time
from collections.abc import Callable


class TokenBucket:
    """Tokens that arrive at a steady rate, up to a maximum. What is spent may be more than there is: that is a debt."""

    def __init__(self, per_s: float, most: float, elapsed_s: Callable[[], float] = time.monotonic) -> None:
        self.most = most
        self._per_s = per_s
        self._elapsed_s = elapsed_s
        self._tokens = float(most)
        self._at_s = elapsed_s()

    def left(self) -> float:
        """Return how many tokens there are now; below zero, what is owed."""
        now_s = self._elapsed_s()
        self._tokens = min(self.most, self._tokens + (now_s - self._at_s) * self._per_s)
        self._at_s = now_s
        return self._tokens

    def wait_s(self, needed: float) -> float:
        """Return the seconds until there are so many tokens; 0 if there are."""
        return max(0.0, (needed - self.left()) / self._per_s)

    def spend(self, tokens: float) -> None:
        """Take tokens, whether there are so many or not."""
        self._tokens = self.left() - tokens
