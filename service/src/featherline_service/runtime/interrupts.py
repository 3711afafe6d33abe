"""Interrupts for plug-ins: code that checks no deadline is interrupted, so that no endless loop stops the service.

CPython can raise an exception in another thread, between two of its instructions. One thread watches those that run
plug-ins, and raises one when their deadline has passed, again and again until they have left the plug-in. What waits
inside a C library, such as a long sleep, is interrupted when that returns.
"""

from __future__ import annotations

import ctypes
import time
from collections.abc import Callable
from threading import Event, Lock, Thread, get_ident
from typing import Final, TypeVar

_Value = TypeVar("_Value")

_LOOK_S: Final = 0.02  # how late an interruption is at the most
_AGAIN_S: Final = 0.5  # far longer than the way out takes, so that what is on it is not interrupted again

# Inside the lock a thread is not interrupted: it is watched from the end of one block to the beginning of the other,
# and a plain lock is taken and left in steps between which nothing is raised.
_lock: Final = Lock()
_watched: Final[dict[int, float]] = {}
_some: Final = Event()
_raise: Final = ctypes.pythonapi.PyThreadState_SetAsyncExc


class OverdueError(BaseException):
    """Raised in code that runs for too long; no `except Exception` of it holds it up."""


def bounded(job: Callable[[], _Value], until: float) -> _Value:
    """Run a job, interrupted at an instant, as `time.monotonic` counts, and return its result.

    Raises:
        OverdueError: The job did not end in time.
    """
    thread = get_ident()
    _start()
    try:
        with _lock:
            _some.set()
            _watched[thread] = until
        try:
            return job()
        finally:
            _leave(thread)
    except OverdueError:
        _leave(thread)  # it may have come on the way out
        raise


def _leave(thread: int) -> None:
    with _lock:
        _watched.pop(thread, None)
    # What was raised and has not come yet comes at the next step backwards. (To take it back, as the interface offers,
    # leaves CPython 3.11 looking for it for ever.)
    for _ in range(2):
        pass


def _start() -> None:
    global _watch  # noqa: PLW0603 - the one watching thread of the process
    if _watch is None:
        _watch = Thread(target=_look, name="interrupts", daemon=True)
        _watch.start()


_watch: Thread | None = None


def _look() -> None:
    while True:
        _some.wait()
        time.sleep(_LOOK_S)
        now = time.monotonic()
        with _lock:
            for thread, until in _watched.items():
                if now >= until:
                    _watched[thread] = now + _AGAIN_S
                    _raise(ctypes.c_ulong(thread), ctypes.py_object(OverdueError))
            if not _watched:
                _some.clear()
