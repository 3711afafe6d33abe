"""A caller's key's whole life behind the proxy: replicas read the file themselves, and others do not notice."""

from __future__ import annotations

import contextlib
import json
import re
import threading
import time
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, Self

import httpx2
import pytest
from changes import DEADLINE_S
from replicas import HOST, Fleet

from featherline_service.web.server.caller_keys import mint

FIT: Final = json.loads(
    (Path(__file__).parents[2] / "openapi" / "examples" / "fit-request.json").read_text(encoding="utf-8")
)
READ_WITHIN_S: Final = 1.5
"""A changed file is used within a second, says the guide; half a second more is for a busy machine."""
PAUSE_S: Final = 0.02


class KeyFile:
    """A file of keys, which is replaced at once whenever an entry changes."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.keys: dict[str, str] = {}
        self._entries: dict[str, str] = {}

    def add(self, name: str) -> None:
        """Add a key that may ask as often as it likes."""
        self.keys[name], entry = mint(name, datetime.now(UTC))
        self._entries[name] = entry
        self.change(name, requests_per_minute="1000000", burst="100000", work_s_per_minute="100000")

    def change(self, name: str, **fields: str) -> None:
        """Change fields of a key's entry."""
        for field, value in fields.items():
            self._entries[name] = re.sub(
                rf"^{field} = .*", f"{field} = {value}", self._entries[name], flags=re.MULTILINE
            )
        self._write()

    def remove(self, name: str) -> None:
        """Take a key out."""
        del self._entries[name]
        self._write()

    def _write(self) -> None:
        fresh = self.path.with_name("keys.new")
        fresh.write_text("".join(self._entries.values()))
        fresh.replace(self.path)


class Caller:
    """A caller that asks without end, and counts the statuses of its answers."""

    def __init__(self, port: int, key: str) -> None:
        self.statuses: Counter[int] = Counter()
        self._url = f"http://{HOST}:{port}/v1/fits"
        self._headers = {"authorization": f"Bearer {key}"}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._ask)

    def __enter__(self) -> Self:
        """Start to ask."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop."""
        self._stop.set()
        self._thread.join(60)

    def during(self, seconds: float) -> set[int]:
        """Return the statuses of the answers in a time that begins now, of which there are some."""
        before = self.statuses.copy()
        time.sleep(seconds)
        statuses = self.statuses - before
        assert statuses.total() > 5
        return set(statuses)

    def _ask(self) -> None:
        with httpx2.Client(timeout=30, headers=self._headers) as client:
            while not self._stop.wait(PAUSE_S):
                self.statuses[client.post(self._url, json=FIT).status_code] += 1


@pytest.fixture
def key_file(fleet: Fleet, tmp_path: Path) -> Iterator[KeyFile]:
    """Give all replicas a file of keys with one key, and take it away at the end."""
    file = KeyFile(tmp_path / "keys.toml")
    file.add("steady")
    fleet.restart(keys=file.path, deadline=DEADLINE_S)
    yield file
    fleet.restart()


@pytest.mark.slow
def test_a_callers_keys_whole_life(fleet: Fleet, key_file: KeyFile) -> None:
    """A key is added, used, held to fewer requests and more again, and ends or is taken out; until then it is let in.

    Answers between a change of the file and the time within which it is used may be by either.
    """
    port = fleet.proxy.port
    with contextlib.ExitStack() as stack:
        steady = stack.enter_context(Caller(port, key_file.keys["steady"]))
        for name in ("till", "season"):
            key_file.add(name)
        time.sleep(READ_WITHIN_S)
        till, season = (stack.enter_context(Caller(port, key_file.keys[name])) for name in ("till", "season"))
        told = {"added": till.during(0.5) | season.during(0.5)}

        key_file.change("till", requests_per_minute="1", burst="1")
        time.sleep(READ_WITHIN_S)
        told["fewer"] = till.during(0.5)
        key_file.change("till", requests_per_minute="1000000", burst="100000")
        time.sleep(READ_WITHIN_S)
        told["more"] = till.during(0.5)

        ends = datetime.now(UTC) + timedelta(seconds=READ_WITHIN_S + 0.5)
        key_file.change("season", expires=ends.isoformat())
        told["before its end"] = season.during(READ_WITHIN_S)
        told["season until then"] = set(season.statuses)
        time.sleep(max(0.0, (ends - datetime.now(UTC)).total_seconds()) + 0.2)
        told["after its end"] = season.during(0.5)

        told["before it is taken out"] = till.during(0.5)
        told["till until then"] = set(till.statuses)
        key_file.remove("till")
        time.sleep(READ_WITHIN_S)
        told["taken out"] = till.during(0.5)

    assert {
        "added": {200},
        "fewer": {429},
        "more": {200},
        "before its end": {200},
        "season until then": {200},
        "after its end": {401},
        "before it is taken out": {200},
        "till until then": {200, 429},
        "taken out": {401},
    } == told
    assert [200] == list(steady.statuses)
    assert steady.statuses.total() > 100
