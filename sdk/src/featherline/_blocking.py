"""Coroutines without an event loop.

What both clients do is written once, as coroutines. The blocking client gives them an HTTP client that blocks, so that
they never suspend, and one step takes them to their end.
"""

from __future__ import annotations

from collections.abc import AsyncGenerator, AsyncIterator, Coroutine, Generator, Iterable
from typing import Any, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def run(coroutine: Coroutine[Any, Any, Result]) -> Result:
    """Return the result of a coroutine that never suspends."""
    try:
        coroutine.send(None)
    except StopIteration as stop:
        result: Result = stop.value
        return result
    raise AssertionError("The coroutine suspended: it needs an event loop")


def iterate(items: AsyncGenerator[Item, None]) -> Generator[Item, None, None]:
    """Yield the items of an asynchronous generator that never suspends, and close it with this one."""
    try:
        while True:
            yield run(anext(items))
    except StopAsyncIteration:
        return
    finally:
        run(items.aclose())


class AsyncItems(AsyncIterator[Item]):
    """The items of an iterable, for an asynchronous loop."""

    def __init__(self, items: Iterable[Item]) -> None:
        self._items = iter(items)

    async def __anext__(self) -> Item:
        """Return the next item."""
        try:
            return next(self._items)
        except StopIteration:
            raise StopAsyncIteration from None
