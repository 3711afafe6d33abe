"""Processes of the service behind HAProxy, as they run in production."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from free_ports import HOST, free_port
from load import BY_NIGHT
from service_forks import Service

CONFIGURATION: Final = Path(__file__).parents[2] / "deploy" / "haproxy.cfg"
DRAIN_S: Final = 1.2  # HAProxy misses a replica that says it is leaving after 0.7 s at most: 500 ms and 200 ms
DEADLINE_S: Final = 30  # of a question: no test here is of times, and a replica that just started works everything out
PROCESSES: Final = {} if BY_NIGHT else {"processes": 1}
"""Processes that compute in each of three replicas: with fewer by day, less is computed by each of them anew."""
_WITHIN_S: Final = 60.0


def get(port: int, path: str) -> tuple[int, bytes]:
    """Return the status and body of an answer."""
    with contextlib.closing(http.client.HTTPConnection(HOST, port, timeout=10)) as connection:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.read()


def wait_until(done: Callable[[], bool], what: str) -> None:
    """Wait until a condition holds."""
    deadline = time.monotonic() + _WITHIN_S
    while not done():
        if time.monotonic() > deadline:
            raise TimeoutError(f"{what}: not so after {_WITHIN_S:.0f} s")
        time.sleep(0.02)


class Replica:
    """A process of the service on its own port, which it keeps when it is restarted."""

    def __init__(self, name: str, log: Path) -> None:
        self.name = name
        self.port = free_port()
        self._log = log
        self._process: Service | None = None

    @property
    def process(self) -> Service:
        """The running process."""
        assert self._process is not None, f"replica {self.name} was never started"
        return self._process

    def start(self, **settings: object) -> None:
        """Start, and do not wait."""
        with self._log.open("ab") as log:
            self._process = Service(self.environment(settings), stderr=log.fileno())

    def environment(self, settings: Mapping[str, object]) -> dict[str, str]:
        """Return the variables of the process: those of this one, and settings of the service."""
        inherited = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
        own = {"port": self.port, "drain": DRAIN_S, "deadline": DEADLINE_S, **PROCESSES, **settings}
        return {**inherited, **{f"FEATHERLINE_{name.upper()}": str(value) for name, value in own.items()}}

    def await_ready(self) -> None:
        """Wait until the replica itself says that it is ready."""
        wait_until(self._ready, f"replica {self.name} is ready")

    def said(self) -> str:
        """Return all that was logged."""
        return self._log.read_text(encoding="utf-8")

    def send(self, sent: signal.Signals) -> None:
        """Send the process a signal."""
        self.process.send_signal(sent)

    def end(self, sent: signal.Signals = signal.SIGTERM) -> int:
        """Send a signal that ends the process; returns its exit code once it has ended."""
        self.send(sent)
        return self.process.wait(timeout=_WITHIN_S)

    def _ready(self) -> bool:
        with contextlib.suppress(OSError):
            return get(self.port, "/health/ready")[0] == http.HTTPStatus.OK
        return False


class Proxy:
    """HAProxy with the project's configuration file."""

    def __init__(self, program: str, ports: Sequence[int], log: Path, admin: Path | None = None) -> None:
        """Stand before three replicas or, with an admin socket, before two sides of three each."""
        self._admin = {} if admin is None else {"ADMIN": str(admin)}
        self.port = free_port()
        self._watch = free_port()
        self._program = program
        self._ports = ports
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start, and wait until it listens."""
        replicas = {f"REPLICA_{number}": f"{HOST}:{port}" for number, port in enumerate(self._ports, 1)}
        addresses = {"LISTEN": f"{HOST}:{self.port}", "WATCH": f"{HOST}:{self._watch}", **replicas}
        with self._log.open("wb") as log:
            self._process = subprocess.Popen(
                [self._program, "-db", "-f", str(CONFIGURATION)],
                env={**os.environ, **addresses, **self._admin},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        wait_until(self._listens, "HAProxy listens")

    def close(self) -> None:
        """Stop at once."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()

    def state(self, name: str) -> str:
        """Return the state of a replica as HAProxy sees it: UP, DOWN, or on the way to one of them."""
        pattern = rf'haproxy_server_status\{{proxy="answers",server="{name}",state="(\w+)"\}} 1'
        (state,) = re.findall(pattern, get(self._watch, "/metrics")[1].decode())
        return str(state)

    def answered(self, name: str) -> int:
        """Return how many answers HAProxy got from a replica."""
        pattern = rf'haproxy_server_http_responses_total\{{proxy="answers",server="{name}",code="\w+"\}} (\d+)'
        return sum(map(int, re.findall(pattern, get(self._watch, "/metrics")[1].decode())))

    def streams(self, name: str) -> int:
        """Return how many bulk calls a replica is answering."""
        pattern = rf'haproxy_server_current_sessions\{{proxy="bulk",server="{name}"\}} (\d+)'
        (count,) = re.findall(pattern, get(self._watch, "/metrics")[1].decode())
        return int(count)

    def requests(self) -> list[dict[str, Any]]:
        """Return HAProxy's log of requests."""
        lines = self._log.read_text(encoding="utf-8").splitlines()
        return [json.loads(line) for line in lines if line.startswith("{")]

    def _listens(self) -> bool:
        assert self._process is not None
        if self._process.poll() is not None:
            raise RuntimeError(f"HAProxy ended: {self._log.read_text(encoding='utf-8')}")
        with (
            contextlib.suppress(OSError),
            socket.create_connection((HOST, self.port)),
            socket.create_connection((HOST, self._watch)),  # it opens one after the other
        ):
            return True
        return False


class Fleet:
    """Replicas behind a proxy."""

    def __init__(self, replicas: tuple[Replica, ...], proxy: Proxy, **settings: object) -> None:
        self.replicas = replicas
        self.proxy = proxy
        self._settings = settings

    def __enter__(self) -> Self:
        """Start all, and wait until requests go to all."""
        try:
            for replica in self.replicas:
                replica.start(**self._settings)
            for replica in self.replicas:
                replica.await_ready()
            self.proxy.start()
            for replica in self.replicas:
                self.await_state(replica, "UP")
        except BaseException:
            self._end()
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """End all."""
        self._end()

    def restart(self, **settings: object) -> None:
        """Restart all replicas at once, with these settings."""
        for replica in self.replicas:
            replica.end(signal.SIGKILL)
            replica.start(**settings)
        for replica in self.replicas:
            replica.await_ready()
            self.await_state(replica, "UP")

    def await_state(self, replica: Replica, state: str) -> None:
        """Wait until HAProxy sees a replica in a state."""
        wait_until(lambda: self.proxy.state(replica.name) == state, f"replica {replica.name} is {state}")

    def _end(self) -> None:
        self.proxy.close()
        for replica in self.replicas:
            if replica._process is not None:
                replica.send(signal.SIGCONT)
                replica.end(signal.SIGKILL)
