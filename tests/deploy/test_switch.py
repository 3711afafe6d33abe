"""The exchange of all replicas at once, with a proxy that is made up: what stops it, and what it leaves behind.

tests/faults/test_book_changes.py runs it with HAProxy, under load.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, Final

import pytest

DEPLOY: Final = Path(__file__).parents[2] / "deploy"
OLD, NEW = f"sha256:{1:064x}", f"sha256:{2:064x}"
Run = Callable[..., int]


class Standing:
    """A proxy whose side `a` answers, with places at ports 8037 to 8042."""

    def __init__(self, switch: ModuleType) -> None:
        self.answers, self.running, self.sessions = "a", {1, 2, 3}, 0
        self.revisions = dict.fromkeys(range(1, 7), NEW)
        self._place = switch.Place

    def side(self) -> str:
        """Return the side that answers."""
        return self.answers

    def answer_by(self, side: str) -> None:
        """Answer by a side."""
        self.answers = side

    def places(self, side: str) -> list[Any]:
        """Return the places of a side."""
        return [self._place(number, "127.0.0.1", 8036 + number) for number in ((1, 2, 3) if side == "a" else (4, 5, 6))]

    def up(self, side: str) -> int:
        """Return how many run."""
        return sum(place.number in self.running for place in self.places(side))

    def under_way(self, _side: str) -> int:
        """Return how many requests are under way."""
        return self.sessions


@pytest.fixture
def switch(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Return deploy/switch.py as a module."""
    monkeypatch.syspath_prepend(DEPLOY)
    return importlib.import_module("switch")


@pytest.fixture
def proxy(switch: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Standing:
    """Return the proxy; the commands `start N` and `stop N` change what runs before it, others fail."""
    standing = Standing(switch)

    def do(command: list[str], *, check: bool) -> None:
        assert check
        if command[0] == "start":
            standing.running.add(int(command[1]))
        elif command[0] == "stop":
            standing.running.discard(int(command[1]))
        else:
            raise FileNotFoundError(2, "No such file or directory", command[0])

    monkeypatch.setattr(switch, "Proxy", lambda _admin: standing)
    monkeypatch.setattr(switch.subprocess, "run", do)
    monkeypatch.setattr(switch, "_RAMP_S", 0.0)
    monkeypatch.setattr(
        switch,
        "_revision",
        lambda place: standing.revisions[place.number] if place.number in standing.running else None,
    )
    return standing


@pytest.fixture
def run(switch: ModuleType, proxy: Standing) -> Run:
    """Run the command; without options it has what it needs."""
    assert proxy.running

    def run(*options: str, start: str = "start {number}", stop: str = "stop {number}") -> int:
        code: int = switch.main(["--admin", "admin.sock", "--start", start, "--stop", stop, *options])
        return code

    return run


def test_the_sides_change_places(run: Run, proxy: Standing, capsys: pytest.CaptureFixture[str]) -> None:
    """The new replicas answer and the old ones are stopped; the next time it goes the other way."""
    assert 0 == run("--book", NEW)
    assert ("b", {4, 5, 6}) == (proxy.answers, proxy.running)
    assert (
        f"All requests go to the side b now, by the book {NEW}. For HAProxy's next start, set SIDE=b.\n"
        in capsys.readouterr().out
    )
    assert 0 == run()
    assert ("a", {1, 2, 3}) == (proxy.answers, proxy.running)


def test_replicas_on_the_other_side_are_left_alone(
    run: Run, proxy: Standing, capsys: pytest.CaptureFixture[str]
) -> None:
    """What runs where nobody is answered may be somebody's: it is neither used nor stopped."""
    proxy.running.add(5)
    assert 1 == run()
    assert ("a", {1, 2, 3, 5}) == (proxy.answers, proxy.running)
    assert "Replicas run on the side b already, which does not answer. Stop them first." in capsys.readouterr().err


@pytest.mark.parametrize(("odd", "options"), [(OLD, ()), (NEW, ("--book", OLD))])
def test_new_replicas_have_one_book(
    run: Run, proxy: Standing, capsys: pytest.CaptureFixture[str], odd: str, options: tuple[str, ...]
) -> None:
    """A replica with another revision than the others, or than the one that is asked for, ends the exchange."""
    proxy.revisions[5] = odd
    assert 1 == run(*options)
    assert ("a", {1, 2, 3}) == (proxy.answers, proxy.running)
    assert f"127.0.0.1:8041 {odd}" in capsys.readouterr().err


def test_a_command_that_cannot_be_run_changes_nothing(
    run: Run, proxy: Standing, capsys: pytest.CaptureFixture[str]
) -> None:
    """The message names the replica and says why."""
    assert 1 == run(start="sytemctl {number}")
    assert ("a", {1, 2, 3}) == (proxy.answers, proxy.running)
    assert "Nothing was changed. Replica 4 was not started: " in capsys.readouterr().err


def test_what_is_left_after_the_switch_is_told(run: Run, proxy: Standing, capsys: pytest.CaptureFixture[str]) -> None:
    """Requests that take longer than the drain, and old replicas that are not stopped: exit code 3."""
    proxy.sessions = 2
    assert 3 == run("--drain", "0", stop="sytemctl {number}")
    said = capsys.readouterr()
    assert ("b", {1, 2, 3, 4, 5, 6}) == (proxy.answers, proxy.running)
    assert "2 requests are still under way on the side a; its replicas finish them." in said.out
    assert "The new replicas answer. Replica 1 was not stopped: " in said.err
    assert "then stop what still runs on the side a." in said.err
