"""What the log looks like."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import Any

from featherline_service.runtime.logs import Lines

PROGRAM = """
import logging, warnings
import structlog
from featherline_service.runtime.logs import configure, request_ids
configure("{level}")
log = structlog.stdlib.get_logger()
request_ids.set({{"request_id": "tide-7"}})
log.debug("tide.low")
log.info("tide.high", metres=4.2, pair=("left", "right"), where=complex(1, 2))
def press(body):
    raise LookupError("no such film")
try:
    press("MARLOW")
except LookupError as error:
    log.error("request.failed", exc_info=error)
logging.getLogger("library").info("hello")
logging.getLogger("library").warning("mind the %s", "gap")
warnings.warn("divide by zero", RuntimeWarning)
"""


def lines(level: str) -> list[dict[str, Any]]:
    """Return what a program logs at a level, each line read as JSON."""
    done = subprocess.run(
        [sys.executable, "-W", "default", "-c", PROGRAM.format(level=level)], capture_output=True, text=True, check=True
    )
    assert done.stdout == ""
    return [json.loads(line) for line in done.stderr.splitlines()]


def test_every_line_is_an_object_with_a_constant_event() -> None:
    """Our events, libraries' words and warnings are JSON lines with time and level."""
    logged = lines("debug")

    assert ["tide.low", "tide.high", "request.failed", "library.said", "library.said"] == [
        line["event"] for line in logged
    ]
    assert ["debug", "info", "error", "warning", "warning"] == [line["level"] for line in logged]
    assert all(line["timestamp"].endswith("Z") for line in logged)
    assert {"tide-7"} == {line["request_id"] for line in logged}
    assert (4.2, ["left", "right"], "(1+2j)") == (logged[1]["metres"], logged[1]["pair"], logged[1]["where"])
    assert ("library", "mind the gap") == (logged[3]["library"], logged[3]["message"])
    assert "divide by zero" in logged[4]["message"]


def test_a_traceback_shows_where_and_nothing_that_was_sent() -> None:
    """The exception has its type, words and frames, and no local variables."""
    failed = next(line for line in lines("info") if line["event"] == "request.failed")

    (exception,) = failed["exception"]
    assert ("LookupError", "no such film") == (exception["exc_type"], exception["exc_value"])
    assert ["<module>", "press"] == [frame["name"] for frame in exception["frames"]]
    assert "MARLOW" not in json.dumps(failed)


def test_the_level_is_a_threshold() -> None:
    """What is below the level is not written."""
    assert ["request.failed"] == [line["event"] for line in lines("error")]


def test_lines_that_cannot_be_written_are_counted_and_told() -> None:
    """A full pipe drops lines and raises nothing; the next line that fits says how many were lost."""
    reading, writing = os.pipe()
    with open(reading, "rb", buffering=0) as reader, open(writing, "wb", buffering=0):  # noqa: PTH123 - descriptors
        os.set_blocking(writing, False)
        lines = Lines(writing)
        written = 0
        while not lines.dropped:
            lines.write(b"tide\n" * 100)
            written += 1
        lines.write(b"never seen\n")
        full = reader.read(1_000_000)
        lines.write(b"seen\n")
        after = reader.read(1_000_000)

    assert full.removesuffix(b"\n").split(b"\n")[0] == b"tide"
    assert b"never seen" not in full + after
    dropped, seen = after.strip().splitlines()
    assert ("log.dropped", "error", 2, b"seen") == (
        *(json.loads(dropped)[k] for k in ("event", "level", "lines")),
        seen,
    )
    assert lines.dropped == 0


def test_a_line_that_was_torn_does_not_spoil_the_next() -> None:
    """After a part of a line, the next one starts on a line of its own."""
    reading, writing = os.pipe()
    with open(reading, "rb", buffering=0) as reader, open(writing, "wb", buffering=0):  # noqa: PTH123 - descriptors
        os.set_blocking(writing, False)
        lines = Lines(writing)
        lines.write(b"x" * 1_000_000)
        torn = reader.read(1_000_000)
        lines.write(b"whole\n")
        after = reader.read(1_000_000)

    assert 0 < len(torn) < 1_000_000
    assert [b"", b"whole"] == [after.splitlines()[0], after.splitlines()[-1]]
