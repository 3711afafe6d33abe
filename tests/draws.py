"""How many cases a test draws at random: a part of them by day, all of them where DRAWN_PERCENT is 100."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable
from random import Random
from typing import Final, TypeVar

Case = TypeVar("Case")

PERCENT: Final = int(os.environ.get("DRAWN_PERCENT", "15"))


def drawn(most: int) -> int:
    """Return how many of `most` cases are drawn."""
    return math.ceil(most * PERCENT / 100.0)


def sample(cases: Iterable[Case]) -> list[Case]:
    """Return the cases that are drawn of many, the same each time."""
    every = list(cases)
    return Random(8037).sample(every, drawn(len(every)))  # noqa: S311 - cases, not secrets
