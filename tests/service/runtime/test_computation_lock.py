"""Who computes, and for how long."""

from __future__ import annotations

import math
import threading
import time

import pytest

from featherline_service.runtime import computation_lock
from featherline_service.runtime.cache import cached
from featherline_service.runtime.computation_lock import DeadlineError


def in_a_thread(job: object, ready: threading.Event) -> threading.Thread:
    """Return a thread that does a job with the turn, started; `ready` is set when it has it."""

    def run() -> None:
        with computation_lock.hold():
            ready.set()
            job()  # type: ignore[operator]

    thread = threading.Thread(target=run)
    thread.start()
    return thread


def test_one_has_the_turn_at_a_time() -> None:
    """Another waits until it is given back; who has it goes on with what it calls."""
    ready, gate, second = threading.Event(), threading.Event(), threading.Event()
    first_thread = in_a_thread(lambda: gate.wait(10), ready)
    assert ready.wait(10)

    second_thread = in_a_thread(lambda: None, second)
    waited = not second.wait(0.1)
    gate.set()
    first_thread.join(10)
    second_thread.join(10)
    with computation_lock.hold(), computation_lock.hold():
        pass

    assert (True, True) == (waited, second.is_set())


def test_it_is_lent_while_another_process_works() -> None:
    """Then another has it, and it comes back before anything else is computed."""
    ready, gate = threading.Event(), threading.Event()
    seen: list[str] = []

    with computation_lock.hold():
        with computation_lock.released():
            other = in_a_thread(lambda: (gate.wait(10), seen.append("other")), ready)
            assert ready.wait(10)
            gate.set()
        seen.append("own")
    other.join(10)

    assert ["other", "own"] == seen


def test_who_does_not_have_it_lends_nothing() -> None:
    """A computation that nobody runs beside others needs no turn."""
    with computation_lock.released():
        pass
    with computation_lock.hold():
        pass


def test_what_is_no_longer_wanted_is_given_up() -> None:
    """The nearer of two instants counts, and only within."""
    with (
        computation_lock.deadline(time.monotonic() - 1),
        computation_lock.deadline(math.inf),
        pytest.raises(DeadlineError),
    ):
        computation_lock.check_deadline()
    with computation_lock.deadline(time.monotonic() + 60):
        computation_lock.check_deadline()
    computation_lock.check_deadline()


def test_what_is_kept_is_given_up_before_it_is_computed_and_can_be_asked_again() -> None:
    """What was kept before is found all the same."""
    computed: list[int] = []

    @cached
    def double(number: int) -> int:
        computed.append(number)
        return 2 * number

    double(3)
    with computation_lock.deadline(0.0):
        with pytest.raises(DeadlineError):
            double(4)
        found = double(3)

    assert (6, 8, [3, 4]) == (found, double(4), computed)
