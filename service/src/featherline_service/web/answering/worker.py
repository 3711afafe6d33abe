"""The worker: computes beside the event loop, one job at a time, with no more in line than can be answered soon.

A job takes 1 to 100 ms of processor, and under CPython's global lock two at once would take as long as one after the
other. But while one runs on the event loop, nothing else does. Measured on one core, with a health check every 20 ms:
under 16 callers of warm quotes its median is 22 ms with jobs on the loop, and grows with the callers; 1 ms with jobs in
one thread beside it, for 8 % fewer quotes a second. Under 8 callers of new orders (5 ms each) it is 38 ms against
0.5 ms, for as many quotes.

Two threads would also break what they share (see `computation_lock`). More processors are used by more processes.

Who comes while there is much to do is told so at once. How much is judged by how long jobs have taken lately: a burst
may fill the line with a fifth of a second's work; a line that has not been empty for a second is a flood, and so is
whatever follows a refusal within a second. Of a flood only so much is taken as is answered nearly as soon as on a quiet
day (the idea of controlled delay: Nichols & Jacobson, Controlling Queue Delay, ACM Queue 10 (5), 2012).

A process that has just started is judged so only when it has done some jobs: what callers ask over and over is not kept
yet, takes many times as long as it soon will, and would pass for a flood (three such replicas refused 200 to 600).
"""

from __future__ import annotations

import asyncio
import contextvars
import math
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

from prometheus_client import Histogram

from featherline_service.runtime import computation_lock
from featherline_service.runtime.computation_lock import DeadlineError
from featherline_service.web.http.problems import BUSY, ProblemError
from featherline_service.web.telemetry.metrics import Metrics

MOST_IN_LINE: Final = 64
MOST_LONG_IN_LINE: Final = 3  # at ten seconds each, the last waits for less than a caller does
BURST_WAIT_S: Final = 0.2
BURST_JOBS: Final = 2  # however long jobs are: who waits for two takes three times as long as alone
FLOOD_WAIT_S: Final = 0.02
FLOOD_AFTER_S: Final = 1.0
CALM_S: Final = 1.0
COLD_JOBS: Final = 100
COLD_WAIT_S: Final = 3.0
_SHARE_OF_LAST: Final = 0.1  # of the last job in the running mean
_FIRST_GUESS_S: Final = 0.01

_Value = TypeVar("_Value")


def _always() -> bool:
    return True


class Worker:
    """One thread that does what it is given, in order; and another for what waits for a process of its own."""

    def __init__(self, metrics: Metrics | None = None) -> None:
        waits = (metrics or Metrics()).waits
        self._waits = waits.labels("questions")
        self._long_waits = waits.labels("long")
        self._slice_waits = waits.labels("slices")
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="job")
        self._long_thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="long-job")
        self._long_in_line = 0
        self._in_line = 0
        self._slices_in_line = 0
        self._mean_s = _FIRST_GUESS_S
        self._done = 0
        self._last_empty = time.monotonic()
        self._flooded_until = -math.inf
        self._slicing = asyncio.Lock()

    def lengths(self) -> Mapping[str, int]:
        """Return how many jobs wait or run, by the line that they are in."""
        return {"questions": self._in_line, "long": self._long_in_line, "slices": self._slices_in_line}

    async def run(
        self, job: Callable[[], _Value], until: float = math.inf, wanted: Callable[[], bool] = _always
    ) -> _Value:
        """Return what a job returns.

        Args:
            job: What to do.
            until: When it is given up, as `time.monotonic` counts.
            wanted: Whether anybody still waits for it; called when the job is about to begin.

        Raises:
            ProblemError: There are too many in line already (503).
            DeadlineError: It was given up.
        """
        self._admit()
        self._in_line += 1
        try:
            return await self._in(self._thread, self._waits, lambda: self._timed(job), until, wanted)
        finally:
            self._in_line -= 1
            if not self._in_line:
                self._last_empty = time.monotonic()

    async def run_long(self, job: Callable[[], _Value], wanted: Callable[[], bool] = _always) -> _Value:
        """Return what a job returns that takes seconds, nearly all of them in another process.

        Raises:
            ProblemError: There are too many in line already (503).
            DeadlineError: It was given up.
        """
        if self._long_in_line >= MOST_LONG_IN_LINE:
            raise ProblemError(
                BUSY, "Too many long questions are in line. Ask again in a while.", headers={"retry-after": "10"}
            )
        self._long_in_line += 1
        try:
            return await self._in(self._long_thread, self._long_waits, job, math.inf, wanted)
        finally:
            self._long_in_line -= 1

    async def run_slice(
        self, job: Callable[[], _Value], until: float = math.inf, wanted: Callable[[], bool] = _always
    ) -> _Value:
        """Return what a job returns that is one slice of long work, such as some lines of many.

        One slice is in line at a time, whoever it is of, so that a question asked meanwhile waits for one at the most.

        Raises:
            DeadlineError: It was given up.
        """
        self._slices_in_line += 1
        try:
            async with self._slicing:
                return await self._in(self._thread, self._slice_waits, job, until, wanted)
        finally:
            self._slices_in_line -= 1

    def _admit(self) -> None:
        now = time.monotonic()
        if not self._in_line:
            self._last_empty = now
        if self._in_line >= MOST_IN_LINE or self._in_line * self._mean_s > self._longest_wait_s(now):
            self._flooded_until = now + CALM_S
            raise ProblemError(
                BUSY, "Too many questions are in line. Ask again in a second.", headers={"retry-after": "1"}
            )

    def _longest_wait_s(self, now: float) -> float:
        """Return how much work may be in line."""
        if self._done < COLD_JOBS:
            return COLD_WAIT_S
        if now - self._last_empty > FLOOD_AFTER_S or now < self._flooded_until:
            return FLOOD_WAIT_S
        return max(BURST_WAIT_S, BURST_JOBS * self._mean_s)

    def _timed(self, job: Callable[[], _Value]) -> _Value:
        begun = time.perf_counter()
        try:
            return job()
        finally:
            self._done += 1
            self._mean_s += _SHARE_OF_LAST * (time.perf_counter() - begun - self._mean_s)

    @staticmethod
    async def _in(
        thread: ThreadPoolExecutor,
        waits: Histogram,
        job: Callable[[], _Value],
        until: float,
        wanted: Callable[[], bool],
    ) -> _Value:
        begun = time.perf_counter()

        def run() -> _Value:
            waits.observe(time.perf_counter() - begun)
            if not wanted():
                raise DeadlineError
            with computation_lock.deadline(until):
                computation_lock.check_deadline()
                return job()

        # Lines that are logged meanwhile have the ids of the request.
        context = contextvars.copy_context()
        return await asyncio.get_running_loop().run_in_executor(thread, context.run, run)
