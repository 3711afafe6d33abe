from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from featherline_service.__main__ import main
from featherline_service.book.loader import load

Command = Callable[..., tuple[int, str, str]]

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

    assert 0 == main(["book", "check"])

    one, two = (f"{instant:%Y-%m-%dT%H:%M:%SZ}" for instant in (first, first + timedelta(days=1)))
    superseded, in_force, to_come = capsys.readouterr().out.splitlines()
    assert f"{load().revision} superseded until {one}" == superseded
    assert f" in force from {one} until {two}: changes offcuts/new" in in_force
    assert to_come.endswith(f" to come from {two}: changes offcuts/new")
    assert 3 == len({line.split()[0] for line in (superseded, in_force, to_come)})


def test_a_book_without_changes_is_one_line(command: Command) -> None:
    """The demo book is in force."""
    assert (0, f"{load().revision} in force\n", "") == command("check")
    assert (0, f"{load().revision} in force\n", "") == command("check", "demo")


def test_a_fault_of_a_revision_to_come_is_told(tmp_path: Path, command: Command) -> None:
    """Nothing is left to be noticed on the day of the change."""
    write(tmp_path, -1, first=datetime(2087, 1, 1, tzinfo=UTC))
    expected = (
        f"The book cannot be used: {tmp_path}/offcuts/new.toml:5: new: width_mm: Too small; give more than 0 "
        "(from 2087-01-01T00:00:00Z on)\n"
    )
    assert (2, "", expected) == command("check", tmp_path)


def test_what_is_not_the_shops_own_is_noted(own: Path, command: Command) -> None:
    """Amounts of the demo book that count in pounds, and records with guesses, are told until they are the shop's."""
    _, amounts, guesses = command("check", own)[1].splitlines()
    assert (
        "amounts of the book before count in GBP as they stand: covers/paper, covers/ptfe-cloth, covers/si" in amounts
    )
    assert amounts.endswith(". Give your own: the `id` and the sum, in a file such as covers/paper.toml.")
    assert "2 of films" in guesses
    assert "2 of shoes" in guesses

    (own / "covers").mkdir()
    prices = ((name, "9.00") for name in ("paper", "ptfe-cloth", "silicone-pad", "silicone-thin"))
    text = "\n".join(f'[[record]]\nid = "{name}"\nprice = "{price}"' for name, price in prices)
    (own / "covers" / "covers.toml").write_text(text, "utf-8")
    assert "amounts of the book before" not in command("check", own)[1]


def test_many_amounts_are_counted(tmp_path: Path, command: Command) -> None:
    """Of a whole shop in another currency the first few are named."""
    (tmp_path / "book.toml").write_text('mode = "overlay"\ncurrency = "GBP"', "utf-8")
    _, told, _ = command("check", tmp_path)
    assert re.search(r"covers/paper, .* and \d+ more", told)


WRONG = [
    ("films/films.toml", 'family = "smooth"', 'family = "smoth"', 4, "family", "give one of smooth, stretch, "),
    ("films/films.toml", 'pressure = "firm"', 'pressure = "hard"', 15, "setting.pressure", "give one of light, medium"),
    ("films/films.toml", 'price = "150.00"', "price = 150.0", 7, "roll.price", "write the amount as text"),
    (
        "films/films.toml",
        "coolest_c = 155.0",
        "coolest_c = 1550.0",
        5,
        "setting.coolest_c",
        "Too large; the most is 400",
    ),
    (
        "films/films.toml",
        'source = "maker-sheet"\n\n',
        "\n\n",
        5,
        "setting.coolest_c",
        'write `source = "maker-sheet"`',
    ),
    ("shoes/shoes.toml", 'kind = "deck"', 'kind = "dek"', 4, "kind", "name one of deck, "),
    ("shoes/shoes.toml", '"grain-leather"', '"grain-lether"', 6, "upper[0]", "name one of grain-leather, "),
    ("shoes/shoes.toml", "M0 0H95V42H0Z", "M0 0H95V42Q", 10, "panels[0].outline", "Q wants a number here"),
    ("benches/bench.toml", '"our-press"', '"our-pres"', 3, "press", "name one of our-press"),
    ("book.toml", '"GBP"', '"GPB"', 2, "currency", "give an ISO 4217 code"),
    ("policies/counter.toml", "share =", "shar =", 4, "shar", "correct it to one of id, name, currency, method, share"),
    ("films/films.toml", 'peel = {when = "cold"}', "", 11, "peel", "Missing; add it"),
]


@pytest.mark.parametrize(("file", "right", "wrong", "line", "key", "cure"), WRONG)
def test_a_wrong_edit_is_told_with_line_and_cure(  # noqa: PLR0917 - an edit
    own: Path, command: Command, file: str, right: str, wrong: str, line: int, key: str, cure: str
) -> None:
    """What an owner gets wrong is told with file, line, key, and what would do."""
    text = (own / file).read_text("utf-8")
    assert right in text
    (own / file).write_text(text.replace(right, wrong, 1), "utf-8")

    code, out, err = command("check", own)

    assert (2, "") == (code, out)
    told = [message for message in err.splitlines() if f"{file}:{line}: " in message and f"{key}: " in message]
    assert told, err
    assert any(cure in message for message in told), err


def test_all_wrong_edits_are_told_at_once(own: Path, command: Command) -> None:
    """Twelve edits, and every one of them is in the message."""
    for file, right, wrong, *_ in WRONG:
        if wrong != 'family = "smoth"' and file != "book.toml":  # these would hide others
            text = (own / file).read_text("utf-8")
            (own / file).write_text(text.replace(right, wrong, 1), "utf-8")
    _, _, err = command("check", own)
    for word in ("hard", "roll.price", "Too large; the most is 400", "dek", "grain-lether", "our-pres", "shar", "peel"):
        assert word in err
