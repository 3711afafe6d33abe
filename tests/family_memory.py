"""Memory of a process and of those that it has made, what several share counted once."""

from __future__ import annotations

import contextlib

import psutil


def family_mb(pid: int) -> float:
    """Return the proportional memory of a process and of those that it and they have made [MB of 1e6 bytes]."""
    process = psutil.Process(pid)
    total = 0.0
    for each in (process, *process.children(recursive=True)):
        with contextlib.suppress(psutil.NoSuchProcess):
            total += each.memory_full_info().pss / 1e6
    return total
