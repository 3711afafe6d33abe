"""A seal key's whole life behind the proxy: while keys change, no genuine seal is refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import pytest
from changes import Checkout, roll
from draws import drawn
from replicas import Fleet, wait_until

from featherline_service.seal_key_commands import add, retire, use
from featherline_service.signatures import read_keys

MONTH: Final = timedelta(days=30)
ENOUGH: Final = drawn(918)  # as many as were checked when a new key sealed at once: 215 were refused


@pytest.mark.slow
def test_a_seal_keys_whole_life(fleet: Fleet, keyed: Path) -> None:
    """A key is added, seals, and the one before it is retired, each with a rolling restart: every seal is valid.

    What is retired early here, by a later clock, are the seals of the first key; they are checked until then.
    """
    now = datetime.now(UTC)
    with Checkout(fleet.proxy.port) as before:
        add(keyed, now)
        roll(fleet, keyed)
        use(keyed, None, now, MONTH)
        roll(fleet, keyed)
        wait_until(lambda: before.statuses.total() > ENOUGH, "enough seals are checked")
    with Checkout(fleet.proxy.port) as after:
        retire(keyed, None, now + 2 * MONTH, MONTH)
        roll(fleet, keyed)

    assert ["valid"] == list(before.statuses)
    assert ["valid"] == list(after.statuses)
    assert before.statuses.total() > ENOUGH
    assert 1 == len(read_keys(keyed).keys)
