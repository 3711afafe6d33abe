"""Estimates of processor time: running means of what alike questions took."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Final

from cachetools import LRUCache

_FIRST_S: Final = 0.01
_SHARE_OF_LAST: Final = 0.2
_MOST_KINDS: Final = 1_024


class Estimates:
    """Running means by kind of question."""

    def __init__(self) -> None:
        self._means: LRUCache[Hashable, float] = LRUCache(_MOST_KINDS)

    def of(self, kind: Hashable) -> float:
        """Return how much processor time a question of a kind is thought to take [s]."""
        return self._means.get(kind, _FIRST_S)

    def add(self, kind: Hashable, seconds: float) -> None:
        """Take in how much one took [s]."""
        mean = self._means.get(kind)
        self._means[kind] = seconds if mean is None else mean + _SHARE_OF_LAST * (seconds - mean)
