"""Exchange all replicas behind HAProxy at once: for what cannot be scheduled in the book, such as another version.

HAProxy has two sides of three replicas (haproxy.cfg: REPLICA_1 to 6), of which one answers. The new replicas start on
the other side. When all of them are ready, by one and the same revision of the book, one word to HAProxy sends all
requests to them. Those under way on the old side are answered there; then its replicas are stopped. Until that word
nobody has noticed anything, and whatever fails before it changes nothing.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import http.client
import json
import shlex
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final, NamedTuple

UNCHANGED: Final = 1
UNFINISHED: Final = 3
_OTHER: Final = {"a": "b", "b": "a"}
_BACKENDS: Final = {"a": ("answers", "bulk"), "b": ("answers-b", "bulk-b")}
_SUM: Final = "BACKEND"  # the row of a backend as a whole
_FIRST_NUMBER: Final = {"a": 1, "b": 4}
_RAMP_S: Final = 2.0  # `slowstart` in haproxy.cfg: until then a new replica takes less than its share
_PAUSE_S: Final = 0.1
_ADMIN_S: Final = 5.0


class SwitchError(Exception):
    """The replicas cannot be exchanged; the message says why and what to do."""


class Place(NamedTuple):
    """A place for a replica: its number (of REPLICA_1 to 6), and where HAProxy expects it."""

    number: int
    host: str
    port: int


class Proxy:
    """HAProxy, told and asked over its admin socket."""

    def __init__(self, admin: Path) -> None:
        self._admin = admin

    def side(self) -> str:
        """Return the side that answers."""
        said = self._ask("get var proc.side")
        _, found, side = said.partition("value=<")
        if not found or side[:1] not in _OTHER:
            raise SwitchError(
                f"{self._admin}: HAProxy has no sides ({said.strip()}); set REPLICA_4 to 6 of haproxy.cfg"
            )
        return side[:1]

    def answer_by(self, side: str) -> None:
        """Send all requests from now on to a side."""
        self._ask(f"experimental-mode on; set var proc.side str({side})")
        if self.side() != side:
            raise SwitchError(f"{self._admin}: HAProxy did not switch; is its socket one of `level admin`?")

    def places(self, side: str) -> list[Place]:
        """Return the places of a side."""
        lines = self._ask(f"show servers state {_BACKENDS[side][0]}").splitlines()
        names = lines[1].removeprefix("# ").split()
        rows = [dict(zip(names, line.split(), strict=True)) for line in lines[2:] if line]
        return [
            Place(number, row["srv_fqdn"] if row["srv_fqdn"] != "-" else row["srv_addr"], int(row["srv_port"]))
            for number, row in enumerate(rows, _FIRST_NUMBER[side])
        ]

    def up(self, side: str) -> int:
        """Return how many replicas of a side HAProxy may send requests to."""
        rows = self._statistics(_BACKENDS[side][0])
        return sum(row["status"].startswith("UP") for row in rows if row["svname"] != _SUM)

    def under_way(self, side: str) -> int:
        """Return how many requests a side is answering, streams of bulk among them."""
        return sum(int(row["scur"]) for row in self._statistics(*_BACKENDS[side]) if row["svname"] == _SUM)

    def _statistics(self, *backends: str) -> list[dict[str, str]]:
        rows = csv.DictReader(self._ask("show stat").removeprefix("# ").splitlines())
        return [row for row in rows if row["pxname"] in backends]

    def _ask(self, command: str) -> str:
        try:
            with socket.socket(socket.AF_UNIX) as admin:
                admin.settimeout(_ADMIN_S)
                admin.connect(str(self._admin))
                admin.sendall(f"{command}\n".encode())
                return b"".join(iter(lambda: admin.recv(65_536), b"")).decode()
        except OSError as error:
            raise SwitchError(
                f"{self._admin}: {error.strerror or error}. Give the path that HAProxy has as ADMIN"
            ) from error


def main(arguments: Sequence[str] | None = None) -> int:
    """Exchange the replicas. Returns the exit code: 0 done, 1 nothing was changed, 3 switched but not finished."""
    options = _parser().parse_args(arguments)
    proxy = Proxy(options.admin)
    try:
        old, new = _sides(proxy)
        places = proxy.places(new)
    except SwitchError as error:
        return _end(UNCHANGED, f"Nothing was changed. {error}.")
    try:
        _run_each("started", options.start, places)
        revision = _await_ready(proxy, new, places, options)
        time.sleep(_RAMP_S)
        proxy.answer_by(new)
    except SwitchError as error:
        for place in places:
            with contextlib.suppress(SwitchError):
                _run_each("stopped again", options.stop, [place])
        return _end(UNCHANGED, f"Nothing was changed. {error}.")
    _say(f"All requests go to the side {new} now, by the book {revision}. For HAProxy's next start, set SIDE={new}.")
    try:
        if not _wait(lambda: proxy.under_way(old) == 0, options.drain):
            _say(f"{proxy.under_way(old)} requests are still under way on the side {old}; its replicas finish them.")
        _run_each("stopped", options.stop, proxy.places(old))
    except SwitchError as error:
        return _end(UNFINISHED, f"The new replicas answer. {error}; then stop what still runs on the side {old}.")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="deploy/switch", description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--admin", type=Path, required=True, metavar="SOCKET", help="HAProxy's admin socket")
    for name, does in (("start", "starts"), ("stop", "stops")):
        parser.add_argument(
            f"--{name}",
            required=True,
            metavar="COMMAND",
            help=f"what {does} a replica and returns; {{number}} (1 to 6), {{host}} and {{port}} are filled in",
        )
    parser.add_argument("--book", metavar="REVISION", help="the revision that the new replicas must have in force")
    parser.add_argument("--within", type=float, default=120.0, metavar="S", help="how long they may start (120)")
    parser.add_argument(
        "--drain", type=float, default=60.0, metavar="S", help="how long requests may be under way (60)"
    )
    return parser


def _sides(proxy: Proxy) -> tuple[str, str]:
    """Return the side that answers, and the other, on which no replica may run."""
    old = proxy.side()
    if proxy.up(_OTHER[old]):
        raise SwitchError(f"Replicas run on the side {_OTHER[old]} already, which does not answer. Stop them first")
    return old, _OTHER[old]


def _await_ready(proxy: Proxy, side: str, places: Sequence[Place], options: argparse.Namespace) -> str:
    """Wait until all new replicas are ready, for HAProxy too, and return the revision by which they all answer."""
    revisions: dict[Place, str | None] = {}

    def are_ready() -> bool:
        revisions.update({place: _revision(place) for place in places})
        return None not in revisions.values() and proxy.up(side) == len(places)

    if not _wait(are_ready, options.within):
        late = ", ".join(f"{place.host}:{place.port}" for place, revision in revisions.items() if revision is None)
        raise SwitchError(f"Not ready within {options.within:g} s: {late or 'HAProxy does not see them'}")
    wanted = {options.book} if options.book else set(revisions.values())
    if len(wanted) > 1 or set(revisions.values()) != wanted:
        said = ", ".join(f"{place.host}:{place.port} {revision}" for place, revision in revisions.items())
        raise SwitchError(f"The new replicas are to have one book{f', {options.book}' if options.book else ''}: {said}")
    return str(wanted.pop())


def _revision(place: Place) -> str | None:
    """Return the revision by which a replica answers; None while it is not ready."""
    with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
        connection = http.client.HTTPConnection(place.host, place.port, timeout=_ADMIN_S)
        with contextlib.closing(connection):
            connection.request("GET", "/health/ready")
            answer = connection.getresponse()
            if answer.status == http.client.OK:
                return str(json.loads(answer.read())["book"])
    return None


def _run_each(done: str, command: str, places: Sequence[Place]) -> None:
    for place in places:
        filled = [part.format(number=place.number, host=place.host, port=place.port) for part in shlex.split(command)]
        try:
            subprocess.run(filled, check=True)
        except (OSError, subprocess.CalledProcessError) as error:
            raise SwitchError(f"Replica {place.number} was not {done}: {error}") from error
        _say(f"Replica {place.number} at {place.host}:{place.port} is {done}.")


def _wait(is_done: Callable[[], bool], most_s: float) -> bool:
    """Wait until something is done, and return whether it was in time."""
    until = time.monotonic() + most_s
    while not is_done():
        if time.monotonic() > until:
            return False
        time.sleep(_PAUSE_S)
    return True


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _end(code: int, why: str) -> int:
    sys.stderr.write(f"{why}\n")
    return code


if __name__ == "__main__":
    sys.exit(main())
