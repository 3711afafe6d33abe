"""Peak memory of the service and of a client that asks for many lines of bulk, as Linux reports it."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NamedTuple

sys.path.append(str(Path(__file__).parents[1]))  # the modules above this folder are no package
from family_memory import family_mb

CLIENT_MB: Final = 120.0
SERVICE_MB: Final = 240.0
_LOOK_S: Final = 0.1
_DIFFERENT: Final = 211  # a prime, so that no order comes at the same place of every POST
_SCRIPT: Final = Path(__file__).with_name("many_lines.py")


class Peak(NamedTuple):
    """The peak memory of a process [MB of 1e6 bytes], and its limit."""

    name: str
    mb: float
    limit_mb: float | None

    @property
    def is_late(self) -> bool:
        """Whether it is over its limit."""
        return self.limit_mb is not None and self.mb > self.limit_mb


def of_lines(url: str, process: int, lines: int) -> list[Peak]:
    """Return the peaks of the service before anybody asks, and of both sides when a client asks for so many quotes.

    The service's are of all its processes. First all lines are of one order: what that takes is what a stream takes.
    Then they are of many, whose answers, and what they were computed from, the service keeps as its cache allows.

    Raises:
        RuntimeError: Not every line had a price.
    """
    idle = family_mb(process)
    with _sampled(process) as streamed:
        client = _asked(url, lines, 1)
    with _sampled(process) as kept:
        _asked(url, lines, _DIFFERENT)
    return [
        Peak("service, idle", idle, None),
        Peak(f"service, {lines:,} lines", max(streamed), SERVICE_MB),
        Peak(f"client, {lines:,} lines", client, CLIENT_MB),
        Peak(f"service, {lines:,} of {_DIFFERENT} orders", max(kept), None),
    ]


@contextmanager
def _sampled(process: int) -> Iterator[list[float]]:
    """Look at the memory of a process and of those that it has made, every tenth of a second."""
    found, ended = [family_mb(process)], threading.Event()

    def look() -> None:
        while not ended.wait(_LOOK_S):
            found.append(family_mb(process))

    looking = threading.Thread(target=look)
    looking.start()
    try:
        yield found
    finally:
        ended.set()
        looking.join()


def _asked(url: str, lines: int, different: int) -> float:
    """Ask in a process of its own, and return its peak."""
    command = [sys.executable, str(_SCRIPT), url, str(lines), str(different)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    priced, _, status = done.stdout.partition("\n")
    if int(priced) != lines:
        raise RuntimeError(f"{priced} of {lines} lines had a price")
    return peak_mb(status)


def peak_mb(status: str) -> float:
    """Return a process's largest memory so far, from its status."""
    return float(status.partition("VmHWM:")[2].split()[0]) * 1024 / 1e6
