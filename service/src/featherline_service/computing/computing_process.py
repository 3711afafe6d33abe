"""A process that computes: one question after another, from its connection to the process that serves HTTP."""

from __future__ import annotations

import contextlib
import os
import resource
import socket
import sys
import time
from collections.abc import Callable
from typing import Final

import psutil

from featherline.wire.book import Plugin
from featherline_service import plugins
from featherline_service.computing.messages import (
    Done,
    OutOfMemory,
    PluginCalled,
    Statistics,
    Work,
    decode_work,
    framed,
    receive,
)
from featherline_service.runtime import cache, deadline, logs

Compute = Callable[[bytes], bytes]
"""Returns the answer to a question; both in bytes."""

_STATISTICS_EACH_S: Final = 1.0


def run(connection: socket.socket, compute: Compute, given_up: memoryview, *, most_growth: int, log_level: str) -> None:
    """Answer questions until the other end closes the connection.

    Args:
        connection: From which questions come and to which answers go.
        compute: Returns the answer to a question, and raises nothing but `MemoryError`.
        given_up: Shared with the other end: the number of the question that nobody waits for any longer.
        most_growth: How many bytes of memory the process may take besides what it has now.
        log_level: The least level of log lines that the other end gets.
    """
    _limit_memory(most_growth)
    with contextlib.suppress(ConnectionError):  # the other end has closed it in the midst of a question
        _answer_all(connection, compute, given_up, logs.collect(log_level))


def _answer_all(connection: socket.socket, compute: Compute, given_up: memoryview, lines: list[bytes]) -> None:
    """Answer questions; the log lines that come to `lines` meanwhile go with the answers."""

    def note_plugin(plugin: Plugin | None) -> None:
        connection.sendall(framed(PluginCalled(plugin)))

    plugins.watch(note_plugin)
    told_s = 0.0
    while (content := receive(connection)) is not None:
        work = decode_work(content)
        logs.request_ids.set(work.ids)
        try:
            answer = _limited(work, compute, given_up)
        except MemoryError:
            connection.sendall(framed(OutOfMemory()))
            return
        statistics = None
        if time.monotonic() - told_s > _STATISTICS_EACH_S:
            told_s = time.monotonic()
            statistics = Statistics(
                {name: (use.found, use.computed) for name, use in cache.statistics().items()}, cache.size()
            )
        connection.sendall(framed(Done(work.number, answer, time.process_time(), tuple(lines), statistics)))
        lines.clear()


def _limited(work: Work, compute: Compute, given_up: memoryview) -> bytes:
    with deadline.limited(work.limit_s, lambda: given_up[0] != work.number):
        return compute(work.question)


def _limit_memory(most_growth: int) -> None:
    """Let allocations fail beyond a limit, so that no question takes the memory of others before it is noticed."""
    if sys.platform != "linux":
        return  # elsewhere the limit is not kept, or counts other memory: the pool's watch is left
    limit = psutil.Process(os.getpid()).memory_info().vms + most_growth
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (limit if hard == resource.RLIM_INFINITY else min(limit, hard), hard))
