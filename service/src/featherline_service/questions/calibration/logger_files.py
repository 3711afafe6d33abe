"""Files of temperature loggers: CSV with a column of times and one of temperatures."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np

from featherline.wire.calibrations import LoggerFile
from featherline_service.messages.told import measured, told
from featherline_service.quantities import celsius, seconds
from featherline_service.questions.checks import Checks

_DIVIDERS: Final = ("\t", ";", ",")
_MOST_LINES: Final = 5000
_MOST_FAULTS: Final = 10
_TAKEN: Final = 20
"""Readings taken of a file: a thermocouple's own error is common to all, so that more tell hardly more."""
EARLIEST_S: Final = 2.0
"""[s] Before, an interface heats up so fast that the moment of closing decides what is read (from memory)."""


class TimedReading(NamedTuple):
    """A value [degC] at a time [s] from the closing of the press, and the line of the file that it is on."""

    at_s: float
    value_c: float
    line: int


def read_file(file: LoggerFile, dwell_s: float, checks: Checks) -> tuple[TimedReading, ...]:
    """Return the readings of a file that count; note its faults, each with its line.

    Args:
        file: The file.
        dwell_s: The dwell [s] of the pressing.
        checks: Notes faults at the file's place in the request.
    """
    closed_s = 0.0 if file.closed_at is None else seconds(file.closed_at)
    lines = file.text.splitlines()
    if len(lines) > _MOST_LINES:
        checks.note(
            "/text",
            told(
                "logger.too-many-lines",
                "It has {lines:,} lines; give at most {most_lines:,}, those around the pressing",
                lines=len(lines),
                most_lines=_MOST_LINES,
            ),
        )
        return ()
    head = next(_heads(lines, file.time, file.temperature), None)
    if head is None:
        checks.note(
            "/text",
            told(
                "logger.columns-missing",
                "No line names the columns {time!r} and {temperature!r}",
                time=file.time,
                temperature=file.temperature,
            ),
        )
        return ()
    faults = 0
    found = []
    for number, cells in enumerate(csv.reader(lines[head.line :], delimiter=head.divider), start=head.line + 1):
        if not any(cell.strip() for cell in cells):
            continue
        try:
            at_s = seconds(f"{_cell(cells, head.time, head.divider)} {file.time_unit}")
            value_c = celsius(f"{_cell(cells, head.temperature, head.divider)} {file.temperature_unit}")
        except ValueError as error:
            faults += 1
            if faults <= _MOST_FAULTS:
                checks.note(
                    "/text", told("logger.unreadable-line", "Line {number}: {error}", number=number, error=str(error))
                )
            continue
        if EARLIEST_S <= at_s - closed_s <= dwell_s:
            found.append(TimedReading(at_s - closed_s, value_c, number))
    if not found and not faults:
        checks.note(
            "/text",
            told(
                "logger.no-reading",
                "It has no reading between {earliest} and {dwell} after the press closed",
                earliest=measured(EARLIEST_S, "s"),
                dwell=measured(dwell_s, "s"),
            ),
        )
    return _thinned(found)


class _Head(NamedTuple):
    """The number of the line that names the columns, what divides them, and at which places the two are."""

    line: int
    divider: str
    time: int
    temperature: int


def _heads(lines: Sequence[str], time: str, temperature: str) -> Iterator[_Head]:
    for number, line in enumerate(lines, start=1):
        for divider in _DIVIDERS:
            cells = [cell.strip().lstrip("\ufeff") for cell in next(csv.reader([line], delimiter=divider), [])]
            if time in cells and temperature in cells:
                yield _Head(number, divider, cells.index(time), cells.index(temperature))


def _cell(cells: Sequence[str], at: int, divider: str) -> str:
    """Return a number as the wire writes it.

    Raises:
        ValueError: The line ends before it.
    """
    if at >= len(cells):
        raise ValueError(f"it has {len(cells)} columns, and the number is in column {at + 1}")
    text = cells[at].strip()
    return text if divider == "," else text.replace(",", ".")


def _thinned(readings: Sequence[TimedReading]) -> tuple[TimedReading, ...]:
    """Return some of the readings, evenly by the root of time, as heat goes in."""
    ordered = sorted(readings)
    if len(ordered) <= _TAKEN:
        return tuple(ordered)
    roots = np.sqrt([reading.at_s for reading in ordered])
    nearest = np.abs(roots[:, None] - np.linspace(roots[0], roots[-1], _TAKEN)).argmin(axis=0)
    return tuple(ordered[at] for at in dict.fromkeys(nearest.tolist()))
