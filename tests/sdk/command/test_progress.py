"""The line about long work: on a terminal, now and then; elsewhere nothing."""

from __future__ import annotations

import io
import re

import pytest

from featherline.command import progress
from featherline.command.progress import Progress


class Terminal(io.StringIO):
    """A terminal that keeps what is written."""

    def isatty(self) -> bool:
        """Say that it is one."""
        return True


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The time, which stands until it is moved."""
    now = [1000.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def test_a_terminal_is_told_how_far_it_is(clock: list[float]) -> None:
    """One line is written over again: share, lines and pace; the last one is right and stays."""
    terminal = Terminal()
    with Progress(terminal, 1000) as said:
        clock[0] += 2.0
        said.update(50, 250)
        clock[0] += 2.0
        said.update(4100, 1000)
    first, last = (line.rstrip() for line in terminal.getvalue().split("\r")[1:3])

    assert "[######..................]  25%  50 lines, 25 a second" == first
    assert "[########################] 100%  4,100 lines, 1,025 a second" == last
    assert terminal.getvalue().endswith("\n")
    assert 1 == terminal.getvalue().count("\n")


def test_it_is_told_a_few_times_a_second(clock: list[float]) -> None:
    """However fast the work goes; and once more at the end."""
    terminal = Terminal()
    with Progress(terminal, 1000) as said:
        for line in range(1, 1001):
            clock[0] += 0.001
            said.update(line, line)
    written = terminal.getvalue().split("\r")[1:]

    assert 10 <= len(written) <= 12
    assert "1,000 lines" in written[-1]


def test_a_whole_that_nobody_knows_has_no_share(clock: list[float]) -> None:
    """From a pipe only the lines can be counted."""
    terminal = Terminal()
    with Progress(terminal, None) as said:
        clock[0] += 1.0
        said.update(7, 700)

    assert re.fullmatch(r"\r7 lines, 7 a second *\r7 lines, 7 a second *\n", terminal.getvalue())


@pytest.mark.parametrize(("stream", "shown"), [(io.StringIO(), True), (Terminal(), False)])
def test_nothing_is_said_elsewhere(stream: io.StringIO, shown: bool) -> None:
    """A pipe is told nothing, nor is a terminal that gets the answers."""
    with Progress(stream, 10, shown=shown) as said:
        said.update(5, 5)

    assert stream.getvalue() == ""


def test_nothing_is_said_of_nothing() -> None:
    """Work that ends before it was told of leaves no line."""
    terminal = Terminal()
    with Progress(terminal, 10):
        pass

    assert terminal.getvalue() == ""
