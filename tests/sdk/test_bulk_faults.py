"""Bulk through a proxy that drops, delays, truncates and repeats, in front of the running service.

``BULK_LINES`` is the number of lines: 2,000 if unset, 10,000 in the full run.
"""

from __future__ import annotations

import asyncio
import importlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import msgspec
import pytest

from featherline import AsyncClient, Client, Reply
from featherline.wire import CostAnswer, CostRequest, Measured

LINES = int(os.environ.get("BULK_LINES", "2000"))
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
WORK: Measured = msgspec.json.decode((EXAMPLES / "cost-request-measures.json").read_bytes(), type=CostRequest)
DIFFERENT = 211  # a prime, so that neighbours, and equal places of two POSTs, differ
BAD = 100
OPTIONS: dict[str, Any] = {"attempt_timeout": 0.25, "attempts": 10}


@pytest.fixture(scope="module")
def expected(running: Any) -> list[CostAnswer | None]:  # noqa: ANN401 - of conftest.py
    """The answer to each request alone, without the proxy; None for the bad request."""
    with Client(running.url) as client:
        answers = [None if number == BAD else client.cost(work(number)) for number in range(DIFFERENT)]
    assert DIFFERENT == len(set(answers))
    return answers


@pytest.fixture
def proxies(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The module of the proxy."""
    monkeypatch.syspath_prepend(Path(__file__).parent)
    return importlib.import_module("faulty_proxy")


def work(number: int) -> Measured:
    """Return a request that differs from its neighbours; now and then a bad one."""
    film = "no-such-film" if number % DIFFERENT == BAD else WORK.pieces[0].film
    piece = msgspec.structs.replace(WORK.pieces[0], film=film, corners=number % DIFFERENT)
    return msgspec.structs.replace(WORK, pieces=(piece,))


def works(lines: int) -> Iterator[Measured]:
    """Yield requests."""
    return map(work, range(lines))


def check(reply: Reply[Any, CostAnswer], number: int, expected: list[CostAnswer | None]) -> None:
    """Assert that a reply is the whole reply to the request with its number."""
    assert (number + 1, work(number)) == (reply.line, reply.request)
    answer = expected[number % DIFFERENT]
    if answer is None:
        assert reply.problem is not None
        assert ["/request/pieces/0/film"] == [fault.pointer for fault in reply.problem.errors]
    else:
        assert answer == reply.answer


@pytest.mark.slow
@pytest.mark.usefixtures("no_waits")
@pytest.mark.parametrize("kind", ["Client", "AsyncClient"])
def test_every_line_arrives_once_and_in_order(
    proxies: ModuleType,
    running: Any,  # noqa: ANN401 - of conftest.py
    expected: list[CostAnswer | None],
    kind: str,
) -> None:
    """Each fault happens, more than twenty in all, and yet each request has exactly its own reply."""
    replied = 0
    with proxies.proxying(running.port) as (proxy, port):
        url = f"http://127.0.0.1:{port}"
        if kind == "Client":
            with Client(url, **OPTIONS) as client:
                for number, reply in enumerate(client.bulk(works(LINES))):
                    check(reply, number, expected)
                    replied += 1
        else:

            async def ask() -> int:
                count = 0
                async with AsyncClient(url, **OPTIONS) as client:
                    async for reply in client.bulk(works(LINES)):
                        check(reply, count, expected)
                        count += 1
                return count

            replied = asyncio.run(ask())

    assert LINES == replied
    assert set(proxies.FAULTS) == set(proxy.done)
    assert sum(proxy.done.values()) - proxy.done["none"] > 20


SCRIPT = """
import sys, msgspec
from featherline import Client
from featherline.wire import CostRequest
work = msgspec.json.decode(sys.stdin.buffer.read(), type=CostRequest)
lines = int(sys.argv[2])
pieces = (msgspec.structs.replace(work.pieces[0], corners=number % 211) for number in range(lines))
works = (msgspec.structs.replace(work, pieces=(piece,)) for piece in pieces)
with Client(sys.argv[1]) as client:
    right = sum(reply.answer.cost is not None for reply in client.bulk(works))
print(right)
print(open("/proc/self/status").read())
"""


def peak_mb(status: str) -> float:
    """Return the peak memory of a process, from Linux's status file."""
    return float(status.partition("VmHWM:")[2].split()[0]) * 1024 / 1e6


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="reads /proc")
def test_many_lines_need_little_memory_on_either_side(just_started: Any) -> None:  # noqa: ANN401 - of conftest.py
    """The client's peak is below 60 MB for any number of lines.

    The service's is less than 30 MB above its idle memory; most of that is its cache of answers.
    """
    service = Path(f"/proc/{just_started.process}/status")
    idle = peak_mb(service.read_text())
    command = [sys.executable, "-c", SCRIPT, just_started.url, str(5 * LINES)]
    done = subprocess.run(command, input=msgspec.json.encode(WORK), capture_output=True, check=True)
    right, _, status = done.stdout.decode().partition("\n")

    assert 5 * LINES == int(right)
    assert peak_mb(status) < 60
    assert peak_mb(service.read_text()) < idle + 30
