"""A seal key's whole life behind the proxy: while keys change, no genuine seal is refused."""

from __future__ import annotations

import json
import signal
import threading
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final, Self

import httpx2
import pytest
from replicas import HOST, Fleet

from featherline_service.seal_key_commands import add, retire, use
from featherline_service.signatures import read_keys

ORDER: Final = json.loads(
    (Path(__file__).parents[2] / "openapi" / "examples" / "quote-request.json").read_text(encoding="utf-8")
)
MONTH: Final = timedelta(days=30)
CALLERS: Final = 4


class Checkout:
    """Callers that have orders sealed, and seals checked, both new and old ones, until they are told to stop."""

    def __init__(self, port: int) -> None:
        self.statuses: Counter[str] = Counter()
        self.seals: list[str] = []
        self._url = f"http://{HOST}:{port}/v1"
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._ask, args=(number,)) for number in range(CALLERS)]

    def __enter__(self) -> Self:
        """Start to ask."""
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self._stop.set()
        for thread in self._threads:
            thread.join(60)

    def _ask(self, number: int) -> None:
        with httpx2.Client(timeout=30) as client:
            for turn in range(1_000_000):
                if self._stop.is_set():
                    return
                order = ORDER | {"reference": f"K-{number}-{turn}"}
                self.seals.append(self._post(client, "quotes", order)["seal"]["text"])
                for seal in (self.seals[-1], self.seals[(turn * 7919) % len(self.seals)]):
                    self.statuses[self._post(client, "seals/check", {"seal": seal}).get("status", "lost")] += 1

    def _post(self, client: httpx2.Client, path: str, body: object) -> dict[str, Any]:
        answer: dict[str, Any] = client.post(f"{self._url}/{path}", json=body).raise_for_status().json()
        return answer


def roll(fleet: Fleet, path: Path) -> None:
    """Restart all replicas one after another, with a file of seal keys."""
    for replica in fleet.replicas:
        assert 0 == replica.end(signal.SIGTERM)
        replica.start(seal_keys=path)
        fleet.await_state(replica, "UP")


@pytest.fixture
def keyed(fleet: Fleet, tmp_path: Path) -> Iterator[Path]:
    """Give all replicas a file with one seal key, and take it away at the end."""
    path = tmp_path / "seal-keys.json"
    add(path, datetime.now(UTC))
    fleet.restart(seal_keys=path)
    yield path
    fleet.restart()


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
    with Checkout(fleet.proxy.port) as after:
        retire(keyed, None, now + 2 * MONTH, MONTH)
        roll(fleet, keyed)

    assert ["valid"] == list(before.statuses)
    assert ["valid"] == list(after.statuses)
    assert before.statuses.total() > 918  # as many as were checked when a new key sealed at once: 215 were refused
    assert 1 == len(read_keys(keyed).keys)
