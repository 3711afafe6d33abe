"""Code of others that does not end is ended."""

from __future__ import annotations

import contextlib
import sys
import threading
import time
from collections.abc import Callable

import pytest

from featherline_service.runtime.interrupts import OverdueError, bounded


def forever() -> None:
    """Go round and round."""
    while True:
        pass


def stubborn() -> None:
    """Go on after the first interruption."""
    with contextlib.suppress(BaseException):
        forever()
    forever()


def recursing() -> None:
    """Call itself, and again."""
    while True:
        with contextlib.suppress(RecursionError):
            recursing()


@pytest.mark.parametrize("job", [forever, stubborn, recursing])
def test_a_job_that_does_not_end_is_interrupted(job: Callable[[], None]) -> None:
    """Soon after the instant, even one that holds out for a while."""
    begun = time.monotonic()
    with pytest.raises(OverdueError):
        bounded(job, begun + 0.05)
    assert 0.05 <= time.monotonic() - begun < 5


def test_a_job_that_ends_returns() -> None:
    """What it returned is passed on."""
    assert "done" == bounded(lambda: "done", time.monotonic() + 60)


def test_an_error_of_the_job_is_its_own() -> None:
    """What the job raises in time is passed on."""
    with pytest.raises(ZeroDivisionError):
        bounded(lambda: 1 // 0, time.monotonic() + 60)


def test_nothing_is_raised_after_the_job() -> None:
    """However closely a job ends to its instant, what follows it is not interrupted."""
    outcomes = set()
    for _ in range(60):
        until = time.monotonic() + 0.01

        def job(until: float = until) -> str:
            while time.monotonic() < until + 0.01:
                pass
            return "done"

        try:
            outcomes.add(bounded(job, until))
        except OverdueError:
            outcomes.add("late")
        for _ in range(1000):
            pass  # steps between which it would come
    assert {"done", "late"} >= outcomes
    assert outcomes


def test_threads_are_interrupted_one_by_one() -> None:
    """Of two that run, the one that is late is interrupted, and the other goes on."""
    found: dict[str, str] = {}

    def run(name: str, seconds: float) -> None:
        def job() -> str:
            end = time.monotonic() + 0.3
            while time.monotonic() < end:
                pass
            return "done"

        try:
            found[name] = bounded(job, time.monotonic() + seconds)
        except OverdueError:
            found[name] = "late"

    threads = [threading.Thread(target=run, args=each) for each in (("short", 0.05), ("long", 60.0))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {"short": "late", "long": "done"} == found


def test_it_costs_little() -> None:
    """A thousand short jobs take far less than a thread each would."""
    assert sys.getswitchinterval() < 0.1
    begun = time.process_time()
    for _ in range(1000):
        bounded(int, time.monotonic() + 60)
    assert time.process_time() - begun < 0.5
