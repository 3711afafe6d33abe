"""A store of bounded size that lets go first of what takes the least time to have again, for the bytes that it takes.

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
    """A value, the bytes that it takes (more than none), and the seconds that it took to compute."""

    value: Any
    weight: int
    seconds: float


_Worth = tuple[float, int]
"""What an entry is worth, and when it was asked for: of two that are worth the same, the later is worth more."""


class GreedyDualStore(Cache[Hashable, Entry]):
    """Entries up to so many bytes.

    An entry asked for is worth its seconds per byte, and what the last entry to go was worth: so that whatever is not
    asked for ages, at the pace at which others come.

    References:
        P. Cao, S. Irani, Cost-aware WWW proxy caching algorithms, USENIX Symposium on Internet Technologies and
        Systems, December 1997: GreedyDual-Size.
    """

    def __init__(self, most: int) -> None:
        """Keep up to `most` bytes."""
        super().__init__(most, getsizeof=lambda entry: entry.weight)
        self._worths: dict[Hashable, _Worth] = {}
        # One item an entry, with what it was worth when it was put there: it can only be worth more now.
        self._least: list[tuple[_Worth, Hashable]] = []
        self._asked = itertools.count()
        self._gone = 0.0

    def __getitem__(self, key: Hashable) -> Entry:
        """Return an entry, which has been asked for."""
        entry = super().__getitem__(key)
        self._worths[key] = self._worth(entry)
        return entry

    def __setitem__(self, key: Hashable, entry: Entry) -> None:
        """Keep an entry, and let others go where there is no room. ValueError: it is larger than all the room."""
        if key in self:
            del self[key]
        super().__setitem__(key, entry)
        self._worths[key] = worth = self._worth(entry)
        heapq.heappush(self._least, (worth, key))

    def popitem(self) -> tuple[Hashable, Entry]:
        """Let go of the entry that is worth the least, and return it. KeyError: there is none."""
        if not self._least:
            raise KeyError("There is nothing to let go of")
        while (worth := self._worths[self._least[0][1]]) > self._least[0][0]:
            heapq.heapreplace(self._least, (worth, self._least[0][1]))
        worth, key = heapq.heappop(self._least)
        self._gone = worth[0]
        del self._worths[key]
        entry = super().__getitem__(key)
        super().__delitem__(key)
        return key, entry

    def __delitem__(self, key: Hashable) -> None:
        """Let go of an entry."""
        super().__delitem__(key)
        del self._worths[key]
        self._least = [each for each in self._least if each[1] != key]
        heapq.heapify(self._least)

    def clear(self) -> None:
        """Let go of everything."""
        super().clear()
        self._worths.clear()
        self._least.clear()

    def _worth(self, entry: Entry) -> _Worth:
        return self._gone + entry.seconds / entry.weight, next(self._asked)
