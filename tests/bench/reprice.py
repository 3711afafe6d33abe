"""Measure repricing on one and on two worker processes of this machine; print a line for each run, and the ratio.

``python reprice.py [LINES]``, 40,000 if not given; on Linux. Runs with one worker and with two take turns, each with
new processes, without the time that these take to start. Other programs on the machine make each of them slower: so
beside the rate by the clock there is the one without the time in which a worker could run and no processor was free.
Exits with 1 where two workers are less than 1.7 times as quick as one by that rate.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, NamedTuple

import catalogue
import psutil

from featherline_service.reprice import cluster, runs, worker
from featherline_service.reprice.blocks import FEWEST_LINES

LEAST_RATIO: Final = 1.7
TURNS: Final = 2


class Figures(NamedTuple):
    """The figures of a run: seconds by the clock, of processor and in line for one, of a worker; peak memory [MB]."""

    workers: int
    lines: int
    clock_s: float
    busy_s: float
    waited_s: float
    driver_busy_s: float
    peak_mb: float

    @property
    def rate(self) -> float:
        """Lines a second by the clock."""
        return self.lines / self.clock_s

    @property
    def own_rate(self) -> float:
        """Lines a second without the time in which no processor was free."""
        return self.lines / (self.clock_s - self.waited_s)


def main(lines: int) -> int:
    """Measure, print, and return the exit code."""
    with tempfile.TemporaryDirectory() as name:
        orders = Path(name) / "orders.jsonl"
        catalogue.write(lines, orders)
        figures = [
            measure(orders, Path(name) / f"{turn}-{workers}", workers, lines)
            for turn in range(TURNS)
            for workers in (1, 2)
        ]
    for each in figures:
        print(
            f"{each.workers} workers: {each.rate:,.0f} lines a second, {each.own_rate:,.0f} on its own processors; "
            f"of {each.clock_s:.0f} s a worker computed {each.busy_s:.0f} and waited for a processor "
            f"{each.waited_s:.0f}, the command {each.driver_busy_s:.1f}; peak of a worker {each.peak_mb:.0f} MB"
        )
    one, two = ([each for each in figures if each.workers == workers] for workers in (1, 2))
    ratio = statistics.median(each.own_rate for each in two) / statistics.median(each.own_rate for each in one)
    by_clock = statistics.median(each.rate for each in two) / statistics.median(each.rate for each in one)
    print(f"two against one: {ratio:.2f}, by the clock {by_clock:.2f}; load {os.getloadavg()[0]:.1f}")
    return 0 if ratio >= LEAST_RATIO else 1


def measure(orders: Path, out: Path, workers: int, lines: int) -> Figures:
    """Return the figures of a run."""
    timetable, settings = worker.load_shop()
    book = timetable.at(datetime.now(UTC))
    run = worker.Run(worker.identity_of(book), settings.max_body, "jsonl", out)
    out.mkdir()
    with cluster.local(workers) as client:
        cluster.refuse_others(client, run.identity)
        processes = [psutil.Process(pid) for pid in client.run(os.getpid).values()]
        before = [(_busy_s(each), _waited_s(each)) for each in processes]
        driver, begun = time.process_time(), time.perf_counter()
        runs.reprice(client, orders, out, run, block_lines=FEWEST_LINES, tell=lambda _: None)
        clock_s = time.perf_counter() - begun
        after = [(_busy_s(each), _waited_s(each)) for each in processes]
        peaks = [_peak_mb(each) for each in processes]
    return Figures(
        workers=workers,
        lines=lines,
        clock_s=clock_s,
        busy_s=statistics.mean(end[0] - start[0] for start, end in zip(before, after, strict=True)),
        waited_s=statistics.mean(end[1] - start[1] for start, end in zip(before, after, strict=True)),
        driver_busy_s=time.process_time() - driver,
        peak_mb=max(peaks),
    )


def _busy_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)


def _waited_s(process: psutil.Process) -> float:
    """Return how long the thread that waited longest could run and no processor was free: the one that computes."""
    waits = (int(file.read_text().split()[1]) for file in Path(f"/proc/{process.pid}/task").glob("*/schedstat"))
    return max(waits) / 1e9


def _peak_mb(process: psutil.Process) -> float:
    status = Path(f"/proc/{process.pid}/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) * 1024 / 1e6


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 40_000))
