"""How jobs run beside the event loop."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Mapping

import pytest

from featherline_service.runtime.computation_lock import DeadlineError
from featherline_service.runtime.logs import request_ids
from featherline_service.web.answering import worker as worker_module
from featherline_service.web.answering.worker import MOST_IN_LINE, Worker
from featherline_service.web.http.problems import BUSY, ProblemError


@pytest.fixture(autouse=True)
def warm(monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker that has done enough to know how long its jobs take."""
    monkeypatch.setattr(worker_module, "COLD_JOBS", 0)


def test_jobs_run_one_at_a_time_in_order_beside_the_loop() -> None:
    """Each job has the thread for itself, the loop is free, and what a job raises comes back."""
    done: list[int] = []
    running = threading.Semaphore(1)

    def job(number: int) -> threading.Thread:
        assert running.acquire(blocking=False)
        done.append(number)
        running.release()
        return threading.current_thread()

    async def ask() -> list[threading.Thread]:
        worker = Worker()
        with pytest.raises(LookupError, match="inside"):
            await worker.run(raising)
        return await asyncio.gather(*(worker.run(lambda number=number: job(number)) for number in range(20)))

    threads = asyncio.run(ask())

    assert list(range(20)) == done
    assert len(set(threads)) == 1
    assert threading.current_thread() not in threads


def raising() -> None:
    """Fail."""
    raise LookupError("inside")


def test_a_long_line_is_refused_at_once_and_opens_again() -> None:
    """Who would have to wait too long is told when to come back; when the line is shorter, the next is taken."""

    async def ask() -> ProblemError:
        worker, gate = Worker(), threading.Event()
        for _ in range(100):  # until it has seen that jobs are quick
            await worker.run(int)
        line = [asyncio.create_task(worker.run(gate.wait)) for _ in range(MOST_IN_LINE)]
        await asyncio.sleep(0)
        with pytest.raises(ProblemError) as refused:
            await worker.run(gate.wait)
        gate.set()
        await asyncio.gather(*line)
        assert await worker.run(gate.wait)
        return refused.value

    error = asyncio.run(ask())

    assert (BUSY, {"retry-after": "1"}) == (error.kind, error.headers)


class Clock:
    """A clock that stands still until it is moved."""

    def __init__(self) -> None:
        self.now = 1000.0

    def monotonic(self) -> float:
        """Return the time."""
        return self.now

    perf_counter = monotonic


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Return the clock that the worker looks at."""
    clock = Clock()
    monkeypatch.setattr("featherline_service.web.answering.worker.time", clock)
    return clock


def test_of_a_burst_more_is_taken_than_of_a_flood(clock: Clock) -> None:
    """With jobs of 10 ms a fifth of a second's work is taken; of a line never empty since, only 20 ms' work."""

    async def taken(worker: Worker, gate: threading.Event, line: list[asyncio.Task[bool]], most: int) -> int:
        for count in range(most):
            job = asyncio.create_task(worker.run(gate.wait))
            await asyncio.sleep(0)
            if job.done():
                assert isinstance(job.exception(), ProblemError)
                return count
            line.append(job)
        return most

    async def ask() -> tuple[int, int, int]:
        gate = threading.Event()
        line: list[asyncio.Task[bool]] = []
        burst = await taken(Worker(), gate, line, MOST_IN_LINE + 1)
        worker = Worker()
        first = await taken(worker, gate, line, 2)
        clock.now += 1.5
        flood = await taken(worker, gate, line, MOST_IN_LINE)
        gate.set()
        await asyncio.gather(*line)
        return burst, first, flood

    assert (21, 2, 1) == asyncio.run(ask())


def test_a_flood_that_was_refused_gets_no_burst_until_it_is_calm(clock: Clock) -> None:
    """What comes within a second of a refusal finds a short line, even where the line was empty in between."""

    async def ask() -> list[int]:
        worker = Worker()
        taken = []
        for later_s in (0.0, 0.5, 1.1):
            clock.now += later_s
            gate, line = threading.Event(), list[asyncio.Task[None]]()

            def job(gate: threading.Event = gate) -> None:
                gate.wait()
                clock.now += 0.01

            while True:
                asked = asyncio.create_task(worker.run(job))
                await asyncio.sleep(0)
                if asked.done():
                    assert isinstance(asked.exception(), ProblemError)
                    break
                line.append(asked)
            gate.set()
            await asyncio.gather(*line)
            taken.append(len(line))
        return taken

    burst, flood, calm = asyncio.run(ask())

    assert (True, True, True) == (20 <= burst <= 21, 2 <= flood <= 3, 20 <= calm <= 21)  # as 0.01 adds up


def test_slow_jobs_make_a_short_line(clock: Clock) -> None:
    """Where jobs take 300 ms, one waits for no more than two."""

    async def ask() -> int:
        worker, gate = Worker(), threading.Event()

        def slow() -> None:
            clock.now += 0.3

        for _ in range(60):
            await worker.run(slow)
        line = []
        try:
            while True:
                job = asyncio.create_task(worker.run(gate.wait))
                await asyncio.sleep(0)
                if job.done():
                    return len(line)
                line.append(job)
        finally:
            gate.set()
            await asyncio.gather(*line)

    assert 3 == asyncio.run(ask())


def test_a_job_that_nobody_waits_for_is_not_begun() -> None:
    """Neither one that is too late nor one whose callers have left."""
    done: list[str] = []

    async def ask() -> None:
        worker = Worker()
        with pytest.raises(DeadlineError):
            await worker.run(lambda: done.append("late"), until=0.0)
        with pytest.raises(DeadlineError):
            await worker.run_slice(lambda: done.append("left"), wanted=lambda: False)
        await worker.run(lambda: done.append("wanted"))

    asyncio.run(ask())

    assert ["wanted"] == done


def test_what_is_bound_to_the_log_goes_with_the_job() -> None:
    """A line that is logged beside the loop bears the ids of its request."""

    async def ask() -> Mapping[str, str]:
        request_ids.set({"request_id": "tide-7"})
        return await Worker().run(request_ids.get)

    assert {"request_id": "tide-7"} == asyncio.run(ask())


def test_of_a_cold_start_more_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first jobs take many times as long as those that follow: nobody is sent away for that."""
    monkeypatch.setattr(worker_module, "COLD_JOBS", 1)
    worker = Worker()
    worker._mean_s, worker._in_line = 1.0, 2
    worker._admit()
    worker._done = 1
    worker._in_line = 3
    with pytest.raises(ProblemError):
        worker._admit()
