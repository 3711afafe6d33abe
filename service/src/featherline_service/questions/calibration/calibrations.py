"""The question "what do readings tell of this press and cover sheet?", composed."""

from __future__ import annotations

from typing import Final

from featherline.wire.calibrations import (
    Agreement,
    Calibration,
    CalibrationAnswer,
    CalibrationRequest,
    ReadingAgreement,
)
from featherline.wire.verdicts import Caution
from featherline_service.book.shop_book import Book
from featherline_service.evidence.agreement import LEAST_CHANCE, innovations, outliers
from featherline_service.messages.told import told
from featherline_service.questions.calibration import records
from featherline_service.questions.calibration.next_readings import next_readings
from featherline_service.questions.calibration.pressings import Calibrated, Told, read
from featherline_service.questions.calibration.window_changes import changes, comparison
from featherline_service.questions.checks import Checks
from featherline_service.questions.recipe.cautions import cautions
from featherline_service.questions.recipe.evidence.gauges import Readings, readings_of, stack_of
from featherline_service.questions.recipe.evidence.practices import recorded_of
from featherline_service.runtime.engine import ENGINE

_PRACTICE: Final = "common practice, no source"
_OF_GAUGES: Final = (
    Caution(
        code="gauges-in-a-press",
        sentence="Lay the wire flat, with its junction where the film goes, and lead it out where the platen does not "
        "crush it; keep hands out before the press closes, and let the stack cool before it is taken apart.",
        source=_PRACTICE,
    ),
    Caution(
        code="gauges-on-scrap",
        sentence="Read on a scrap of the material or a shoe that is spoilt already: a wire leaves its print.",
        source=_PRACTICE,
    ),
    Caution(
        code="closing-counts",
        sentence="Times count from the moment at which the press is closed: half a second beside it is several kelvins "
        "in the first five seconds.",
        source=_PRACTICE,
    ),
)


def compose(book: Book, request: CalibrationRequest) -> CalibrationAnswer:
    """Return what readings tell of a press and cover sheet.

    Raises:
        RefusedError: with every fault, its pointer into the request.
    """
    calibrated = read(book, request)
    try:
        calibration = _calibration(book, request, calibrated)
    except ArithmeticError:
        Checks().refuse(
            "/pressings",
            told(
                "observations.contradictory", "They contradict one another so far that nothing follows: leave some out"
            ),
        )
    return CalibrationAnswer(calibration=calibration, book=book.revision, book_until=book.until, engine=ENGINE)


def _calibration(book: Book, request: CalibrationRequest, calibrated: Calibrated) -> Calibration:
    """Return what readings tell.

    Raises:
        ArithmeticError: Nothing follows from them.
    """
    sightings, recorded = calibrated.sightings, recorded_of(book)
    found, every = readings_of(book, sightings), (*recorded, *sightings)
    agreement = agreement_of(found, calibrated)
    measured = records.measured(book, calibrated, found.belief)
    cover = request.cover or book.bench.cover or next(iter(book.covers))
    compared = comparison(book, calibrated.film, calibrated.press, cover)
    materials = {name for sighting in sightings for name in stack_of(book, sighting.job, sighting.cover).materials}
    return Calibration(
        press=calibrated.press.id,
        cover=request.cover,
        agreement=agreement,
        quantities=tuple(records.quantities(measured)),
        records=records.record_files(request, measured) if agreement.agrees else (),
        observations=(records.observation_file(book, request, calibrated),) if agreement.agrees else (),
        windows=tuple(changes(book, compared, recorded, every)),
        windows_left_out=compared.left_out,
        next=tuple(next_readings(book, compared, every, sightings)),
        cautions=(*_OF_GAUGES, *cautions(book, film=calibrated.film, materials=materials, shoe=None)),
    )


def agreement_of(found: Readings, calibrated: Calibrated) -> Agreement:
    """Return how well readings agree: all together, and each with the others."""
    told = [each for pressed in calibrated.pressings for each in pressed.told]
    together = innovations(found.rows.observations)
    named = tuple(
        ReadingAgreement(reading=told[outlier.at].pointer, chance=outlier.chance, sentence=_said(told[outlier.at]))
        for outlier in outliers(found.rows.observations)
    )
    agrees = together.chance >= LEAST_CHANCE and not named
    as_far = f"Were both right, readings would be as far apart in {_of_a_thousand(together.chance)} calibrations."
    return Agreement(
        agrees=agrees,
        chi_square=together.chi_square,
        readings=together.readings,
        chance=together.chance,
        named=named,
        sentence=f"The {together.readings} readings go with one another and with the book. {as_far}"
        if agrees
        else f"The {together.readings} readings do not go together, or not with the book. {as_far} Look for a wire "
        "that slipped, a layer with another name, a clock that was started late, or another press setting; no records "
        "are made of them.",
    )


def _of_a_thousand(chance: float) -> str:
    """Return a chance as people count."""
    count = round(1000.0 * chance)
    return f"{'fewer than 1' if count == 0 else 'nearly all' if count == 1000 else count} of 1000"  # noqa: PLR2004 - all


def _said(told: Told) -> str:
    reading, _, line = told
    where = "" if line is None else f" on line {line}"
    return (
        f"The reading{where} of {reading.low_c:.1f} °C at the {reading.above}, {reading.at_s:.1f} s after the press "
        "closed, is farther off than one of all would be in one of a thousand calibrations."
    )
