"""What this process really has."""

from __future__ import annotations

import os
import resource
from pathlib import Path

import psutil
import pytest

from featherline_service.computing import machine


def group(folder: Path, cpu: str = "max 100000", memory: str = "max") -> Path:
    """Return a folder with the limits of a cgroup."""
    (folder / "cpu.max").write_text(f"{cpu}\n")
    (folder / "memory.max").write_text(f"{memory}\n")
    return folder


@pytest.mark.parametrize(
    ("cpu", "count"), [("max 100000", 8), ("150000 100000", 2), ("50000 100000", 1), ("1600000 100000", 8)]
)
def test_processors_are_those_of_the_quota(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, cpu: str, count: int
) -> None:
    """Time of one and a half is time for two; no quota is larger than what there is."""
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(8)), raising=False)

    assert count == machine.processors(group(tmp_path, cpu))


def test_where_nothing_is_said_all_processors_count(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """As on a system without cgroups, or that does not tell on which of them a process may run."""
    monkeypatch.delattr(os, "sched_getaffinity", raising=False)
    monkeypatch.setattr(os, "cpu_count", lambda: 3)

    assert 3 == machine.processors(tmp_path)


def test_memory_is_the_least_of_all_limits(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The machine's, the cgroup's, the process's own."""
    limits = {resource.RLIMIT_AS: (resource.RLIM_INFINITY,) * 2, resource.RLIMIT_DATA: (300_000_000,) * 2}
    assert psutil.virtual_memory().total == machine.memory(tmp_path)
    assert 512_000_000 == machine.memory(group(tmp_path, memory="512000000"))
    monkeypatch.setattr(resource, "getrlimit", limits.__getitem__)
    assert 300_000_000 == machine.memory(group(tmp_path, memory="512000000"))


@pytest.mark.parametrize(
    ("processors", "memory_mb", "processes"), [(2, 512, 2), (8, 512, 3), (8, 1_000, 7), (8, 16_000, 8), (1, 128, 1)]
)
def test_as_many_processes_as_there_are_processors_and_memory_for(
    processors: int, memory_mb: int, processes: int
) -> None:
    """Two in 200 MB, each more in 120 MB, of 85 % of what there is; never none."""
    assert processes == machine.default_processes(processors, memory_mb * 1_000_000)


def test_what_processes_may_take_together() -> None:
    """So much as they need, and no more than there is."""
    assert (440_000_000, 425_000_000) == (
        machine.memory_budget(2, 16_000_000_000),
        machine.memory_budget(2, 500_000_000),
    )
