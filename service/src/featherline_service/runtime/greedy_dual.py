"""A store of bounded size that evicts first what takes the least time to compute again for its bytes.

By age alone, large steps on the way to a small result would drive the result out: a recipe takes 20 ms and has 16 kB,
each of the pressings that it was chosen from 4 ms and 100 kB.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Hashable
from typing import Any, NamedTuple

from cachetools import Cache


class Entry(NamedTuple):
    """A value, its bytes (above zero), and the seconds that it took to compute."""

    value: Any
    weight: int
    seconds: float


_Worth = tuple[float, int]
"""The worth of an entry, and when it was last looked up: of two with the same worth, the earlier is evicted first."""


class GreedyDualStore(Cache[Hashable, Entry]):
    """Entries up to so many bytes.

    The worth of an entry when it is looked up is its seconds per byte plus the worth of the last entry evicted. So an
    entry that is not looked up ages at the pace at which others come.

    References:
        P. Cao, S. Irani, Cost-aware WWW proxy caching algorithms, USENIX Symposium on Internet Technologies and
        Systems, December 1997: GreedyDual-Size.
    """

    def __init__(self, most: int) -> None:
        """Hold up to `most` bytes."""
        super().__init__(most, getsizeof=lambda entry: entry.weight)
        self._worths: dict[Hashable, _Worth] = {}
        # One item for each entry, with its worth at that time: it can only have grown since.
        self._least: list[tuple[_Worth, Hashable]] = []
        self._asked = itertools.count()
        self._evicted_worth = 0.0

    def __getitem__(self, key: Hashable) -> Entry:
        """Return an entry, which counts as a lookup."""
        entry = super().__getitem__(key)
        self._worths[key] = self._worth(entry)
        return entry

    def __setitem__(self, key: Hashable, entry: Entry) -> None:
        """Put an entry in, and evict others where there is no room. ValueError: it is larger than the store."""
        if key in self:
            del self[key]
        super().__setitem__(key, entry)
        self._worths[key] = worth = self._worth(entry)
        heapq.heappush(self._least, (worth, key))

    def popitem(self) -> tuple[Hashable, Entry]:
        """Evict the entry of the least worth, and return it. KeyError: there is none."""
        if not self._least:
            raise KeyError("The store is empty")
        while (worth := self._worths[self._least[0][1]]) > self._least[0][0]:
            heapq.heapreplace(self._least, (worth, self._least[0][1]))
        worth, key = heapq.heappop(self._least)
        self._evicted_worth = worth[0]
        del self._worths[key]
        entry = super().__getitem__(key)
        super().__delitem__(key)
        return key, entry

    def __delitem__(self, key: Hashable) -> None:
        """Delete an entry."""
        super().__delitem__(key)
        del self._worths[key]
        self._least = [item for item in self._least if item[1] != key]
        heapq.heapify(self._least)

    def clear(self) -> None:
        """Delete all entries."""
        super().clear()
        self._worths.clear()
        self._least.clear()

    def _worth(self, entry: Entry) -> _Worth:
        return self._evicted_worth + entry.seconds / entry.weight, next(self._asked)
