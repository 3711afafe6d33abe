"""The template: a process that has all in memory that computations need, and forks a process for them when asked.

It is forked from the service before any thread exists: a thread of the original, and a lock that it held, would not be
there in a copy. What it has in memory is shared with its copies until they change it.
"""

from __future__ import annotations

import contextlib
import errno
import gc
import os
import select
import signal
import socket
import struct
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from enum import IntEnum
from mmap import mmap
from typing import Final, NamedTuple, NoReturn

MOST_PROCESSES: Final = 256
_NUMBER_BYTES: Final = 8
_ASKED: Final = struct.Struct("!i")
"""The place of a new process in the shared numbers."""
_TOLD: Final = struct.Struct("!iii")
"""What happened, a process id, and a place or an exit status."""


class _Happening(IntEnum):
    """What the template tells of."""

    FORKED = 0
    ENDED = 1
    PREPARED = 2
    FAILED = 3


_ENDS_WITHIN_S: Final = 5
_NICER: Final = 5
"""How much less urgent computing is to the system than serving HTTP, which needs little time but soon."""


DoWork = Callable[[socket.socket, memoryview], None]


class Forked(NamedTuple):
    """A new process: its id, its place, and the connection to it."""

    pid: int
    place: int
    connection: socket.socket


class Ended(NamedTuple):
    """A process has ended, with an exit code, or minus the number of the signal that ended it."""

    pid: int
    exit_code: int


class Prepared(NamedTuple):
    """From now on new processes have in memory what takes a while to compute."""


class ForkFailed(NamedTuple):
    """The system made no process: its error number, such as of a limit of processes."""

    error: int


Event = Forked | Ended | Prepared | ForkFailed


class Template:
    """The template as the service sees it."""

    def __init__(
        self, work: DoWork, prepare: Callable[[], Iterator[None]], without: Sequence[socket.socket] = ()
    ) -> None:
        """Fork the template.

        Args:
            work: What its processes do with a connection, and with the number of what was given up.
            prepare: Computes, step by step, what later questions need.
            without: Sockets of the service that its processes close.
        """
        shared = mmap(-1, MOST_PROCESSES * _NUMBER_BYTES)
        self._given_up = memoryview(shared).cast("Q")
        self.control, other = socket.socketpair()
        gc.freeze()  # so that looking for garbage changes, and thereby copies, nothing of what is shared
        self.pid = os.fork()
        if self.pid == 0:
            for each in (self.control, *without):
                each.close()
            _end_with(lambda: _serve(other, work, prepare(), self._given_up))
        other.close()
        self.control.setblocking(False)

    def ask(self, place: int) -> None:
        """Ask for a process; it comes as an event."""
        self.control.send(_ASKED.pack(place))

    def events(self) -> Iterator[Event]:
        """Yield what has happened since.

        Raises:
            EOFError: The template has ended.
        """
        while True:
            try:
                content, descriptors, _, _ = socket.recv_fds(self.control, _TOLD.size, 1)
            except BlockingIOError:
                return
            except ConnectionResetError:
                content = b""
            if not content:
                raise EOFError
            event, pid, more = _TOLD.unpack(content)
            match event:
                case _Happening.FORKED:
                    yield Forked(pid, more, socket.socket(fileno=descriptors[0]))
                case _Happening.ENDED:
                    yield Ended(pid, more)
                case _Happening.PREPARED:
                    yield Prepared()
                case _:
                    yield ForkFailed(more)

    def give_up(self, place: int, number: int) -> None:
        """Tell the process at a place that nobody waits any longer for the question of this number."""
        self._given_up[place] = number

    def close(self) -> None:
        """End the template, and with it every process that it has forked; wait for it, but not for ever."""
        self.control.close()
        with contextlib.suppress(ChildProcessError):
            for _ in range(_ENDS_WITHIN_S * 100):
                if os.waitpid(self.pid, os.WNOHANG)[0]:
                    return
                time.sleep(0.01)
            os.kill(self.pid, signal.SIGKILL)
            os.waitpid(self.pid, 0)


def _serve(control: socket.socket, work: DoWork, steps: Iterator[None], given_up: memoryview) -> None:
    """Fork when asked, and compute the steps in between, until the service closes its end."""
    for number in (signal.SIGINT, signal.SIGTERM):  # sent to all of a group; the service says when to end
        signal.signal(number, signal.SIG_IGN)
    with contextlib.suppress(PermissionError):  # a sandbox may forbid it; then both are as urgent
        os.nice(_NICER)
    children: set[int] = set()

    def reap(*_: object) -> None:
        with contextlib.suppress(ChildProcessError, OSError):
            while (ended := os.waitpid(-1, os.WNOHANG))[0]:
                children.discard(ended[0])
                control.sendall(_TOLD.pack(_Happening.ENDED, ended[0], os.waitstatus_to_exitcode(ended[1])))

    signal.signal(signal.SIGCHLD, reap)
    with contextlib.suppress(ConnectionError):  # the service has closed its end in the midst of something
        _fork_until_closed(control, work, steps, given_up, children)
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    for pid in children:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


def _fork_until_closed(
    control: socket.socket, work: DoWork, steps: Iterator[None], given_up: memoryview, children: set[int]
) -> None:
    preparing = True
    while True:
        if preparing and not select.select([control], [], [], 0)[0]:
            try:
                next(steps)
            except StopIteration:
                preparing = False
                gc.collect()
                gc.freeze()
                control.sendall(_TOLD.pack(_Happening.PREPARED, 0, 0))
            continue
        asked = control.recv(_ASKED.size)
        if not asked:
            return
        (place,) = _ASKED.unpack(asked)
        _fork(control, work, place, given_up, children)


def _fork(control: socket.socket, work: DoWork, place: int, given_up: memoryview, children: set[int]) -> None:
    """Fork a process and hand the connection to it over."""
    ours, theirs = socket.socketpair()
    with ours, theirs, _without_reaping():
        try:
            pid = os.fork()
        except OSError as error:
            control.sendall(_TOLD.pack(_Happening.FAILED, 0, error.errno or errno.EAGAIN))
            return
        if pid == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            control.close()
            ours.close()
            _end_with(lambda: work(theirs, given_up[place : place + 1]))
        children.add(pid)
        socket.send_fds(control, [_TOLD.pack(_Happening.FORKED, pid, place)], [ours.fileno()])


@contextlib.contextmanager
def _without_reaping() -> Iterator[None]:
    """Hold back the news of processes that end: of one that ends at once, after it was told that it is there."""
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGCHLD})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGCHLD})


def _end_with(job: Callable[[], None]) -> NoReturn:
    """Do a job and end the process, without what the original would do at its end."""
    exit_code = 0
    try:
        job()
    except BaseException:  # noqa: BLE001 - the process ends
        traceback.print_exc()
        exit_code = 1
    os._exit(exit_code)
