"""Install featherline in .venv, start the service on this machine with the demo book, and price a first shoe.

The running service holds a lock on .run/service.lock, handed down at its start: while the lock is held, the process
noted in that file is ours and alive, whatever became of the process that started it.
"""

from __future__ import annotations

import contextlib
import fcntl
import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

from environments import (
    DEPLOY,
    DISTRIBUTIONS,
    ROOT,
    DeployError,
    Environment,
    digest,
    finish,
    install,
    once,
    prepare,
    shown,
    sources,
    step,
)

HOST = "127.0.0.1"
DEFAULT_PORT = 8037
RUN = ROOT / ".run"
LOG = RUN / "service.log"
ORDER = ROOT / "openapi" / "examples" / "quote-request.json"
_ANSWERED = (0, 5, 6)  # the command's exit codes for ready, trial and decline
_CLIENTS_OWN = {"FEATHERLINE_URL", "FEATHERLINE_API_KEY"}  # read by the SDK; no settings of the service
_READY_WITHIN_S = 30.0
_STOPPED_WITHIN_S = 10.0
_LOG_LINES_SHOWN = 15
_USAGE = """Usage: deploy/up         install, start the service and price a first shoe
       deploy/up stop    stop the service
FEATHERLINE_PORT chooses the port (8037 if unset), PYTHON the Python to install with."""


def main() -> int:
    """Do what the arguments ask."""
    match sys.argv[1:]:
        case []:
            return up()
        case ["stop"]:
            return stop()
        case ["-h" | "--help"]:
            print(_USAGE)
            return 0
        case _:
            raise DeployError(_USAGE)


def up() -> int:
    """Install, start, price, and leave the service running."""
    port = _port()
    RUN.mkdir(exist_ok=True)
    with _alone():
        environment = prepare(".venv", "requirements.txt")
        once(environment, "sources", digest(sources()), lambda: _install(environment))
        wanted = {"port": port, "code": _code(), "settings": _settings()}
        with (RUN / "service.lock").open("a+") as lock:
            if not _take(lock):
                running = _noted(lock)
                if {key: running.get(key) for key in wanted} == wanted:
                    print(f"The service is running already (process {running['pid']}).")
                    _wait_until_ready(port, int(running["pid"]), None)
                else:
                    if running.get("port") != port:
                        _refuse_busy(port)
                    with step("Stopping the service that runs with other code or settings"):
                        _end(lock)
                    _start(environment, lock, wanted)
            else:
                _start(environment, lock, wanted)
    return _first_price(environment, port)


def stop() -> int:
    """Stop the service that `up` started, if it runs."""
    RUN.mkdir(exist_ok=True)
    with (RUN / "service.lock").open("a+") as lock:
        if _take(lock):
            print("The service is not running.")
            return 0
        with step(f"Stopping the service (process {_noted(lock)['pid']})"):
            _end(lock)
    return 0


def _install(environment: Environment) -> None:
    with step("Installing featherline and featherline-service from this clone"):
        install(environment, "--no-build-isolation", "--reinstall", *(str(folder) for folder in DISTRIBUTIONS))


def _port() -> int:
    text = os.environ.get("FEATHERLINE_PORT", str(DEFAULT_PORT))
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 65535:  # noqa: PLR2004 - TCP ports, RFC 9293
        raise DeployError(f"FEATHERLINE_PORT is {text!r}. Give a port from 1 to 65535, such as {DEFAULT_PORT}.")
    return int(text)


def _code() -> str:
    return digest((DEPLOY / "requirements.txt", *sources()))


def _settings() -> dict[str, str]:
    chosen = {
        name: value
        for name, value in os.environ.items()
        if name.startswith("FEATHERLINE_") and name not in _CLIENTS_OWN
    }
    return {**chosen, "FEATHERLINE_HOST": HOST, "FEATHERLINE_PORT": str(_port())}


@contextmanager
def _alone() -> Iterator[None]:
    """Keep a second `up` out while one is at work."""
    with (RUN / "up.lock").open("a") as lock:
        if not _take(lock):
            raise DeployError("Another deploy/up is at work in this clone. Wait until it has finished.")
        yield


def _take(lock: TextIO) -> bool:
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _noted(lock: TextIO) -> dict[str, Any]:
    lock.seek(0)
    noted = json.loads(lock.read())
    if not isinstance(noted, dict):
        raise DeployError(f"{shown(RUN / 'service.lock')} is damaged. End the service by hand and remove the file.")
    return noted


def _start(environment: Environment, lock: TextIO, wanted: dict[str, Any]) -> None:
    port = wanted["port"]
    _refuse_busy(port)
    # Python keeps what it compiles, whatever the shell says, as pip compiled nothing.
    variables = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    with step(f"Starting the service on {HOST}:{port}"):
        with LOG.open("w") as log:
            process = subprocess.Popen(
                [environment.python, "-I", "-m", "featherline_service"],
                cwd=ROOT,
                env={**variables, **wanted["settings"]},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
                pass_fds=(lock.fileno(),),
            )
        lock.truncate(0)
        lock.write(json.dumps({"pid": process.pid, **wanted}))
        lock.flush()
        _wait_until_ready(port, process.pid, process)


def _refuse_busy(port: int) -> None:
    if not _is_busy(port):
        return
    free = next((candidate for candidate in range(port + 1, 65536) if not _is_busy(candidate)), None)
    hint = f" Choose another:\n  FEATHERLINE_PORT={free} {shown(DEPLOY / 'up')}" if free else ""
    raise DeployError(f"Port {port} on {HOST} is taken by another program.{hint}")


def _is_busy(port: int) -> bool:
    with socket.socket() as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, port))
        except PermissionError as error:
            raise DeployError(f"Port {port} may not be used here ({error.strerror}). Choose one above 1023.") from error
        except OSError:
            return True
    return False


def _wait_until_ready(port: int, pid: int, process: subprocess.Popen[bytes] | None) -> None:
    deadline = time.monotonic() + _READY_WITHIN_S
    while time.monotonic() < deadline:
        if process is not None and process.poll() is not None:
            raise DeployError(f"The service ended as it started. Its log, {shown(LOG)}, ends with:\n{_log_tail()}")
        connection = http.client.HTTPConnection(HOST, port, timeout=2)
        with contextlib.suppress(OSError, http.client.HTTPException), contextlib.closing(connection):
            connection.request("GET", "/health/ready")
            if connection.getresponse().status == http.HTTPStatus.OK:
                return
        time.sleep(0.05)
    raise DeployError(
        f"The service (process {pid}) is not ready after {_READY_WITHIN_S:.0f} s. Its log, {shown(LOG)}, ends with:\n"
        f"{_log_tail()}\nStop it with {shown(DEPLOY / 'up')} stop, then try again."
    )


def _log_tail() -> str:
    return "\n".join(f"  {line}" for line in LOG.read_text(errors="replace").splitlines()[-_LOG_LINES_SHOWN:])


def _end(lock: TextIO) -> None:
    """End the running service: ask, wait, then insist. On return this process holds the lock."""
    pid = int(_noted(lock)["pid"])
    for demand in (signal.SIGTERM, signal.SIGKILL):
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, demand)
        deadline = time.monotonic() + _STOPPED_WITHIN_S
        while time.monotonic() < deadline:
            if _take(lock):
                return
            time.sleep(0.05)
    raise DeployError(f"Process {pid} does not end.")


def _first_price(environment: Environment, port: int) -> int:
    address = f"http://{HOST}:{port}"
    print(f"\nA first shoe, priced over HTTP by the Python SDK (the order is {shown(ORDER)}):\n", flush=True)
    ask = [environment.command("featherline"), "quote", "--file", str(ORDER), "--url", address]
    if subprocess.run(ask, check=False).returncode not in _ANSWERED:
        raise DeployError(f"The service runs at {address}, but could not price the order. Its log: {shown(LOG)}")
    print(f"""
The service is running.
  Counter        {address}/counter (open it in a browser)
  Address        {address}
  Documentation  {address}/docs (the description: {address}/openapi.json)
  Ask again      {shown(Path(ask[0]))} quote --file {shown(ORDER)}{_url_option(address)}
  Log            {shown(LOG)}
  Stop           {shown(DEPLOY / "up")} stop""")
    return 0


def _url_option(address: str) -> str:
    return "" if address.endswith(f":{DEFAULT_PORT}") else f" --url {address}"


if __name__ == "__main__":
    finish(main)
