"""Ports for servers of tests that are told where to listen, and are started a moment later, or again."""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import Iterator
from typing import Final

HOST: Final = "127.0.0.1"
_FIRST: Final = 12_000
_END: Final = (
    32_000  # below what Linux gives to connections: 32,768 and up (proc_sys_net_ipv4.html, ip_local_port_range)
)
_PROCESSES: Final = 40


def _ports() -> Iterator[int]:
    """Give the ports of a part of the range that no other process of the tests has, over and over."""
    number = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")) % _PROCESSES
    part = (_END - _FIRST) // _PROCESSES
    while True:
        yield from range(_FIRST + number * part, _FIRST + (number + 1) * part)


_PORTS: Final = _ports()


def free_port() -> int:
    """Return a free port, which no connection and no other test takes in the meantime."""
    while True:
        port = next(_PORTS)
        with contextlib.suppress(OSError), socket.create_server((HOST, port)):
            return port
