"""Fixtures for the tests of the command."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import stamina.instrumentation

from featherline.command import main

sys.path.insert(0, str(Path(__file__).parent))  # for command_lines: the tests are not a package

ShowRequest = Callable[..., bytes]
SetStdin = Callable[[bytes], None]


@pytest.fixture(autouse=True)
def default_retry_hooks() -> Iterator[None]:
    """Restore the hooks of stamina, which the command replaces."""
    yield
    stamina.instrumentation.set_on_retry_hooks(None)


@pytest.fixture
def show_request(capsys: pytest.CaptureFixture[str]) -> ShowRequest:
    """Return the request of a command line, as `--show-request` prints it."""

    def show(*argv: str) -> bytes:
        assert 0 == main([*argv, "--show-request"])
        return capsys.readouterr().out.encode()

    return show


@pytest.fixture
def set_stdin(monkeypatch: pytest.MonkeyPatch) -> SetStdin:
    """Set the content of standard input."""

    def set_content(content: bytes) -> None:
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(content)))

    return set_content
