"""One computation at a time, and none for longer than somebody waits for it.

GEOS builds the index of a prepared geometry when it is first used, and shapely lets other threads run meanwhile: two
threads that use one geometry at once corrupt the memory of the process (seen with shapely 2.2 and GEOS 3.14, within
3,000 tries; nothing else that is kept was wrong in 7,000 questions over four threads). Geometries are kept and shared,
so whoever computes beside others has the turn, and lends it while another process works for it.

A thread cannot be stopped from outside. So what computes looks now and then whether it is still wanted.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock, local
from typing import Final

_turn: Final = Lock()


class LateError(Exception):
    """A computation was given up: the time is over that somebody waits for it."""


class _Thread(local):
    has_turn: bool = False
    until: float = math.inf


_thread: Final = _Thread()


@contextmanager
def turn() -> Iterator[None]:
    """Have the turn; wait for it first. A thread that has it goes on."""
    if _thread.has_turn:
        yield
        return
    with _turn:
        _thread.has_turn = True
        try:
            yield
        finally:
            _thread.has_turn = False


@contextmanager
def lent() -> Iterator[None]:
    """Let others have the turn, while what this thread waits for is done by another process."""
    if not _thread.has_turn:
        yield
        return
    _thread.has_turn = False
    _turn.release()
    try:
        yield
    finally:
        _turn.acquire()
        _thread.has_turn = True


@contextmanager
def until(instant: float) -> Iterator[None]:
    """Compute for no longer than until an instant, as `time.monotonic` counts; one that is set before is kept to."""
    before = _thread.until
    _thread.until = min(before, instant)
    try:
        yield
    finally:
        _thread.until = before


def ends() -> float:
    """Return until which instant this thread may compute, as `time.monotonic` counts."""
    return _thread.until


def check() -> None:
    """Go on, if the computation is still wanted.

    Raises:
        LateError: It is not.
    """
    if time.monotonic() >= _thread.until:
        raise LateError
