"""Pressings of a calibration, read into sightings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Final, NamedTuple

from featherline.wire.calibrations import CalibrationRequest, GaugeSeries
from featherline.wire.evidence import GaugeReading
from featherline.wire.recipes import RecipeRequest
from featherline.wire.records import Film, Press
from featherline_service.book.shop_book import Book
from featherline_service.messages.told import ToldError, told
from featherline_service.questions.calibration.logger_files import read_file
from featherline_service.questions.checks import Checks
from featherline_service.questions.recipe.evidence.gauges import BOND_LINE, gauged, stack_of
from featherline_service.questions.recipe.evidence.requests import read_job, read_setting, read_value
from featherline_service.questions.recipe.evidence.sightings import Reading, Sighting

_MOST_READINGS: Final = 400
"""Readings in all that are taken in at once: so many are combined in about a tenth of a second."""
_LONGEST_ID: Final = 46
"""Characters of an id of which the records of its pressings are named, with a hyphen and a digit more."""


class Told(NamedTuple):
    """A reading, and its place in the request: a JSON Pointer, and the line of a file."""

    reading: Reading
    pointer: str
    line: int | None = None


class Pressed(NamedTuple):
    """A pressing as a sighting, and where each of its readings is."""

    sighting: Sighting
    told: tuple[Told, ...]


class Calibrated(NamedTuple):
    """A request with its records: the film is that of the windows to compare."""

    press: Press
    film: Film
    pressings: tuple[Pressed, ...]

    @property
    def sightings(self) -> tuple[Sighting, ...]:
        """The pressings as sightings."""
        return tuple(pressed.sighting for pressed in self.pressings)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ToldError("calibration.no-such-day", "{day!r} is no day of the calendar", day=text) from None


def read(book: Book, request: CalibrationRequest) -> Calibrated:
    """Return a request with its records.

    Raises:
        RefusedError: A record is not in the book, or a value cannot be: every fault with its pointer.
    """
    checks = Checks()
    if len(request.id) > _LONGEST_ID:
        checks.note(
            "/id",
            told(
                "calibration.id-too-long",
                "The records of its pressings are named by it: give up to {longest_id} characters",
                longest_id=_LONGEST_ID,
            ),
        )
    press = checks.record(book.presses, "press", request.press or book.bench.press, "/press")
    if request.cover is not None:
        checks.record(book.covers, "cover-sheet", request.cover, "/cover")
    films = [pressing.film for pressing in request.pressings if pressing.film is not None]
    film = checks.record(book.films, "film", request.film or (films[0] if films else next(iter(book.films))), "/film")
    checks.value(_day, request.date, "/date")
    checks.settle()
    assert press is not None and film is not None  # noqa: S101, PT018 - settle has raised else
    pressings = [
        _pressed(book, request, press, index, checks.under(f"/pressings/{index}"))
        for index in range(len(request.pressings))
    ]
    count = sum(len(pressed.told) for pressed in pressings)
    if count > _MOST_READINGS:
        checks.note(
            "/pressings",
            told(
                "calibration.too-many-readings",
                "They have {count} readings; give at most {most_readings} at a time",
                count=count,
                most_readings=_MOST_READINGS,
            ),
        )
    checks.settle()
    return Calibrated(press, film, tuple(pressings))


def _pressed(book: Book, request: CalibrationRequest, press: Press, index: int, checks: Checks) -> Pressed:
    pressing = request.pressings[index]
    setting = read_setting(pressing.temperature, pressing.dwell, checks)
    # Which film is looked up makes no difference where none is pressed.
    film = pressing.film or next(iter(book.films))
    on = RecipeRequest(film=film, onto=pressing.onto, press=press.id)
    job, _ = read_job(book, on, pressing.pressure, checks)
    assert setting is not None  # noqa: S101 - reading the job has raised else
    platen_c, dwell_s = setting
    job = job._replace(film=pressing.film or "", pad=book.platens[press.platens[0]].pad)
    names = stack_of(book, job, request.cover).names
    told = [
        each
        for at, series in enumerate(pressing.series)
        for each in _series(series, names, dwell_s, checks.under(f"/series/{at}"))
    ]
    return Pressed(
        Sighting(
            name=f"{request.id}-{index + 1}",
            job=job,
            cover=request.cover,
            press=press.id,
            platen_c=platen_c,
            dwell_s=dwell_s,
            readings=tuple(each.reading for each in told),
        ),
        tuple(told),
    )


def _series(series: GaugeSeries, names: Sequence[str], dwell_s: float, checks: Checks) -> Iterator[Told]:
    """Yield the readings of a series; note what is wrong with them."""
    if bool(series.readings) == (series.file is not None):
        checks.note(
            "",
            told(
                "calibration.readings-or-file", "Give the readings of a series one by one in `readings`, or as a `file`"
            ),
        )
    for at, one in enumerate(series.readings):
        here = checks.under(f"/readings/{at}")
        listed = GaugeReading(
            above=series.above, at=one.at, value=one.value, below=one.below, kind=series.kind, gauge=series.gauge
        )
        reading = read_value(listed, names, dwell_s, here)
        if reading is not None:
            yield Told(reading, here.pointer(""))
    if series.file is None:
        return
    if series.above != BOND_LINE and series.above not in names:
        checks.note(
            "/above",
            told(
                "stack.no-such-layer",
                "The stack has no layer {above!r}; it has: bond line, {names}",
                above=series.above,
                names=tuple(names),
            ),
        )
    if series.kind == "strip":
        checks.note(
            "/file", told("calibration.strip-without-file", "A strip has no logger: give its steps in `readings`")
        )
    here = checks.under("/file")
    for row in read_file(series.file, dwell_s, here):
        value = row.value_c
        yield Told(
            gauged(series.kind, series.gauge, above=series.above, at_s=row.at_s, low_c=value, high_c=value),
            here.pointer("/text"),
            row.line,
        )
