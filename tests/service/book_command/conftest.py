"""A book of one's own, and the command."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from featherline_service.book_command.command import main

GULL = "Gull:smooth:155:15:medium:hot:500:25:150.00:Black:#111111"
TERN = "Tern:flock:160:18:firm:cold:500:25:210.00:Red"
COB = "Cob:deck:grain-leather+textile-lining:80.00:outer:95x42"
FLATS = "Flats:trainer:polyester-knit+foam-padding+textile-lining:70.00:outer:90x45"
ANSWERS = (
    "--name", "Curlew Marking", "--currency", "GBP", "--tax", "20%", "--hourly", "21.00", "--markup", "60%",
    "--press", "Our press:swing-away", "--film", GULL, "--film", TERN, "--shoe", COB, "--shoe", FLATS,
)  # fmt: skip

Told = tuple[int, str, str]
"""The exit code, and what went to standard output and to standard error."""


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a book of one's own as `new` writes it, to be left as it is."""
    folder = tmp_path_factory.mktemp("own") / "book"
    assert 0 == main(["new", str(folder), *ANSWERS], {})
    return folder


@pytest.fixture
def own(written: Path, tmp_path: Path) -> Path:
    """Return a book of one's own to be changed."""
    return Path(shutil.copytree(written, tmp_path / "book"))


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Callable[..., Told]:
    """Return a function that runs the command with arguments and, perhaps, answers to its questions."""

    def run(*arguments: object, answers: tuple[str, ...] = ()) -> Told:
        waiting = iter(answers)

        def ask(question: str) -> str:
            print(question)  # noqa: T201 - as `input` does
            try:
                return next(waiting)
            except StopIteration:
                raise EOFError from None

        capsys.readouterr()
        code = main([str(argument) for argument in arguments], {}, ask)
        return (code, *capsys.readouterr())

    return run
