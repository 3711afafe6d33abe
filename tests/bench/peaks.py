"""Peak memory of the service and of a client that asks for many lines of bulk, as Linux reports it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Final, NamedTuple

LIMIT_MB: Final = 120.0
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

    First all are of one order: what that takes is what a stream takes. Then they are of many, whose answers, and what
    they were computed from, the service keeps as far as its cache allows; that has no limit here.

    Raises:
        RuntimeError: Not every line had a price.
    """
    service = Path(f"/proc/{process}/status")
    idle = peak_mb(service.read_text(encoding="utf-8"))
    client = _asked(url, lines, 1)
    streamed = peak_mb(service.read_text(encoding="utf-8"))
    _asked(url, lines, _DIFFERENT)
    kept = peak_mb(service.read_text(encoding="utf-8"))
    return [
        Peak("service, idle", idle, None),
        Peak(f"service, {lines:,} lines", streamed, LIMIT_MB),
        Peak(f"client, {lines:,} lines", client, LIMIT_MB),
        Peak(f"service, {lines:,} of {_DIFFERENT} orders", kept, None),
    ]


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
