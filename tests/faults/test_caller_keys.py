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
from typing import Final, NamedTuple, Self

import httpx2
import pytest
from replicas import HOST, Fleet, wait_until

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

    def is_read(self) -> datetime:
        """Return the instant, once every replica has had the time to read the file."""
        time.sleep(READ_WITHIN_S)
        return datetime.now(UTC)

    def _write(self) -> None:
        fresh = self.path.with_name("keys.new")
        fresh.write_text("".join(self._entries.values()))
        fresh.replace(self.path)


class Answer(NamedTuple):
    """When a request was sent and its answer was there, and the status."""

    sent: datetime
    answered: datetime
    status: int


class Caller:
    """A caller that asks without end, and keeps the statuses of its answers."""

    def __init__(self, port: int, key: str) -> None:
        self.answers: list[Answer] = []
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

    def ask(self, count: int = 10) -> datetime:
        """Let the caller ask so many times from now on, and return the instant."""
        before = len(self.answers)
        wait_until(lambda: len(self.answers) > before + count, "a caller has asked")
        return datetime.now(UTC)

    def statuses(self, begun: datetime, ended: datetime) -> Counter[int]:
        """Return the statuses of answers to requests that were sent and answered between two instants."""
        statuses = Counter(
            answer.status for answer in self.answers if begun <= answer.sent and answer.answered <= ended
        )
        assert statuses
        return statuses

    def _ask(self) -> None:
        with httpx2.Client(timeout=30, headers=self._headers) as client:
            while not self._stop.wait(PAUSE_S):
                sent = datetime.now(UTC)
                status = client.post(self._url, json=FIT).status_code
                self.answers.append(Answer(sent, datetime.now(UTC), status))


@pytest.fixture
def key_file(fleet: Fleet, tmp_path: Path) -> Iterator[KeyFile]:
    """Give all replicas a file of keys with one key, and take it away at the end."""
    file = KeyFile(tmp_path / "keys.toml")
    file.add("steady")
    fleet.restart(keys=file.path)
    yield file
    fleet.restart()


@pytest.mark.slow
def test_a_callers_keys_whole_life(fleet: Fleet, key_file: KeyFile) -> None:
    """A key is added, used, held to fewer requests and more again, and ends or is taken out; until then it is let in.

    Between a change of the file and the time within which it is used, answers may be by either.
    """
    port = fleet.proxy.port
    with contextlib.ExitStack() as stack:
        steady = stack.enter_context(Caller(port, key_file.keys["steady"]))
        for name in ("till", "season"):
            key_file.add(name)
        begun = key_file.is_read()
        till, season = (stack.enter_context(Caller(port, key_file.keys[name])) for name in ("till", "season"))
        season.ask()
        till.ask()

        fewer = datetime.now(UTC)
        key_file.change("till", requests_per_minute="1", burst="1")
        fewer_read = key_file.is_read()
        till.ask()

        more = datetime.now(UTC)
        key_file.change("till", requests_per_minute="1000000", burst="100000")
        more_read = key_file.is_read()
        till.ask()

        ends = datetime.now(UTC) + timedelta(seconds=READ_WITHIN_S + 0.5)
        key_file.change("season", expires=ends.isoformat())
        wait_until(lambda: datetime.now(UTC) > ends, "the key has expired")
        season.ask()

        taken_out = till.ask()
        key_file.remove("till")
        taken_out_read = key_file.is_read()
        end = max(till.ask(), steady.ask())

    assert [{200}, {200}, {401}] == [
        {*till.statuses(*period)} for period in ((begun, fewer), (more_read, taken_out), (taken_out_read, end))
    ]
    limited = till.statuses(fewer_read, more)
    assert {200, 429} >= {*limited} >= {429}
    assert limited[200] <= len(fleet.replicas)  # each answers the single request that a key may send at once
    assert {200, 429} == {*till.statuses(begun, taken_out)}
    assert [{200}, {401}] == [{*season.statuses(*period)} for period in ((begun, ends), (ends, end))]
    assert {200} == {*steady.statuses(begun, end)} == {answer.status for answer in steady.answers}
