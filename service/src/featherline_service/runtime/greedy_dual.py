"""A store of bounded size that evicts first what takes the least time to compute again for its bytes.

By age alone, large steps on the way to a small result would drive the result out: a recipe takes 20 ms and has 16 kB,
each of the pressings that it was chosen from 4 ms and 100 kB.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Hashable, Iterator, MutableMapping
from dataclasses import dataclass
from typing import Any

_Worth = tuple[float, int]
"""The worth of an entry, and when it was last looked up: of two with the same worth, the earlier is evicted first."""


@dataclass(slots=True, eq=False)
class Entry:
    """A value, its bytes (above zero), the seconds that it took to compute, and its worth in a store."""

    value: Any
    weight: int
    seconds: float
    worth: _Worth = (0.0, 0)


class GreedyDualStore(MutableMapping[Hashable, Entry]):
    """Entries up to so many bytes.

    The worth of an entry when it is looked up is its seconds per byte plus the worth of the last entry evicted. So an
    entry that is not looked up ages at the pace at which others come.

    References:
        P. Cao, S. Irani, Cost-aware WWW proxy caching algorithms, USENIX Symposium on Internet Technologies and
        Systems, December 1997: GreedyDual-Size.
    """

    def __init__(self, most: int) -> None:
        """Hold up to `most` bytes."""
        self.maxsize = most
        self.currsize = 0
        self._entries: dict[Hashable, Entry] = {}
        # One item for each entry, with its worth at that time: it can only have grown since.
        self._least: list[tuple[_Worth, Hashable]] = []
        self._asked = itertools.count()
        self._evicted_worth = 0.0

    def look_up(self, key: Hashable) -> Entry | None:
        """Return an entry, which counts as a lookup; None where there is none."""
        entry = self._entries.get(key)
        if entry is not None:
            entry.worth = self._evicted_worth + entry.seconds / entry.weight, next(self._asked)
        return entry

    def __getitem__(self, key: Hashable) -> Entry:
        """Return an entry, which counts as a lookup."""
        entry = self.look_up(key)
        if entry is None:
            raise KeyError(key)
        return entry

    def __setitem__(self, key: Hashable, entry: Entry) -> None:
        """Put an entry in, and evict others where there is no room. ValueError: it is larger than the store."""
        if entry.weight > self.maxsize:
            raise ValueError("The entry is too large for the store")
        if key in self._entries:
            del self[key]
        while self.currsize + entry.weight > self.maxsize:
            self.popitem()
        self._entries[key] = entry
        self.currsize += entry.weight
        entry.worth = self._evicted_worth + entry.seconds / entry.weight, next(self._asked)
        heapq.heappush(self._least, (entry.worth, key))

    def popitem(self) -> tuple[Hashable, Entry]:
        """Evict the entry of the least worth, and return it. KeyError: there is none."""
        if not self._least:
            raise KeyError("The store is empty")
        while (worth := self._entries[self._least[0][1]].worth) > self._least[0][0]:
            heapq.heapreplace(self._least, (worth, self._least[0][1]))
        worth, key = heapq.heappop(self._least)
        self._evicted_worth = worth[0]
        entry = self._entries.pop(key)
        self.currsize -= entry.weight
        return key, entry

    def __delitem__(self, key: Hashable) -> None:
        """Delete an entry."""
        self.currsize -= self._entries.pop(key).weight
        self._least = [item for item in self._least if item[1] != key]
        heapq.heapify(self._least)

    def __contains__(self, key: object) -> bool:
        """Return whether there is an entry, which counts as no lookup."""
        return key in self._entries

    def __iter__(self) -> Iterator[Hashable]:
        """Iterate over the keys."""
        return iter(self._entries)

    def __len__(self) -> int:
        """Return the number of entries."""
        return len(self._entries)

    def clear(self) -> None:
        """Delete all entries."""
        self._entries.clear()
        self._least.clear()
        self.currsize = 0
