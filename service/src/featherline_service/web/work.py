"""Where jobs run: beside the event loop, one at a time, and no more in line than can be answered soon.

A job takes 1 to 100 ms of processor, and under CPython's global lock two at once would take as long as one after the
other. But while one runs on the event loop, nothing else does. Measured on one core, with a health check every 20 ms:
under 16 callers of warm quotes its median is 22 ms with jobs on the loop, and grows with the callers; 1 ms with jobs in
one thread beside it, for 8 % fewer quotes a second. Under 8 callers of new orders (5 ms each) it is 38 ms against
0.5 ms, for as many quotes.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

from featherline_service.web.problems import BUSY, ProblemError

MOST_IN_LINE: Final = 64  # at 40 ms each, the last waits for less than three seconds

_Value = TypeVar("_Value")


MOST_LONG_IN_LINE: Final = 3  # at ten seconds each, the last waits for less than a caller does


class Worker:
    """One thread that does what it is given, in order; and another for what waits for a process of its own."""

    def __init__(self) -> None:
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="job")
        self._long_thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="long-job")
        self._long_in_line = 0
        self._in_line = 0
        self._slicing = asyncio.Lock()

    async def run(self, job: Callable[[], _Value]) -> _Value:
        """Return what a job returns.

        Raises:
            ProblemError: There are too many in line already (503).
        """
        if self._in_line >= MOST_IN_LINE:
            raise ProblemError(
                BUSY, "Too many questions are in line. Ask again in a second.", headers={"retry-after": "1"}
            )
        self._in_line += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._thread, job)
        finally:
            self._in_line -= 1

    async def run_long(self, job: Callable[[], _Value]) -> _Value:
        """Return what a job returns that takes seconds, nearly all of them in another process.

        Raises:
            ProblemError: There are too many in line already (503).
        """
        if self._long_in_line >= MOST_LONG_IN_LINE:
            raise ProblemError(
                BUSY, "Too many long questions are in line. Ask again in a while.", headers={"retry-after": "10"}
            )
        self._long_in_line += 1
        try:
            return await asyncio.get_running_loop().run_in_executor(self._long_thread, job)
        finally:
            self._long_in_line -= 1

    async def run_slice(self, job: Callable[[], _Value]) -> _Value:
        """Return what a job returns that is one slice of long work, such as some lines of many.

        One slice is in line at a time, whoever it is of, so that a question asked meanwhile waits for one at the most.
        """
        async with self._slicing:
            return await asyncio.get_running_loop().run_in_executor(self._thread, job)
