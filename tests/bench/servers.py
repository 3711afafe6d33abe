"""Servers in processes of their own, on loopback."""

from __future__ import annotations

import contextlib
import http.client
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Final, Self

import psutil

sys.path.append(str(Path(__file__).parents[1]))  # the modules above this folder are no package
from family_memory import family_mb

HOST: Final = "127.0.0.1"
SERVICE: Final = ("-m", "featherline_service")
# As where it is installed: what Litestar and others take in where they find it, and here the tools of the checks bring.
_NOT_THERE: Final = ("attrs", "opentelemetry", "pydantic", "scipy", "starlette")
_HIDE: Final = f"import runpy, sys; sys.modules.update(dict.fromkeys({_NOT_THERE})); "
SERVICE_ALONE: Final = ("-c", f"{_HIDE}runpy.run_module('featherline_service', run_name='__main__')")
ECHO: Final = ("-c", (Path(__file__).parent / "echo.py").read_text())
PYDANTIC_ECHO: Final = ("-c", (Path(__file__).parent / "pydantic_echo.py").read_text())
_STARTED_WITHIN_S: Final = 30.0


class Process:
    """A server in a process of its own, on a free port of this machine."""

    def __init__(self, program: tuple[str, ...], ready: str, **environment: str) -> None:
        """Keep what to run, the path that answers 200 once it is ready, and variables for it."""
        self._environment = environment
        self._program = program
        self._ready = ready
        self._process: subprocess.Popen[bytes] | None = None
        self.port = 0

    def __enter__(self) -> Self:
        """Return itself, not yet started."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Stop."""
        self.stop()

    def start(self) -> None:
        """Start, and wait until it answers."""
        with socket.create_server((HOST, 0)) as free:
            self.port = free.getsockname()[1]
        environment = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
        self._process = subprocess.Popen(
            [sys.executable, "-I", *self._program],
            env={**environment, **self._environment, "FEATHERLINE_PORT": str(self.port), "PORT": str(self.port)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        deadline = time.monotonic() + _STARTED_WITHIN_S
        while time.monotonic() < deadline and self._process.poll() is None:
            connection = http.client.HTTPConnection(HOST, self.port, timeout=5)
            with contextlib.suppress(OSError), contextlib.closing(connection):
                connection.request("GET", self._ready)
                if connection.getresponse().status == http.HTTPStatus.OK:
                    return
            time.sleep(0.002)
        self.stop()
        raise RuntimeError(f"{self._program[:2]} did not get ready")

    def stop(self) -> None:
        """Stop, and wait until it has."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait()
            self._process = None

    @property
    def id(self) -> int:
        """The number of the process, which has been started."""
        assert self._process is not None
        return self._process.pid

    def processor_s(self) -> float:
        """Return the processor time that all its processes have taken so far [s]."""
        process = psutil.Process(self.id)
        return sum(sum(each.cpu_times()[:2]) for each in (process, *process.children(recursive=True)))

    def memory_mb(self) -> float:
        """Return the memory of all its processes [MB of 1e6 bytes], what several share counted once."""
        return family_mb(self.id)


@contextlib.contextmanager
def on_first_processor() -> Iterator[None]:
    """Hold processes started in the block to one processor, where the system can."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    processors = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(processors)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, processors)
