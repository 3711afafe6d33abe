"""Changes while callers ask: what they do meanwhile, and replicas that are restarted with other settings."""

from __future__ import annotations

import itertools
import json
import signal
import threading
from collections import Counter
from pathlib import Path
from typing import Any, Final, Self

import httpx2
from replicas import HOST, Fleet

ORDER: Final = json.loads(
    (Path(__file__).parents[2] / "openapi" / "examples" / "quote-request.json").read_text(encoding="utf-8")
)
CALLERS: Final = 4
PAUSE_S: Final = 0.07  # of each caller between orders: callers that never rest take all that the replicas need to start


class Checkout:
    """Callers that have orders sealed, and seals checked, both new and old ones, until they are told to stop."""

    def __init__(self, port: int, callers: int = CALLERS) -> None:
        self.statuses: Counter[str] = Counter()
        self.seals: list[str] = []
        self._url = f"http://{HOST}:{port}/v1"
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._ask, args=(number,)) for number in range(callers)]

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
            for turn in itertools.count():
                if self._stop.wait(PAUSE_S):
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
