"""A queue in which every caller gets a turn, however much the others ask.

A caller's share is counted in processor time. Within a caller short work is done first, but none is overtaken for ever.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Hashable, Iterator
from typing import Final, Generic, NamedTuple, TypeVar

_PATIENCE: Final = 10.0
"""How many seconds earlier an item may have come for each second that it takes longer, to be done before another."""

_Item = TypeVar("_Item")


class _Waiting(NamedTuple, Generic[_Item]):
    """An item that waits. `order` decides within its caller; `number` makes it different from all others."""

    order: float
    number: int
    seconds: float
    item: _Item


class _Caller(Generic[_Item]):
    """A caller's items, and the virtual time at which its next one may begin."""

    def __init__(self, begins: float) -> None:
        self.begins = begins
        self.waiting: list[_Waiting[_Item]] = []


class FairQueue(Generic[_Item]):
    """Start-time fair queueing: the next item is that of the caller who has had the least.

    References:
        P. Goyal, H. M. Vin, H. Cheng, Start-time fair queueing: a scheduling algorithm for integrated services packet
        switching networks, IEEE/ACM Transactions on Networking 5 (5), 1997, pages 690-704 (from memory).
    """

    def __init__(self) -> None:
        self._callers: dict[Hashable, _Caller[_Item]] = {}
        self._now = 0.0  # virtual: the beginning of the last item taken [s]
        self._numbers = itertools.count()

    def __len__(self) -> int:
        """Return how many items wait."""
        return sum(len(caller.waiting) for caller in self._callers.values())

    def __iter__(self) -> Iterator[_Item]:
        """Yield the items that wait, in no order."""
        return (waiting.item for caller in self._callers.values() for waiting in caller.waiting)

    def put(self, caller: Hashable, item: _Item, seconds: float, at_s: float) -> None:
        """Put an item in.

        Args:
            caller: Whose it is.
            item: The item.
            seconds: How much processor time it is thought to take, in the caller's weight: double for half the weight.
            at_s: When it came, as a clock counts that never goes back.
        """
        state = self._callers.setdefault(caller, _Caller(self._now))
        order = at_s + _PATIENCE * seconds
        heapq.heappush(state.waiting, _Waiting(order, next(self._numbers), seconds, item))

    def take(self, may_begin: Callable[[_Item], bool]) -> _Item | None:
        """Take the next item that may begin, of all callers; None where there is none."""
        for name in sorted(self._callers, key=lambda name: self._begins(self._callers[name])):
            caller = self._callers[name]
            if caller.waiting and may_begin(caller.waiting[0].item):
                begins = self._begins(caller)
                self._now = max(self._now, begins)
                return self._pop(caller, begins)
        return None

    def take_another(self, caller: Hashable) -> _Item | None:
        """Take the next item of a caller; None where there is none."""
        state = self._callers.get(caller)
        return None if state is None or not state.waiting else self._pop(state, self._begins(state))

    def charge(self, caller: Hashable, seconds: float) -> None:
        """Add to a caller's share, in its weight, what its items took more or less than was thought."""
        state = self._callers.setdefault(caller, _Caller(self._now))
        state.begins += seconds
        for name in [name for name, idle in self._callers.items() if not idle.waiting and idle.begins <= self._now]:
            del self._callers[name]

    def _begins(self, caller: _Caller[_Item]) -> float:
        return max(self._now, caller.begins)

    @staticmethod
    def _pop(caller: _Caller[_Item], begins: float) -> _Item:
        waiting = heapq.heappop(caller.waiting)
        caller.begins = begins + waiting.seconds
        return waiting.item
