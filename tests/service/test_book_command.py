"""The command that checks a book: every revision, and what changes when."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from featherline_service import book_command
from featherline_service.__main__ import main
from featherline_service.book.loader import load

OFFCUT = 'id = "new"\nfilm = "smooth"\ncolour = "gorse"\nwidth_mm = {width}\nheight_mm = 40\n'


def write(folder: Path, *widths: float, first: datetime) -> None:
    """Write a book with an offcut whose width changes every day."""
    (folder / "offcuts").mkdir()
    (folder / "book.toml").write_text('mode = "overlay"')
    tables = (
        f"[[record]]\n{OFFCUT.format(width=width)}valid_from = {first + day * timedelta(days=1):%Y-%m-%dT%H:%M:%SZ}\n"
        for day, width in enumerate(widths)
    )
    (folder / "offcuts" / "new.toml").write_text("".join(tables))


def test_it_says_what_changes_when(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A line for each revision: superseded, in force, to come; with its times and the records that it changes."""
    first = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=1)
    write(tmp_path, 30, 40, first=first)
    monkeypatch.setenv("FEATHERLINE_BOOK", str(tmp_path))

    assert 0 == main(["--check-book"])

    one, two = (f"{instant:%Y-%m-%dT%H:%M:%SZ}" for instant in (first, first + timedelta(days=1)))
    superseded, in_force, to_come = capsys.readouterr().out.splitlines()
    assert f"{load().revision} superseded until {one}" == superseded
    assert f" in force from {one} until {two}: changes offcuts/new" in in_force
    assert to_come.endswith(f" to come from {two}: changes offcuts/new")
    assert 3 == len({line.split()[0] for line in (superseded, in_force, to_come)})


def test_a_book_without_changes_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """The demo book is in force."""
    assert 0 == book_command.run({})
    assert f"{load().revision} in force\n" == capsys.readouterr().out


def test_a_fault_of_a_revision_to_come_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is left to be noticed on the day of the change."""
    write(tmp_path, -1, first=datetime(2087, 1, 1, tzinfo=UTC))
    assert 2 == book_command.run({"FEATHERLINE_BOOK": str(tmp_path)})
    expected = (
        f"The book cannot be used: {tmp_path}/offcuts/new.toml:5: new: width_mm: Expected `float` > 0.0; correct it "
        "(from 2087-01-01T00:00:00Z on)\n"
    )
    assert ("", expected) == tuple(capsys.readouterr())
