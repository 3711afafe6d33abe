"""The deadline of a computation, in processor time: on a busy machine a question takes longer, but not more.

A computation checks now and then whether it has used what it may, or whether nobody waits for it any longer.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager


class DeadlineError(Exception):
    """A computation was given up: it has used its processor time, or nobody waits for it."""


def _wanted() -> bool:
    return True


class _Limits:
    """The limits of the computation of this process: when its processor time is used up [s], and who still waits."""

    until_s = math.inf
    is_wanted: Callable[[], bool] = staticmethod(_wanted)


@contextmanager
def limited(seconds: float, is_wanted: Callable[[], bool] = _wanted) -> Iterator[None]:
    """Limit the processor time of a computation; an earlier limit around it stays.

    Args:
        seconds: What it may use from now on.
        is_wanted: Whether anybody still waits for it.
    """
    before = _Limits.until_s, _Limits.is_wanted
    _Limits.until_s = min(_Limits.until_s, time.thread_time() + seconds)
    _Limits.is_wanted = staticmethod(is_wanted)
    try:
        yield
    finally:
        _Limits.until_s, wanted = before
        _Limits.is_wanted = staticmethod(wanted)


def check() -> None:
    """Check the limits of the computation.

    Raises:
        DeadlineError: Its processor time is used up, or nobody waits for it.
    """
    if time.thread_time() >= _Limits.until_s or not _Limits.is_wanted():
        raise DeadlineError
