"""The computation lock, one computation at a time, and the deadline of each computation.

GEOS builds the index of a prepared geometry when it is first used, and shapely lets other threads run meanwhile: two
threads that use one geometry at once corrupt the memory of the process (seen with shapely 2.2 and GEOS 3.14, within
3,000 tries; no other cached value was wrong in 7,000 questions over four threads). Geometries are cached and shared, so
a thread that computes holds the lock, and releases it while another process works for it.

A thread cannot be stopped from outside. So computations check now and then whether their deadline has passed.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock, local
from typing import Final

_lock: Final = Lock()


class DeadlineError(Exception):
    """A computation was given up: its deadline has passed."""


class _Thread(local):
    holds_lock: bool = False
    until: float = math.inf


_thread: Final = _Thread()


@contextmanager
def hold() -> Iterator[None]:
    """Hold the computation lock; a thread that holds it already goes on."""
    if _thread.holds_lock:
        yield
        return
    with _lock:
        _thread.holds_lock = True
        try:
            yield
        finally:
            _thread.holds_lock = False


@contextmanager
def released() -> Iterator[None]:
    """Release the computation lock while this thread waits for another process."""
    if not _thread.holds_lock:
        yield
        return
    _thread.holds_lock = False
    _lock.release()
    try:
        yield
    finally:
        _lock.acquire()
        _thread.holds_lock = True


@contextmanager
def deadline(instant: float) -> Iterator[None]:
    """Set the deadline of a computation, as `time.monotonic` counts; an earlier one stays."""
    before = _thread.until
    _thread.until = min(before, instant)
    try:
        yield
    finally:
        _thread.until = before


def current_deadline() -> float:
    """Return the deadline of this thread's computation, as `time.monotonic` counts."""
    return _thread.until


def check_deadline() -> None:
    """Check the deadline of the computation.

    Raises:
        DeadlineError: It has passed.
    """
    if time.monotonic() >= _thread.until:
        raise DeadlineError
