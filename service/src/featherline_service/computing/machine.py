"""The processors and the memory that this process really has, whatever the machine has."""

from __future__ import annotations

import math
import os
import resource
from pathlib import Path
from typing import Final

import psutil

_CGROUP: Final = Path("/sys/fs/cgroup")
_MB: Final = 1_000_000
_BASE_BYTES: Final = 200 * _MB
"""Memory of the service at rest with two processes that compute; measured, see tests/bench/MEASURES.md."""
_EACH_BYTES: Final = 120 * _MB
"""Memory that each process may need besides, for the heaviest questions."""
_SHARE: Final = 0.85
"""Of the memory that there is: the rest is for what is not counted, such as buffers of the system."""


def processors(cgroup: Path = _CGROUP) -> int:
    """Return how many processors this process may use, at least one: those it may run on, and its quota of time.

    References:
        Linux, Documentation/admin-guide/cgroup-v2, `cpu.max`: "$MAX $PERIOD", the word max for none.
    """
    # Where a system cannot say which, all may be used.
    allowed = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    quota, _, period = _read(cgroup / "cpu.max").partition(" ")
    return min(allowed, max(1, math.ceil(int(quota) / int(period)))) if quota.isdigit() else allowed


def memory(cgroup: Path = _CGROUP) -> int:
    """Return how many bytes this process may use: its cgroup's limit, its own, or the machine's memory.

    References:
        The same, `memory.max`; getrlimit(2).
    """
    limit = _read(cgroup / "memory.max")
    limits = [psutil.virtual_memory().total, *([int(limit)] if limit.isdigit() else [])]
    limits += [resource.getrlimit(kind)[0] for kind in (resource.RLIMIT_AS, resource.RLIMIT_DATA)]
    return min(limit for limit in limits if limit != resource.RLIM_INFINITY)


def default_processes(processors: int, memory: int) -> int:
    """Return how many processes compute where nothing is set: one a processor, as far as the memory allows."""
    return max(1, min(processors, 2 + (int(_SHARE * memory) - _BASE_BYTES) // _EACH_BYTES))


def memory_budget(processes: int, memory: int) -> int:
    """Return how many bytes all processes of the service may take together."""
    return min(int(_SHARE * memory), _BASE_BYTES + processes * _EACH_BYTES)


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii").strip()
    except OSError:
        return ""
