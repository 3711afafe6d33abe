"""Progress: a line on a terminal, and nothing on other streams."""

from __future__ import annotations

import io
import re

import pytest

from featherline.command import progress
from featherline.command.progress import Progress


class Terminal(io.StringIO):
    """A terminal that records its output."""

    def isatty(self) -> bool:
        """Return that it is a terminal."""
        return True


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock that the test sets."""
    now = [1000.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    return now


def test_a_terminal_shows_the_progress(clock: list[float]) -> None:
    """One line with the share, the lines and the rate is overwritten, and its last state stays."""
    terminal = Terminal()
    with Progress(terminal, 1000) as work:
        clock[0] += 2.0
        work.update(50, 250)
        clock[0] += 2.0
        work.update(4100, 1000)
    first, last = (line.rstrip() for line in terminal.getvalue().split("\r")[1:3])

    assert "[######..................]  25%  50 lines, 25 a second" == first
    assert "[########################] 100%  4,100 lines, 1,025 a second" == last
    assert terminal.getvalue().endswith("\n")
    assert 1 == terminal.getvalue().count("\n")


def test_progress_is_shown_ten_times_a_second(clock: list[float]) -> None:
    """It does not depend on the speed of the work; the end is shown, too."""
    terminal = Terminal()
    with Progress(terminal, 1000) as work:
        for line in range(1, 1001):
            clock[0] += 0.001
            work.update(line, line)
    written = terminal.getvalue().split("\r")[1:]

    assert 10 <= len(written) <= 12
    assert "1,000 lines" in written[-1]


def test_progress_without_a_total_has_no_bar(clock: list[float]) -> None:
    """Only the lines from a pipe can be counted."""
    terminal = Terminal()
    with Progress(terminal, None) as work:
        clock[0] += 1.0
        work.update(7, 700)

    assert re.fullmatch(r"\r7 lines, 7 a second *\r7 lines, 7 a second *\n", terminal.getvalue())


@pytest.mark.parametrize(("stream", "shown"), [(io.StringIO(), True), (Terminal(), False)])
def test_nothing_is_shown_elsewhere(stream: io.StringIO, shown: bool) -> None:
    """A pipe shows nothing, nor does a terminal where it is turned off."""
    with Progress(stream, 10, shown=shown) as work:
        work.update(5, 5)

    assert stream.getvalue() == ""


def test_no_work_shows_nothing() -> None:
    """Work without an update leaves no line."""
    terminal = Terminal()
    with Progress(terminal, 10):
        pass

    assert terminal.getvalue() == ""
