"""Services for tests, forked from a process that has imported the service already: a start takes a tenth of the time.

What is forked has read no settings, and has asked and computed nothing but what every start computes. A test of the
start itself, or of memory, starts the command instead. Run as a program, this module is the process that forks.
"""

from __future__ import annotations

import atexit
import contextlib
import functools
import gc
import json
import os
import select
import signal
import socket
import subprocess
import sys
from collections import deque
from collections.abc import Mapping
from types import TracebackType
from typing import Final, Self, TextIO

_LARGEST_REQUEST: Final = 1 << 17  # bytes of an environment


class Service:
    """A process of the service, with the methods of `subprocess.Popen` that tests need."""

    def __init__(self, environment: Mapping[str, str], *, stderr: int = subprocess.PIPE) -> None:
        """Start the service, and do not wait.

        Args:
            environment: All its variables.
            stderr: The file that it logs to, or `subprocess.PIPE` to read the log here as text.
        """
        self.returncode: int | None = None
        self.stderr: TextIO | None = None
        self._status, told = os.pipe()
        written = stderr
        if stderr == subprocess.PIPE:
            reading, written = os.pipe()
            self.stderr = os.fdopen(reading, encoding="utf-8")
        try:
            self.pid = _forked(environment, written, told)
        finally:
            os.close(told)
            if stderr == subprocess.PIPE:
                os.close(written)

    def __enter__(self) -> Self:
        """Do nothing more."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Close the log, and wait for the end."""
        if self.stderr is not None:
            self.stderr.close()
        self.wait()

    def __del__(self) -> None:
        """Close what tells of the end."""
        os.close(self._status)

    def poll(self) -> int | None:
        """Return the exit code, or minus the number of the signal that ended it; None while it runs."""
        if self.returncode is None and select.select([self._status], [], [], 0)[0]:
            self.returncode = int(os.read(self._status, 16))
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Return the exit code once the process has ended."""
        if self.returncode is None and not select.select([self._status], [], [], timeout)[0]:
            raise subprocess.TimeoutExpired("featherline-service", timeout or 0.0)
        code = self.poll()
        assert code is not None
        return code

    def communicate(self, timeout: float | None = None) -> tuple[None, str]:
        """Return the rest of the log, which ends with the process."""
        assert self.stderr is not None
        log = self.stderr.read()
        self.wait(timeout)
        return None, log

    def send_signal(self, sent: int) -> None:
        """Send a signal, unless the process has ended."""
        if self.poll() is None:
            os.kill(self.pid, sent)

    def terminate(self) -> None:
        """Send SIGTERM."""
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        """Send SIGKILL."""
        self.send_signal(signal.SIGKILL)


@functools.cache
def _server() -> socket.socket:
    """Return a connection to the process that forks, which ends with this one."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with theirs:
        number = theirs.fileno()
        process = subprocess.Popen(
            [sys.executable, "-I", __file__, str(number)],
            pass_fds=(number,),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )

    def end() -> None:
        ours.close()
        process.wait()

    atexit.register(end)
    return ours


def _forked(environment: Mapping[str, str], stderr: int, told: int) -> int:
    """Return the id of a new process of the service."""
    server = _server()
    socket.send_fds(server, [json.dumps(dict(environment)).encode()], [stderr, told])
    return int(server.recv(16))


def _serve(server: socket.socket) -> dict[str, str] | None:
    """Fork a service whenever asked to, and tell of the end of each, until nobody can ask any longer.

    Returns:
        In a new process the variables of its environment, in the one that forks None.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # sent to all of a group; who asks says when to end
    signal.signal(signal.SIGCHLD, lambda *_: None)
    waker, woken = os.pipe2(os.O_NONBLOCK)
    signal.set_wakeup_fd(woken, warn_on_full_buffer=False)
    running: dict[int, int] = {}
    while True:
        ready, _, _ = select.select([server.fileno(), waker], [], [])
        if waker in ready:
            os.read(waker, 4096)
            _tell_of_ends(running)
        if server.fileno() not in ready:
            continue
        request, descriptors, _, _ = socket.recv_fds(server, _LARGEST_REQUEST, 2)
        if not request:
            break
        stderr, told = descriptors
        pid = os.fork()
        if pid == 0:
            signal.set_wakeup_fd(-1)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            signal.signal(signal.SIGINT, signal.default_int_handler)
            os.dup2(stderr, 2)
            for each in (server.detach(), waker, woken, stderr, told, *running.values()):
                os.close(each)
            environment: dict[str, str] = json.loads(request)
            return environment
        running[pid] = told
        os.close(stderr)
        server.send(b"%d" % pid)
    for pid in running:
        os.kill(pid, signal.SIGKILL)
    return None


def _tell_of_ends(running: dict[int, int]) -> None:
    """Write the exit codes of processes that have ended to those who started them."""
    with contextlib.suppress(ChildProcessError):
        while (ended := os.waitpid(-1, os.WNOHANG))[0]:
            told = running.pop(ended[0])
            with contextlib.suppress(BrokenPipeError):  # nobody waits for it any longer
                os.write(told, b"%d" % os.waitstatus_to_exitcode(ended[1]))
            os.close(told)


def _main(server: socket.socket) -> int:
    """Import the service, and do what does not depend on settings, once; then fork services, or be one of them."""
    from featherline_service.__main__ import main  # noqa: PLC0415 - not where tests only ask for a service
    from featherline_service.app import create_app  # noqa: PLC0415
    from featherline_service.book.loader import load  # noqa: PLC0415
    from featherline_service.questions.customers import first_orders  # noqa: PLC0415
    from featherline_service.questions.order import placements  # noqa: PLC0415
    from featherline_service.questions.shoes import book_drawings  # noqa: PLC0415
    from featherline_service.runtime import cache  # noqa: PLC0415
    from featherline_service.serving import serve  # noqa: PLC0415, F401 - what `main` would import
    from featherline_service.settings import Settings  # noqa: PLC0415

    first_orders.MOST = 0  # they take a second, and a service of a test answers few questions
    book, settings = load(), Settings()
    book_drawings.check(book)
    create_app(settings, book)
    cache.set_limit(settings.cache - settings.cache // 4)  # as `serve` does, which forgets what another limit held
    deque(placements.prepare(book), maxlen=0)
    del book
    gc.collect()
    gc.freeze()
    environment = _serve(server)
    if environment is None:
        return 0
    os.environ.clear()
    os.environ.update(environment)
    sys.path[:0] = [folder for folder in environment.get("PYTHONPATH", "").split(os.pathsep) if folder]
    return main([])


if __name__ == "__main__":
    sys.exit(_main(socket.socket(fileno=int(sys.argv[1]))))
