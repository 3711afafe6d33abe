"""How many cases a test draws at random: a part of them by day, all of them where DRAWN_PERCENT is 100."""

from __future__ import annotations

import math
import os
from typing import Final

PERCENT: Final = int(os.environ.get("DRAWN_PERCENT", "40"))


def drawn(most: int) -> int:
    """Return how many of `most` cases are drawn."""
    return math.ceil(most * PERCENT / 100.0)
