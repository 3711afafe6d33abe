"""The help of the command, and its version."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from featherline.command import main


@pytest.mark.parametrize("command", ["quote", "fit", "recipe", "roster", "card", "book", "bulk"])
def test_help_has_examples_and_exit_codes(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The help of each command has examples, in lines of at most 90 columns, and the meaning of the exit codes."""
    with pytest.raises(SystemExit):
        main([command, "--help"])
    out = capsys.readouterr().out
    assert f"examples:\n  featherline {command}" in out
    assert "exit codes:" in out
    assert max(len(line) for line in out.splitlines() if line.startswith("  featherline")) <= 90


def test_the_command_is_installed() -> None:
    """`featherline --version` runs as a program of its own."""
    program = Path(sys.executable).with_name("featherline")
    done = subprocess.run([program, "--version"], capture_output=True, text=True, check=True)
    assert done.stdout == "featherline 0.1.0\n"
