"""A scheduled change of prices behind the proxy, under load: at one moment, seen once, and by no cart."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from carts import Prices, ask_while, changes, raise_prices
from replicas import Fleet

BEFORE_S, AFTER_S = 2.0, 2.5
LEAST_ANSWERS = 200


@pytest.fixture
def scheduled(fleet: Fleet, tmp_path: Path) -> Iterator[tuple[Prices, datetime]]:
    """Give all replicas a book whose prices change in a while, and take it away at the end."""
    for starting_s in (8.0, 30.0, 120.0):
        change = datetime.now(UTC).replace(microsecond=0) + timedelta(seconds=starting_s + BEFORE_S)
        prices = raise_prices(tmp_path, change)
        fleet.restart(book=tmp_path)
        if datetime.now(UTC) < change - timedelta(seconds=BEFORE_S):
            break
    yield prices, change
    fleet.restart()


@pytest.mark.slow
def test_prices_change_once_for_all(fleet: Fleet, scheduled: tuple[Prices, datetime]) -> None:
    """Every answer to a request after the instant is by the new revision, every one before by the old; none is lost.

    Carts that name the revision of their first answer keep its prices, also after the change.
    """
    prices, change = scheduled
    callers = ask_while(
        fleet.proxy.port, prices, lambda: time.sleep(max(change.timestamp() + AFTER_S - time.time(), AFTER_S))
    )

    assert [] == [text for caller in callers for text in (*caller.lost, *caller.wrong)]
    assert [[prices.old, prices.new]] * len(callers) == [changes(caller) for caller in callers]
    instant = change.timestamp()
    early = [
        seen for caller in callers for seen in caller.seen if seen.answered < instant and seen.revision != prices.old
    ]
    late = [seen for caller in callers for seen in caller.seen if seen.asked >= instant and seen.revision != prices.new]
    assert ([], []) == (early, late)
    assert {prices.old} == {seen.revision for caller in callers for seen in caller.pinned}
    kept = [sum(seen.asked >= instant for seen in caller.pinned) for caller in callers]
    assert min(kept) > 0
    assert sum(len(caller.seen) + len(caller.pinned) for caller in callers) > LEAST_ANSWERS
    assert all(fleet.proxy.answered(replica.name) for replica in fleet.replicas)
