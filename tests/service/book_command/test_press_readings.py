from __future__ import annotations

from datetime import date
from pathlib import Path

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.book_command.press_readings import notes

READING = """
[[record]]
id = "{name}"
name = "{name}"
date = {day}
press = "our-press"
cover = "silicone-thin"
film = "gull"
upper = "cob"
temperature_c = 155.0
dwell_s = 41.0
{seen}
"""
TEMPERATURE = (
    'readings = [{{ kind = "thermocouple-class-1", above = "grain leather", at_s = 40.0, value_c = {0}, gauge = "a" }}]'
)


def observed(own: Path, *pressings: tuple[str, str, str]) -> Book:
    """Return the book with pressings: their names, days and what was seen."""
    (own / "observations").mkdir()
    text = "".join(READING.format(name=name, day=day, seen=seen) for name, day, seen in pressings)
    (own / "observations" / "observations.toml").write_text(text, "utf-8")
    return load([own])


def test_a_book_without_observations_needs_no_reading(own: Path) -> None:
    """Nothing is said of a press that nobody has begun to measure."""
    assert [] == list(notes(load([own]), date(2027, 1, 1)))


def test_a_reading_grows_old(own: Path) -> None:
    """After half a year the press is to be measured anew."""
    book = observed(own, ("first", "2026-06-01", TEMPERATURE.format(126.0)))
    assert [] == list(notes(book, date(2026, 11, 28)))
    (note,) = notes(book, date(2026, 11, 29))
    assert "Note: the last reading of the press our-press is of 2026-06-01, 181 days ago; measure it anew." == note


def test_a_press_without_a_reading_is_named(own: Path) -> None:
    """That a film held says little of the press."""
    (note,) = notes(observed(own, ("trial", "2026-06-01", 'bond = "holds"')), date(2026, 6, 2))
    assert note.startswith("Note: no reading of the press our-press is in the book")


def test_pressings_that_contradict_a_newer_one_are_named(own: Path) -> None:
    """Two readings far apart contradict one another; the newest of the press is named beside the older."""
    book = observed(
        own,
        ("older", "2026-06-01", TEMPERATURE.format(70.0)),
        ("newer", "2026-06-20", TEMPERATURE.format(148.0)),
    )
    older, newer = notes(book, date(2026, 7, 1))
    assert older.startswith(
        "Note: observations/older, of 2026-06-01, contradicts the others; of the same press the new"
    )
    assert newer.startswith("Note: observations/newer, of 2026-06-20, contradicts the others. Press it again")
