"""Coroutines run without an event loop."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

import pytest

from featherline._blocking import AsyncItems, iterate, run


async def double(number: int) -> int:
    """Return twice a number."""
    return 2 * number


async def doubles(numbers: AsyncItems[int], closed: list[bool]) -> AsyncIterator[int]:
    """Yield twice each number, and note the end."""
    try:
        async for number in numbers:
            yield await double(number)
    finally:
        closed.append(True)


def test_a_coroutine_runs_to_its_end() -> None:
    """Its result is returned, and its error raised."""
    assert 6 == run(double(3))

    async def fail() -> None:
        raise ValueError(await double(3))

    with pytest.raises(ValueError, match="6"):
        run(fail())


def test_a_coroutine_that_suspends_is_refused() -> None:
    """It would never go on."""
    with pytest.raises(AssertionError, match="needs an event loop"):
        run(asyncio.sleep(0))


@pytest.mark.parametrize("taken", [0, 1, 3])
def test_an_asynchronous_generator_is_closed_with_the_loop(taken: int) -> None:
    """Its items come one by one, whether the caller wants all of them or not."""
    closed: list[bool] = []
    items = iterate(doubles(AsyncItems([1, 2, 3]), closed))
    assert [2, 4, 6][:taken] == [next(items) for _ in range(taken)]
    items.close()
    assert [True] * bool(taken) == closed


def test_a_blocking_loop_runs_inside_an_event_loop() -> None:
    """A blocking client may be used in a coroutine or a notebook: it never asks the event loop for anything."""
    closed: list[bool] = []

    async def main() -> list[int]:
        return list(iterate(doubles(AsyncItems([1, 2]), closed)))

    assert [2, 4] == asyncio.run(main())
    assert [True] == closed
