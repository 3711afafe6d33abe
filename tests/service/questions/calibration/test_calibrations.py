"""The question what readings tell of a press and cover sheet, as a whole."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from calibration_requests import SERIES, calibration, faults, readings

from featherline.wire.calibrations import CalibrationRequest
from featherline_service.book.shop_book import Book
from featherline_service.questions.calibration import calibrations
from featherline_service.questions.calibration.calibrations import compose

EXAMPLE = Path(__file__).parents[4] / "openapi" / "examples" / "calibration-request.json"


def test_the_example(book: Book) -> None:
    """A logger's file on a scrap of leather: it agrees, narrows windows, and says what to read next."""
    answer = compose(book, msgspec.json.decode(EXAMPLE.read_bytes(), type=CalibrationRequest))
    found = answer.calibration
    assert (True, 20, ()) == (found.agreement.agrees, found.agreement.readings, found.agreement.named)
    assert ["sources", "contacts", "presses"] == [file.path.split("/")[0] for file in found.records]
    assert book.revision == answer.book
    leather = found.windows[0]
    sure, before = leather.worst_case_after.shortest_s, leather.worst_case_before.shortest_s
    assert sure is not None and before is not None  # noqa: PT018 - for the types
    assert leather.after.shortest_s is not None and leather.before.shortest_s is not None  # noqa: PT018
    assert sure / leather.after.shortest_s < before / leather.before.shortest_s
    assert {"gauges-in-a-press", "gauges-on-scrap", "closing-counts", "hot-surfaces"} <= {
        caution.code for caution in found.cautions
    }


def test_readings_that_do_not_agree_are_named(book: Book) -> None:
    """A wire that slipped: its reading is named with its place, and no records are made."""
    series = readings(book, {})
    slipped = {**series["readings"][4], "value": "90 degC"}
    found = compose(
        book, calibration(series=[{**series, "readings": [*series["readings"][:4], slipped, series["readings"][5]]}])
    ).calibration
    assert (False, (), ()) == (found.agreement.agrees, found.records, found.observations)
    assert ["/pressings/0/series/0/readings/4"] == [each.reading for each in found.agreement.named]
    assert found.agreement.named[0].chance < 0.001
    assert "90.0 °C" in found.agreement.named[0].sentence
    assert "do not go together" in found.agreement.sentence
    assert "as far apart in fewer than 1 of 1000 calibrations." in found.agreement.sentence


def test_a_line_of_a_file_is_named(book: Book) -> None:
    """Where the reading is in a file, its line is said."""
    text = "t,T\n5,97\n10,20\n20,131\n30,138\n"
    file = {"text": text, "time": "t", "temperature": "T"}
    found = compose(book, calibration(series=[{"kind": "thermocouple-class-1", "file": file}])).calibration
    assert "on line 3 of 20.0 °C" in found.agreement.named[0].sentence


def test_without_a_cover_sheet_windows_are_under_the_benchs(book: Book) -> None:
    """No shoe is pressed without one."""
    found = compose(book, calibration(cover=None)).calibration
    assert (None, {book.bench.cover}) == (found.cover, {window.cover for window in found.windows})
    assert "platen-carrier" in [quantity.record for quantity in found.quantities]


def test_what_cannot_be_reconciled_is_refused(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Likelihoods that do not settle are a fault of the readings, with what to do, and no failure of ours."""

    def never_settles(*_: object) -> None:
        raise ArithmeticError("The observations' likelihoods do not settle")

    monkeypatch.setattr(calibrations, "readings_of", never_settles)
    assert "leave some out" in faults(book, calibration(series=[SERIES]))["/pressings"]
