"""Serving: settings from the environment, the book, a process on one address, and others that compute.

It logs JSON lines on stderr.
"""

from __future__ import annotations

import contextlib
import gc
import ipaddress
import signal
import socket
import sys
import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from itertools import chain
from types import FrameType
from typing import Final

import structlog
import uvicorn

from featherline.plugins import PluginError
from featherline_service import settings as environment
from featherline_service.app import compute_by, create_app
from featherline_service.book.faults import BookError
from featherline_service.book.shop_book import Book
from featherline_service.book.timetable import Timetable
from featherline_service.computing import computing_process, machine
from featherline_service.computing.pool import Pool
from featherline_service.computing.template import Template
from featherline_service.questions.customers import first_orders
from featherline_service.questions.order import placements
from featherline_service.questions.recipe.evidence import known
from featherline_service.runtime import cache
from featherline_service.runtime.logs import configure
from featherline_service.shop_books import load_shop
from featherline_service.signatures import SealKeyError
from featherline_service.web.routes import seals
from featherline_service.web.routes.seals import Seals
from featherline_service.web.server.caller_keys import KeyFileError, Keys
from featherline_service.web.server.envelope import Envelope
from featherline_service.web.server.protocol import Protocol
from featherline_service.web.telemetry import otlp
from featherline_service.web.telemetry.otlp import TracingError
from featherline_service.web.telemetry.trace_context import start_span

BROKEN_START: Final = 2
BUSY_PORT: Final = 3
NO_TEMPLATE: Final = 4
_BACKLOG: Final = 2048
GRACE_S: Final = 30  # longer than any answer takes; then open connections are cut
_KEEP_ALIVE_S: Final = 75  # longer than proxies keep an idle connection, so that it is they who close it

_log: Final = structlog.stdlib.get_logger()


class _Server(uvicorn.Server):
    """A server that logs when it is ready, and how long that took; told to stop, it drains first.

    Whoever sends it requests (a proxy, a cluster's endpoints) needs a while to notice. For `drain_s` it answers as
    before, but reports that it is not ready; only then does it stop to listen. A second signal ends the drain.
    """

    def __init__(  # noqa: PLR0917 - facts for its first log line
        self,
        config: uvicorn.Config,
        app: Envelope,
        drain_s: float,
        timetable: Timetable,
        sealing: Seals,
        keys: Keys | None,
        pool: Pool,
        started: float,
    ) -> None:
        super().__init__(config)
        self.failed = False
        self._pool = pool
        self._temporary_key = sealing.keys.keys[0].kid if sealing.keys.temporary else None
        self._keys = keys
        self._app = app
        self._drain_s = drain_s
        self._stops_at: float | None = None
        self._timetable = timetable
        self._in_force: Book | None = None
        self._started = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start to serve, and log it."""
        await self._pool.start(self._end)
        await super().startup(sockets)
        for listener in sockets or ():
            host, port = listener.getsockname()[:2]
            took = round(time.perf_counter() - self._started, 3)
            keys = None if self._keys is None else len(self._keys.callers())
            book = self._tell_change()
            _log.info("service.ready", host=host, port=port, book=book.revision, keys=keys, start_s=took)
        if self._temporary_key is not None:
            _log.warning(
                "seals.temporary-key",
                key=self._temporary_key,
                advice="Seals end with this run, and no other replica knows them: set FEATHERLINE_SEAL_KEYS to a file "
                "made with --add-seal-key.",
            )

    def _tell_change(self) -> Book:
        """Return the book that is in force, and log it when it has followed another."""
        book = self._timetable.at(datetime.now(UTC))
        if self._in_force not in (None, book):
            _log.info("book.changed", book=book.revision, until=None if book.until is None else book.until.isoformat())
        self._in_force = book
        return book

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Stop on a signal: after the drain, or at once."""
        if sig == signal.SIGTERM and self._drain_s and self._stops_at is None:
            self._app.stop()
            self._stops_at = time.monotonic() + self._drain_s
        else:
            super().handle_exit(sig, frame)

    def _end(self) -> None:
        """Stop at once: there are no processes to compute in any longer."""
        self.failed = self.should_exit = self.force_exit = True

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop to serve, and then to compute."""
        await super().shutdown(sockets)
        await self._pool.close()

    async def on_tick(self, counter: int) -> bool:
        """Return whether it is time to stop; asked ten times a second. Tells of a change of the book."""
        self._tell_change()
        if self._stops_at is not None and time.monotonic() >= self._stops_at:
            self.should_exit = True
        return await super().on_tick(counter)


def serve(environ: Mapping[str, str], started: float) -> int:
    """Serve until told to stop.

    Args:
        environ: The environment, which has the settings.
        started: When the command was started, by `time.perf_counter` [s].

    Returns:
        The exit code: 0 stopped, 2 settings or book unusable, 3 address unusable, 4 no processes can be made.
    """
    try:
        settings = environment.read(environ)
        cache.set_limit(settings.cache - settings.cache // 4)  # the rest is for answers
        timetable = load_shop(settings, machine.processors())
        keys = None if settings.keys is None else Keys(settings.keys)
        sealing = seals.from_settings(settings)
        begin_exporting = otlp.from_environment(environ)
        listening = _listen(settings.host, settings.port, only_here=keys is None)
    except (environment.SettingsError, PluginError, BookError, KeyFileError, SealKeyError, TracingError) as error:
        sys.stderr.write(f"featherline-service cannot start: {error}\n")
        return BROKEN_START
    except _AddressError as error:
        sys.stderr.write(f"featherline-service {error}\n")
        return BUSY_PORT
    # Before any thread exists: a copy of a process has no other threads, but the locks that they held.
    memory = machine.memory()
    processes = settings.processes or machine.default_processes(machine.processors(), memory)
    budget = machine.memory_budget(processes, memory)
    work = partial(_compute, timetable.books, settings, budget)
    prepare = partial(
        chain,
        known.prepare(*timetable.books),
        placements.prepare(*timetable.books),
        first_orders.prepare(timetable.books[0]),
    )
    with listening, contextlib.closing(Template(work, prepare, without=(listening,))) as template:
        configure(settings.log_level)
        exporting = begin_exporting() if begin_exporting else None
        pool = Pool(template, processes, budget)
        spans = exporting.start_span if exporting else start_span
        app = create_app(settings, timetable, sealing, keys=keys, pool=pool, start_span=spans)
        # What is there now stays: to look through all of it for garbage takes 40 ms and more, in the midst of some
        # request.
        gc.freeze()
        # The server stops on a signal and passes it on when it has finished: then this process ends, too.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        following = contextlib.nullcontext() if keys is None else keys.followed()
        server = _Server(_configuration(app), app, settings.drain, timetable, sealing, keys, pool, started)
        with following, contextlib.suppress(KeyboardInterrupt):
            server.run(sockets=[listening])
        if exporting is not None:
            exporting.close()
        _log.info("service.stopped")
        return NO_TEMPLATE if server.failed else 0


def _configuration(app: Envelope) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        loop="uvloop" if sys.platform != "win32" else "asyncio",
        http=Protocol,
        ws="none",
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=GRACE_S,
        timeout_keep_alive=_KEEP_ALIVE_S,
    )


def _compute(
    books: Sequence[Book], settings: environment.Settings, budget: int, connection: socket.socket, given_up: memoryview
) -> None:
    """Do what a process that computes does."""
    computing_process.run(connection, compute_by(books), given_up, most_growth=budget, log_level=settings.log_level)


class _AddressError(Exception):
    """The address cannot be listened on."""


def _unusable(host: str, port: int, error: OSError) -> _AddressError:
    return _AddressError(
        f"cannot listen on {host} port {port}: {error.strerror}. Stop what uses it, or set FEATHERLINE_PORT to another "
        "port."
    )


def _listen(host: str, port: int, *, only_here: bool) -> socket.socket:
    """Return a socket that listens, so that a busy port is told before anything else happens.

    Raises:
        SettingsError: Others can reach the address, and must not.
        _AddressError: It cannot be listened on; the message says why and what to do.
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
    except OSError as error:
        raise _unusable(host, port, error) from error
    if only_here and not ipaddress.ip_address(address[0]).is_loopback:
        raise environment.SettingsError(
            f"FEATHERLINE_HOST is {host!r}, which others can reach, and there are no keys to ask them for. Set "
            "FEATHERLINE_KEYS to a file of keys (--new-key NAME prints an entry), or FEATHERLINE_HOST to 127.0.0.1"
        )
    listening = socket.socket(family, kind, protocol)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        listening.listen(_BACKLOG)
    except OSError as error:
        listening.close()
        raise _unusable(host, port, error) from error
    return listening
