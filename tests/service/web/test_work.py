"""How jobs run beside the event loop."""

from __future__ import annotations

import asyncio
import threading

import pytest

from featherline_service.web.problems import BUSY, ProblemError
from featherline_service.web.work import MOST_IN_LINE, Worker


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
