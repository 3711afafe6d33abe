"""Whatever happens to one replica of three, every request under load gets its right answer.

The number of requests is a variable, FAULT_REQUESTS: 3,000 if unset, spread thinly over what goes wrong. From 20,000 on
the connections are many and never rest, and each fault is repeated for as long as its share of the requests takes.
"""

from __future__ import annotations

import os
import signal
import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import pytest
from load import Question, Tally, under_load
from replicas import Fleet, Replica

pytestmark = pytest.mark.slow

REQUESTS: Final = int(os.environ.get("FAULT_REQUESTS", "3000"))
FAULTS: Final = 5
THOROUGH: Final = REQUESTS >= 20_000

Load = Callable[[Callable[[], None]], Tally]


@pytest.fixture
def load(
    fleet: Fleet, asked: Sequence[Question], record_property: Callable[[str, object], None]
) -> Callable[[Callable[[], None]], Tally]:
    """Return a function that asks through HAProxy while something goes wrong."""

    def run(fault: Callable[[], None]) -> Tally:
        tally = under_load(
            fleet.proxy.port,
            asked,
            fault,
            count=REQUESTS // FAULTS,
            connections=24 if THOROUGH else 8,
            pause_s=0.0 if THOROUGH else 0.05,
        )
        record_property("asked", tally.asked)
        record_property("slowest_s", round(tally.slowest_s(), 3))
        return tally

    return run


def none_lost_none_wrong(tally: Tally) -> bool:
    """Check that nothing was lost or wrong; show the first few otherwise."""
    assert ([], []) == (tally.lost[:5], tally.wrong[:5]), f"{len(tally.lost)} lost, {len(tally.wrong)} wrong"
    return tally.asked >= REQUESTS // FAULTS


def test_a_full_disk_for_logs(fleet: Fleet, load: Load) -> None:
    """A replica that cannot write its log answers its share of the requests."""
    before = [fleet.proxy.answered(replica.name) for replica in fleet.replicas]
    tally = load(lambda: time.sleep(1.0))
    shares = [fleet.proxy.answered(replica.name) - start for replica, start in zip(fleet.replicas, before, strict=True)]

    assert none_lost_none_wrong(tally)
    assert min(shares) > tally.asked / 6


def test_a_rolling_restart(fleet: Fleet, load: Load) -> None:
    """All replicas are restarted one after another; each drains, finishes and exits with 0."""
    codes: list[int] = []

    def roll() -> None:
        for replica in fleet.replicas:
            codes.append(replica.end(signal.SIGTERM))
            replica.start()
            fleet.await_state(replica, "UP")

    assert none_lost_none_wrong(load(roll))
    assert {0: len(codes)} == Counter(codes)


def test_a_replica_that_is_killed(fleet: Fleet, load: Load) -> None:
    """One process is killed in the middle of its work."""
    (_, replica, _) = fleet.replicas

    def kill() -> None:
        assert -signal.SIGKILL == replica.end(signal.SIGKILL)
        fleet.await_state(replica, "DOWN")
        replica.start()
        fleet.await_state(replica, "UP")

    assert none_lost_none_wrong(load(kill))


def test_a_replica_that_hangs(fleet: Fleet, load: Load) -> None:
    """One process stops with its connections open; another answers its requests in time."""
    (replica, *_) = fleet.replicas
    waited = len(fleet.proxy.requests())

    def hang() -> None:
        replica.send(signal.SIGSTOP)
        fleet.await_state(replica, "DOWN")
        time.sleep(7.3)  # longer than HAProxy waits for an answer
        replica.send(signal.SIGCONT)
        fleet.await_state(replica, "UP")

    tally = load(hang)
    retried = [request for request in fleet.proxy.requests()[waited:] if request["retries"] not in {"0", "+0"}]

    assert none_lost_none_wrong(tally)
    assert retried, "the fault touched no request"
    assert 7.0 < tally.slowest_s() < 10.0  # HAProxy's time for an answer; the SDK's for an attempt


def test_a_broken_book_at_restart(fleet: Fleet, load: Load, tmp_path: Path) -> None:
    """A replica with a broken book says what is wrong and stays down while the others answer; repaired, it returns."""
    (replica, *_) = fleet.replicas
    (tmp_path / "book.toml").write_text('mode = "overlay"\n')
    (tmp_path / "films").mkdir()
    (tmp_path / "films" / "gull.toml").write_text('[[record]]\nid = "gull"\nname = "Gull"\n')
    codes: list[int] = []

    def break_book() -> None:
        replica.end(signal.SIGTERM)
        replica.start(book=tmp_path)
        codes.append(replica.process.wait(timeout=60))
        assert "DOWN" == fleet.proxy.state(replica.name)
        replica.start()
        fleet.await_state(replica, "UP")

    assert none_lost_none_wrong(load(break_book))
    assert {2: len(codes)} == Counter(codes)
    told = [line for line in replica.said().splitlines() if not line.startswith("{")]
    assert told[0].startswith("featherline-service cannot start: ")
    assert any("gull.toml" in line for line in told)
    assert "Traceback" not in replica.said()


def test_what_is_lost_is_counted(asked: Sequence[Question], tmp_path: Path) -> None:
    """Without a proxy a killed replica loses requests, and they are counted."""
    replica = Replica("alone", tmp_path / "alone.log")
    replica.start()
    replica.await_ready()

    def end() -> None:
        replica.end(signal.SIGKILL)
        time.sleep(0.2)

    tally = under_load(replica.port, asked, end, count=1)

    assert tally.answered_s
    assert tally.lost
    assert [] == [lost for lost in tally.lost if "Error" not in lost]


def test_what_is_wrong_is_counted(fleet: Fleet, asked: Sequence[Question]) -> None:
    """Against a reference that differs in one byte every answer counts as wrong, and none as lost."""
    (quote, *_) = asked
    changed = quote._replace(body=quote.body.replace(b"0", b"1", 1))

    tally = under_load(fleet.proxy.port, [changed], lambda: None, count=30)

    assert (0, tally.asked) == (len(tally.lost), len(tally.wrong))
    assert tally.asked >= 30
