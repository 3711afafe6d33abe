"""The question "what do readings tell of this press and cover sheet?", and its answer."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

from featherline.wire.evidence import Chance
from featherline.wire.quantities import Duration, Temperature
from featherline.wire.recipes import Band, BareStack, ShoePanel, Units
from featherline.wire.records import GaugeKind, PressureLevel
from featherline.wire.texts import BookUntil, Day, Engine, Identifier, Name, Revision, Sentence
from featherline.wire.verdicts import Caution

Cell = Annotated[str, Meta(min_length=1, max_length=64)]


class LoggerFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The file of a temperature logger, as CSV: a line that names the columns, then a line for each reading.

    Lines before the one with both names are passed over. Columns are divided by commas, semicolons or tabs; with
    semicolons or tabs a decimal may have a comma. Lines before the press closed, less than two seconds after, or after
    it opened are passed over, and of many readings twenty are taken.
    """

    text: Annotated[str, Meta(min_length=1, max_length=200_000)]
    time: Annotated[Cell, Meta(description="The name of the column with the times.")]
    time_unit: Literal["s", "min", "h"] = "s"
    temperature: Annotated[Cell, Meta(description="The name of the column with the temperatures.")]
    temperature_unit: Literal["degC", "degF", "K"] = "degC"
    closed_at: Annotated[
        Duration | None, Meta(description="When the press closed, by the logger's clock; null: at its zero.")
    ] = None


class SeriesReading(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A reading: of a thermocouple its value; of a strip the step that turned, and the next, which did not."""

    at: Annotated[Duration, Meta(description="From the closing of the press.")]
    value: Temperature
    below: Temperature | None = None


class GaugeSeries(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The readings of a gauge at one place in the stack: listed, or in the file of a logger.

    Series of one gauge share its error.
    """

    above: Annotated[
        Name, Meta(description="The layer on whose upper face the gauge lies, by its name, or 'bond line'.")
    ] = "bond line"
    kind: GaugeKind
    gauge: Identifier = "gauge"
    readings: Annotated[tuple[SeriesReading, ...], Meta(max_length=40)] = ()
    file: LoggerFile | None = None


class CalibrationPressing(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A pressing with gauges in its stack, over the press's first lower platen.

    Without a film the cover sheet lies on the upper itself.
    """

    onto: ShoePanel | BareStack
    film: Identifier | None = None
    temperature: Temperature
    pressure: PressureLevel = "medium"
    dwell: Duration
    series: Annotated[tuple[GaugeSeries, ...], Meta(min_length=1, max_length=6)]


class CalibrationRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Readings of gauges in pressings of one press and cover sheet.

    Without `press`, the bench's is used. `id`, of up to 46 characters, and `date` name the records that come of them.
    `film` is the film whose windows are compared; without it, that of the pressings or the book's first.
    """

    id: Identifier = "calibration"
    date: Annotated[Day, Meta(description="The day on which it was pressed.")]
    press: Identifier | None = None
    cover: Annotated[Identifier | None, Meta(description="A cover sheet of the book, or null for none.")]
    pressings: Annotated[tuple[CalibrationPressing, ...], Meta(min_length=1, max_length=8)]
    film: Identifier | None = None
    units: Units = "metric"


class Interval(Struct, frozen=True, kw_only=True):
    """A quantity as it is known: the middle of a 95 % interval, and its ends."""

    value: float
    low: float
    high: float


class CalibratedQuantity(Struct, frozen=True, kw_only=True):
    """A contact of the stacks, at its record's reference pressure, or the platen: as the book has it, and as read."""

    kind: Literal["contact", "platen"]
    record: Annotated[Identifier, Meta(description="The id of the contact, or of the press.")]
    unit: Literal["W/m2K", "K"]
    before: Interval
    after: Interval
    sentence: Sentence


class ReadingAgreement(Struct, frozen=True, kw_only=True):
    """A reading that does not go with the others: `reading` is a JSON Pointer to it.

    `chance` is how likely one of all readings is so far off what the others say: less than one in a thousand.
    """

    reading: str
    chance: Chance
    sentence: Sentence


class Agreement(Struct, frozen=True, kw_only=True):
    """How well the readings go with one another and with the book.

    `chi_square` is their distance from what the book expects of them, on as many degrees as there are `readings` of
    thermocouples; `chance` is the probability of one as large. Readings that do not agree come of a mistake: no records
    are made of them.
    """

    agrees: bool
    chi_square: float
    readings: int
    chance: Chance
    named: tuple[ReadingAgreement, ...]
    sentence: Sentence


class WindowChange(Struct, frozen=True, kw_only=True):
    """A window before and after the readings, nominal and at the worst case, at the film's published temperature."""

    shoe: Identifier
    panel: Identifier
    film: Identifier
    cover: Identifier
    temperature_c: float
    before: Band
    worst_case_before: Band
    after: Band
    worst_case_after: Band


class NextReading(Struct, frozen=True, kw_only=True):
    """A reading that would tell more: where, with what and when, in which pressing, and by how much.

    `spread_before` is by how much the dwell that surely bonds is longer than the one expected to, as a share of it, in
    the mean of the windows compared; `spread_after` is that after the reading, whatever it reads.
    """

    pressing: Annotated[int, Meta(description="The index in the request of a pressing to repeat.")]
    above: Name
    kind: GaugeKind
    at_s: float
    spread_before: float
    spread_after: float
    sentence: Sentence


class BookFile(Struct, frozen=True, kw_only=True):
    """A file of a shop's own book: its path in the book's folder, and its text."""

    path: str
    text: str


class Calibration(Struct, frozen=True, kw_only=True):
    """What readings tell of a press and cover sheet.

    `records` are the contacts and the platen as files that go into a book, `observations` the readings themselves, of
    which nothing is lost: take one of the two, not both, or the readings count twice. Both are empty where the readings
    do not agree. `quantities` and `records` are what these readings tell beside the book's own values.
    """

    press: Identifier
    cover: Identifier | None
    agreement: Agreement
    quantities: tuple[CalibratedQuantity, ...]
    records: tuple[BookFile, ...]
    observations: tuple[BookFile, ...]
    windows: tuple[WindowChange, ...]
    windows_left_out: Annotated[int, Meta(description="The windows of other uppers that were not compared.")]
    next: Annotated[tuple[NextReading, ...], Meta(description="The most useful first, at most three.")]
    cautions: tuple[Caution, ...]


class CalibrationAnswer(Struct, frozen=True, kw_only=True):
    """The answer to a `CalibrationRequest`."""

    calibration: Calibration
    book: Revision
    book_until: BookUntil = None
    engine: Engine
