"""Prices change behind the proxy, under load: on schedule, and by exchanging all replicas at once.

Each caller sees one change and none back, no request is lost, and carts keep the prices that they began with.
"""

from __future__ import annotations

import contextlib
import os
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, NamedTuple

import pytest
from carts import LEAST_ANSWERS, Caller, Prices, answered, ask_while, changes, right_answers, write_prices
from free_ports import free_port
from replicas import DEADLINE_S, Fleet, Proxy, Replica

SWITCH: Final = Path(__file__).parents[2] / "deploy" / "switch"
BEFORE_S: Final = 2.0
AFTER_S: Final = 2.0
START: Final = """
import os, pathlib, subprocess, sys
folder, deadline_s, book, number, port = sys.argv[1:]
settings = {
    "FEATHERLINE_BOOK": book, "FEATHERLINE_PORT": port, "FEATHERLINE_DRAIN": "1.2", "FEATHERLINE_DEADLINE": deadline_s
}
with (pathlib.Path(folder) / f"{number}.log").open("wb") as log:
    process = subprocess.Popen(
        [sys.executable, "-I", "-m", "featherline_service"], env={**os.environ, **settings}, stdout=log, stderr=log
    )
(pathlib.Path(folder) / f"{number}.pid").write_text(str(process.pid))
"""
STOP: Final = """
import os, pathlib, signal, sys
folder, number = sys.argv[1:]
os.kill(int((pathlib.Path(folder) / f"{number}.pid").read_text()), signal.SIGTERM)
"""


class Shop(NamedTuple):
    """Three replicas behind a proxy with two sides, whose prices change at an instant."""

    fleet: Fleet
    folder: Path
    prices: Prices
    change: datetime
    admin: Path


@pytest.fixture(scope="module")
def shop(haproxy: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """Start the replicas with a book whose prices change soon after they are ready."""
    folder = tmp_path_factory.mktemp("shop")
    replicas = tuple(Replica(name, folder / f"{name}.log") for name in ("one", "two", "three"))
    ports = [*(replica.port for replica in replicas), *(free_port() for _ in range(3))]
    # Answers do not depend on when prices change, so they are computed before that is known.
    prices = right_answers(write_prices(folder / "scheduled", "11.90", datetime.now(UTC)))
    starting_s = 8
    with contextlib.ExitStack() as stack:
        while True:
            begun = time.monotonic()
            change = datetime.now(UTC).replace(microsecond=0) + timedelta(seconds=starting_s)
            book = write_prices(folder / "scheduled", "11.90", change)
            proxy = Proxy(haproxy, ports, folder / "proxy.log", folder / "admin.sock")
            fleet = stack.enter_context(Fleet(replicas, proxy, book=book))
            if datetime.now(UTC) < change - timedelta(seconds=BEFORE_S):
                break
            stack.close()
            starting_s = int(2 * (time.monotonic() - begun))  # a book's instants are whole seconds
        for number, replica in enumerate(replicas, 1):
            (folder / f"{number}.pid").write_text(str(replica.process.pid))
        yield Shop(fleet, folder, prices, change, folder / "admin.sock")
        for number in (4, 5, 6):
            with contextlib.suppress(OSError):
                os.kill(int((folder / f"{number}.pid").read_text()), signal.SIGKILL)


def all_is_well(callers: list[Caller], before: str, after: str) -> None:
    """Check that every caller saw one change, that its cart saw none, and that nothing was lost or wrong."""
    assert [] == [text for caller in callers for text in (*caller.lost, *caller.wrong)]
    assert [[before, after]] * len(callers) == [changes(caller) for caller in callers]
    assert {before} == {seen.revision for caller in callers for seen in caller.pinned}
    assert sum(map(answered, callers)) >= LEAST_ANSWERS


@pytest.mark.slow
def test_prices_change_once_for_all(shop: Shop) -> None:
    """Every answer to a request from the instant on is by the new revision, every one until then by the old."""
    old, new = shop.prices.revisions
    instant = shop.change.timestamp()
    callers = ask_while(shop.fleet.proxy.port, shop.prices, lambda: time.sleep(instant + AFTER_S - time.time()))

    all_is_well(callers, old, new)
    seen = [seen for caller in callers for seen in caller.seen]
    assert [] == [each for each in seen if each.answered < instant and each.revision != old]
    assert [] == [each for each in seen if each.asked >= instant and each.revision != new]
    assert all(any(each.asked >= instant for each in caller.pinned) for caller in callers)
    assert all(shop.fleet.proxy.answered(replica.name) for replica in shop.fleet.replicas)


def switch(shop: Shop, book: str, *options: str, admin: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Exchange the replicas for others with a book."""
    texts = []
    for name, script, others in (
        ("start", START, [str(DEADLINE_S), book, "{number}", "{port}"]),
        ("stop", STOP, ["{number}"]),
    ):
        (shop.folder / f"{name}.py").write_text(script)
        texts.append(shlex.join([sys.executable, str(shop.folder / f"{name}.py"), str(shop.folder), *others]))
    return subprocess.run(
        [str(SWITCH), "--admin", str(admin or shop.admin), "--start", texts[0], "--stop", texts[1], *options],
        env={**os.environ, "PYTHON": sys.executable},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.slow
def test_replicas_that_do_not_start_change_nothing(shop: Shop) -> None:
    """The command says which are not ready, stops what it started, and the old replicas answer on."""
    ended = switch(shop, str(shop.folder / "nowhere"), "--within", "2")
    assert 1 == ended.returncode
    assert ended.stderr.startswith("Nothing was changed. Not ready within 2 s: 127.0.0.1:")
    assert ["UP"] * 3 == [shop.fleet.proxy.state(replica.name) for replica in shop.fleet.replicas]

    ended = switch(shop, "", admin=shop.folder / "no.sock")
    assert (
        1,
        f"Nothing was changed. {shop.folder}/no.sock: No such file or directory. Give the path that HAProxy has ",
    ) == (
        ended.returncode,
        ended.stderr.partition("as ADMIN")[0],
    )


@pytest.mark.slow
def test_all_replicas_are_exchanged_at_once(shop: Shop) -> None:
    """New replicas with other prices take over in one step; the old ones finish what is under way, and stop.

    The new book keeps the revision before it, so carts keep their prices.
    """
    time.sleep(max(shop.change.timestamp() + 1.1 - time.time(), 0.0))
    now = datetime.now(UTC).replace(microsecond=0)
    book = [
        write_prices(shop.folder / "scheduled", "11.90", shop.change),
        write_prices(shop.folder / "later", "13.90", now),
    ]
    prices = right_answers(*book)
    _, before, after = prices.revisions
    ended: list[subprocess.CompletedProcess[str]] = []
    told = os.pathsep.join(map(str, book))
    callers = ask_while(
        shop.fleet.proxy.port, prices, lambda: ended.append(switch(shop, told, "--book", after, "--drain", "5"))
    )

    (command,) = ended
    assert (0, "") == (command.returncode, command.stderr)
    assert f"All requests go to the side b now, by the book {after}." in command.stdout
    all_is_well(callers, before, after)
    assert [0, 0, 0] == [replica.process.wait(30) for replica in shop.fleet.replicas]
