"""Requests for a calibration, read into sightings."""

from __future__ import annotations

from typing import Any

import pytest
from calibration_requests import SERIES, calibration, faults

from featherline_service.book.shop_book import Book
from featherline_service.questions.calibration import pressings
from featherline_service.questions.calibration.pressings import read

STRIP = {"at": "30 s", "value": "132 degC", "below": "138 degC"}


def test_pressings_are_sightings(book: Book) -> None:
    """On the request's press and under its cover sheet, over the first lower platen, each reading with its place."""
    strip = {"above": "pad", "kind": "strip", "gauge": "strips", "readings": [STRIP]}
    found = read(book, calibration(series=[SERIES, strip], temperature="320 degF"))
    (pressed,) = found.pressings
    sighting = pressed.sighting
    assert ("swing", "smooth", "test-1", "silicone-thin", "smooth") == (
        found.press.id,
        found.film.id,
        sighting.name,
        sighting.cover,
        sighting.job.film,
    )
    assert pytest.approx((160.0, 30.0)) == (sighting.platen_c, sighting.dwell_s)
    assert book.platens[found.press.platens[0]].pad == sighting.job.pad
    at = "/pressings/0/series"
    assert [f"{at}/0/readings/0", f"{at}/0/readings/1", f"{at}/1/readings/0"] == [told.pointer for told in pressed.told]
    assert ("pad", 132.0, 138.0, "strip") == (
        sighting.readings[2].above,
        sighting.readings[2].low_c,
        sighting.readings[2].high_c,
        sighting.readings[2].kind,
    )


def test_without_a_film(book: Book) -> None:
    """The cover sheet lies on the upper itself; windows are of the film that is named, or of the book's first."""
    found = read(book, calibration(film=None))
    assert "" == found.pressings[0].sighting.job.film
    assert next(iter(book.films)) == found.film.id
    assert "stretch" == read(book, calibration(film=None, windows_of="stretch")).film.id


def test_a_file_is_read_with_its_lines(book: Book) -> None:
    """A reading of a file is told by the file's place and the line."""
    file = {"text": "t,T\n0,20\n5,90\n10,110\n", "time": "t", "temperature": "T"}
    series = {"kind": "thermocouple-class-2", "file": file}
    told = read(book, calibration(series=[series])).pressings[0].told
    assert [("/pressings/0/series/0/file/text", 3), ("/pressings/0/series/0/file/text", 4)] == [
        (each.pointer, each.line) for each in told
    ]


@pytest.mark.parametrize(
    ("changes", "pointer", "part"),
    [
        ({"date": "2026-11-31"}, "/date", "is no day of the calendar"),
        ({"cover": "tinfoil"}, "/cover", "no cover sheet 'tinfoil'"),
        ({"press": "mangle"}, "/press", "no press 'mangle'"),
        ({"id": "a" * 47}, "/id", "up to 46 characters"),
        ({"film": "smoth", "windows_of": "smooth"}, "/pressings/0/film", "no film 'smoth'"),
        ({"film": None, "windows_of": "smoth"}, "/film", "no film 'smoth'"),
        ({"temperature": "900 degC"}, "/pressings/0/temperature", "no temperature of a press"),
        (
            {"series": [{**SERIES, "readings": [{"at": "10 s", "value": "-300 degC"}]}]},
            "/pressings/0/series/0/readings/0/value",
            "below absolute zero",
        ),
        ({"series": [{**SERIES, "above": "cork"}]}, "/pressings/0/series/0/readings/0/above", "no layer 'cork'"),
        (
            {"series": [{"kind": "strip", "above": "cork", "file": {"text": "x", "time": "t", "temperature": "T"}}]},
            "/pressings/0/series/0/file",
            "A strip has no logger",
        ),
        (
            {"series": [{"kind": "strip", "above": "cork", "file": {"text": "x", "time": "t", "temperature": "T"}}]},
            "/pressings/0/series/0/above",
            "no layer 'cork'",
        ),
    ],
)
def test_faults_are_pointed_at(book: Book, changes: dict[str, Any], pointer: str, part: str) -> None:
    """Each with its place in the request."""
    assert part in faults(book, calibration(**changes))[pointer]


def test_readings_are_bounded(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """More than can be taken in at once are refused."""
    monkeypatch.setattr(pressings, "_MOST_READINGS", 1)
    assert "give at most 1 at a time" in faults(book, calibration())["/pressings"]


@pytest.mark.parametrize("more", [{}, {"readings": [STRIP], "file": {"text": "x", "time": "t", "temperature": "T"}}])
def test_a_series_is_listed_or_in_a_file(book: Book, more: dict[str, Any]) -> None:
    """Not neither, and not both."""
    found = faults(book, calibration(series=[{"kind": "strip", **more}]))
    assert "or as a `file`" in found["/pressings/0/series/0"]
