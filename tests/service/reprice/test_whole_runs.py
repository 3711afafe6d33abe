"""Whole runs of the command: a worker killed, the command stopped and run again, and the answers those of the service.

``REPRICE_LINES=200000 pytest tests/service/reprice`` prices as many lines as that; unset, fewer.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import json
import os
import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import ModuleType
from typing import Any, Final

import httpx2
import psutil
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.reprice import command
from featherline_service.settings import Settings

pytestmark = pytest.mark.slow

LINES: Final = int(os.environ.get("REPRICE_LINES", "4000"))
BLOCKS: Final = LINES // 1_000
SAMPLED: Final = min(2_000, LINES // 50)
MOST_MB: Final = 500.0
"""Most memory of a process; a worker holds 32 MiB of what it computed, and a block of 13 MB three times over."""
MOST_GROWN_MB: Final = 40.0
"""Most growth of a process from the second quarter of its run to the last, where the run has 100 blocks or more."""

COMMAND: Final = (sys.executable, "-m", "featherline_service", "reprice")
Json = dict[str, Any]


@pytest.fixture
def catalogue(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return the program that writes catalogues, as a module."""
    monkeypatch.syspath_prepend(Path(__file__).parents[2] / "bench")
    return importlib.import_module("catalogue")


class Run:
    """A run of the command, and the memory of its processes while it lasts."""

    def __init__(self, orders: Path, out: Path) -> None:
        self.out = out
        self.process = subprocess.Popen(
            [*COMMAND, orders, "--out", out, "--workers", "2"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.memory: dict[int, list[float]] = {}

    def files(self) -> int:
        """Return the number of blocks that have their file."""
        return sum(1 for _ in self.out.glob("*.jsonl"))

    def workers(self) -> list[psutil.Process]:
        """Return the worker processes; where it can, Dask gives them a title."""
        found = []
        for child in psutil.Process(self.process.pid).children():
            with contextlib.suppress(psutil.NoSuchProcess):  # it ended just now
                if re.search("spawn_main|dask worker", " ".join(child.cmdline())):
                    found.append(child)
        return found

    def wait_for(self, files: int) -> None:
        """Wait until so many blocks have their file; the memory of the processes is noted meanwhile."""
        while self.files() < files:
            assert self.process.poll() is None, self.process.communicate()
            self._note()
            time.sleep(0.1)

    def end(self) -> tuple[int, str, str]:
        """Wait until it ends; returns its exit code, and what it wrote."""
        while self.process.poll() is None:
            self._note()
            time.sleep(0.1)
        return (self.process.returncode, *self.process.communicate())

    def _processes(self) -> Iterator[psutil.Process]:
        driver = psutil.Process(self.process.pid)
        return iter((driver, *driver.children(recursive=True)))

    def _note(self) -> None:
        for process in self._processes():
            with process.oneshot():
                try:
                    self.memory.setdefault(process.pid, []).append(process.memory_info().rss / 1e6)
                except psutil.NoSuchProcess:
                    continue


def answers(out: Path) -> Mapping[int, bytes]:
    """Return the lines of the answers by their number, as the index orders them."""
    names = json.loads((out / "index.json").read_bytes())["files"]
    lines = [line for name in names for line in (out / name).read_bytes().splitlines()]
    return dict(enumerate(lines, 1))


def from_service(orders: list[bytes]) -> list[bytes]:
    """Return the service's answers to orders, without the seal."""

    async def ask() -> list[bytes]:
        transport = httpx2.ASGITransport(create_app(Settings()))
        headers = {"content-type": "application/json"}
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test", headers=headers) as client:
            found = []
            for order in orders:
                response = await client.post("/v1/quotes", content=order)
                assert 200 == response.status_code
                found.append(response.content)
            return found

    with capture_logs():
        found = asyncio.run(ask())
    return [b"".join((*content.rpartition(b'"seal":')[:2], b"null}")) for content in found]


def test_a_killed_worker_and_a_stopped_run_lose_and_change_nothing(
    catalogue: ModuleType, tmp_path: Path, record_property: Any  # noqa: ANN401 - pytest's
) -> None:  # fmt: skip
    """A worker is killed at a third, the command stopped at two; the next goes on, and no answer differs.

    In between no file is but of a whole block, and memory stays as it is.
    """
    orders, out = tmp_path / "orders.jsonl", tmp_path / "out"
    catalogue.write(LINES, orders)
    begun = time.monotonic()
    first = Run(orders, out)
    first.wait_for(BLOCKS // 3)
    os.kill(first.workers()[0].pid, signal.SIGKILL)
    first.wait_for(BLOCKS * 2 // 3)
    first.process.send_signal(signal.SIGTERM)
    workers = [child.pid for child in first.workers()]

    assert command.STOPPED == first.end()[0]
    assert [] == [pid for pid in workers if psutil.pid_exists(pid)]
    done = first.files()
    assert BLOCKS * 2 // 3 <= done < BLOCKS
    assert {1_000} == {len(file.read_bytes().splitlines()) for file in out.glob("*.jsonl")}
    assert not (out / "index.json").exists()

    second = Run(orders, out)
    code, said, _ = second.end()
    seconds = time.monotonic() - begun
    assert 0 == code
    assert (
        f"{LINES:,} lines: {LINES - done * 1_000:,} priced, of which 0 are problems, and {done * 1_000:,} skipped"
        in said
    )

    asked = dict(enumerate(orders.read_bytes().splitlines(), 1))
    found = answers(out)
    assert asked.keys() == found.keys()
    numbers = sorted(random.Random(7).sample(range(1, LINES + 1), SAMPLED))  # noqa: S311 - a sample
    expected = from_service([asked[number].partition(b'"request":')[2][:-1] for number in numbers])
    assert [
        b'{"kind":"quote","line":%d,"id":"%d","status":200,"answer":%b}' % (number, number, answer)
        for number, answer in zip(numbers, expected, strict=True)
    ] == [found[number] for number in numbers]

    memory = [notes for run in (first, second) for notes in run.memory.values()]
    quarters = [
        (notes[len(notes) // 4 : len(notes) // 2], notes[-len(notes) // 4 :]) for notes in memory if notes[100:]
    ]
    grown = [max(last) - max(second) for second, last in quarters]
    record_property("seconds", round(seconds))
    record_property("peak_mb", [round(max(notes)) for notes in memory])
    record_property("grown_mb", [round(each) for each in grown])
    assert max(map(max, memory)) < MOST_MB
    assert BLOCKS < 100 or max(grown) < MOST_GROWN_MB


def test_a_driver_that_is_killed_leaves_no_process_and_no_broken_file(catalogue: ModuleType, tmp_path: Path) -> None:
    """Its workers end by themselves, and what has the name of a block is whole."""
    orders, out = tmp_path / "orders.jsonl", tmp_path / "out"
    catalogue.write(4_000, orders)
    run = Run(orders, out)
    run.wait_for(1)
    workers = run.workers()
    run.process.kill()
    run.process.communicate()
    psutil.wait_procs(workers, timeout=20)

    assert [] == [worker.pid for worker in workers if worker.is_running() and worker.status() != psutil.STATUS_ZOMBIE]
    assert {1_000} == {len(file.read_bytes().splitlines()) for file in out.glob("*.jsonl")}
