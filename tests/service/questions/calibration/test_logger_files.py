"""Files of temperature loggers."""

from __future__ import annotations

from itertools import pairwise

import pytest
from msgspec.structs import replace

from featherline.wire.calibrations import LoggerFile
from featherline_service.questions.calibration.logger_files import TimedReading, read_file
from featherline_service.questions.checks import Checks

PLAIN = LoggerFile(text="t,T\n3,100\n4.5,110.5\n", time="t", temperature="T")


def read(file: LoggerFile, dwell_s: float = 30.0) -> tuple[TimedReading, ...]:
    """Return the readings of a file that has no faults."""
    checks = Checks()
    found = read_file(file, dwell_s, checks)
    assert () == checks.faults
    return found


def faults(file: LoggerFile) -> list[str]:
    """Return the faults of a file, all at its text."""
    checks = Checks()
    read_file(file, 30.0, checks)
    assert {"/text"} == {fault.pointer for fault in checks.faults}
    return [fault.detail for fault in checks.faults]


def test_a_plain_file() -> None:
    """Seconds and degrees Celsius, each reading with its line."""
    assert (TimedReading(3.0, 100.0, 2), TimedReading(4.5, 110.5, 3)) == read(PLAIN)


@pytest.mark.parametrize(
    "file",
    [
        LoggerFile(text="Logger 2\n\nn;t [s];T [C]\n1;3,0;100,0\n2;4,5;110,5", time="t [s]", temperature="T [C]"),
        LoggerFile(
            text="\ufeffT\tt\r\n212\t0.05\r\n\r\n230,9\t0.075",
            time="t",
            time_unit="min",
            temperature="T",
            temperature_unit="degF",
        ),
        replace(PLAIN, text="t,T\n13,100\n14.5,110.5\n", closed_at="10 s"),
        replace(PLAIN, text='"t","T"\n"1.9","90"\n"3","100"\n"4.5","110.5"\n"30.1","140"\n'),
    ],
    ids=["semicolons and commas", "tabs, minutes and Fahrenheit", "another zero", "too early and too late"],
)
def test_files_as_loggers_write_them(file: LoggerFile) -> None:
    """Whatever divides columns and decimals, and before and after the pressing, the readings are the same."""
    assert [(3.0, 100.0), (4.5, 110.5)] == [
        (pytest.approx(reading.at_s), pytest.approx(reading.value_c)) for reading in read(file)
    ]


def test_of_many_readings_some_are_taken() -> None:
    """Twenty, evenly by the root of time, the first and the last among them."""
    text = "t,T\n" + "".join(f"{at / 10},{at}\n" for at in range(20, 401))
    found = read(replace(PLAIN, text=text), 40.0)
    assert (20, 2.0, 40.0) == (len(found), found[0].at_s, found[-1].at_s)
    roots = [reading.at_s**0.5 for reading in found]
    steps = [after - before for before, after in pairwise(roots)]
    assert max(steps) - min(steps) < 0.02


@pytest.mark.parametrize(
    ("text", "details"),
    [
        ("a,b\n1,2", ["No line names the columns 't' and 'T'"]),
        ("t,T\n3,hot\n4\n5,120", ["Line 2: 'hot degC' is not", "Line 3: it has 1 columns"]),
        ("t,T\n90,120", ["It has no reading between 2 s and 30 s after the press closed"]),
        ("t,T\n" + "x,y\n" * 40, ["Line"] * 10),
        ("t,T\n" * 5001, ["It has 5,001 lines; give at most 5,000"]),
    ],
)
def test_faults_have_their_lines(text: str, details: list[str]) -> None:
    """At most ten of them are told."""
    told = faults(replace(PLAIN, text=text))
    assert len(details) == len(told)
    assert all(fault.startswith(detail) for fault, detail in zip(told, details, strict=True))
