"""What the log looks like."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Iterator
from typing import Any, BinaryIO, cast

from featherline_service.runtime.logs import Lines, lines_dropped

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
    """The exception has its type and frames, and neither local variables nor its text, which may name a customer."""
    failed = next(line for line in lines("info") if line["event"] == "request.failed")

    (exception,) = failed["exception"]
    assert ("LookupError", "(withheld)") == (exception["exc_type"], exception["exc_value"])
    assert ["<module>", "press"] == [frame["name"] for frame in exception["frames"]]
    assert "MARLOW" not in json.dumps(failed)


def test_the_level_is_a_threshold() -> None:
    """What is below the level is not written."""
    assert ["request.failed"] == [line["event"] for line in lines("error")]


def dropped() -> float:
    """Return how many lines were dropped so far."""
    (family,) = lines_dropped.collect()
    return sum(each.value for each in family.samples)


@contextlib.contextmanager
def piped(*, blocking: bool) -> Iterator[tuple[BinaryIO, Lines]]:
    """Yield the end of a pipe that is read, and the lines that are written into the other."""
    reading, writing = os.pipe()
    os.set_blocking(writing, blocking)
    with open(reading, "rb", buffering=0) as reader, open(writing, "wb", buffering=0):  # noqa: PTH123 - descriptors
        lines = Lines(writing)
        yield cast("BinaryIO", reader), lines
        lines.close()


def waiting(reader: BinaryIO) -> int:
    """Return how many bytes of a pipe nobody has read."""
    (count,) = struct.unpack("i", fcntl.ioctl(reader, termios.FIONREAD, bytes(4)))
    return int(count)


def read_until(reader: BinaryIO, end: bytes) -> bytes:
    """Return what is read up to an end."""
    text = b""
    while not text.endswith(end):
        text += reader.read(65_536)
    return text


def test_a_pipe_that_nobody_reads_holds_up_nobody() -> None:
    """What is too much to wait is dropped and counted, and told of when somebody reads, after what came before."""
    before = dropped()
    first = b"x" * 70_000 + b"\n"  # a pipe has 65,536 bytes (pipe(7)): whoever writes more waits for the reader
    with piped(blocking=True) as (reader, lines):
        lines.write(first)
        while waiting(reader) < 65_536:
            time.sleep(0.01)
        logging = threading.Thread(target=lambda: [lines.write(b"%09d\n" % k) for k in range(200_000)], daemon=True)
        logging.start()
        logging.join(60)
        stuck = logging.is_alive()
        lost = dropped() - before
        text = read_until(reader, b"}\n")
        lines.write(b"seen\n")
        assert b"seen\n" == read_until(reader, b"seen\n")

    assert not stuck
    *written, told = text.removeprefix(first).splitlines()
    assert lost > 0
    assert [b"%09d" % k for k in range(len(written))] == written
    assert 200_000 == len(written) + lost
    assert {"event": "log.dropped", "level": "error", "lines": lost} == {
        name: value for name, value in json.loads(told).items() if name != "timestamp"
    }


def test_lines_that_cannot_be_written_are_counted_and_told() -> None:
    """A full pipe that takes no more drops lines; when it takes them again, a line says how many were lost."""
    before = dropped()
    with piped(blocking=False) as (reader, lines):
        lines.write(b"x" * 65_535 + b"\n")  # a pipe has 65,536 bytes (pipe(7))
        lines.write(b"never seen\n")
        lines.write(b"nor this\n")
        while dropped() < before + 2:
            time.sleep(0.01)
        full = reader.read(1_000_000)
        lines.write(b"seen\n")
        told, seen = read_until(reader, b"seen\n").splitlines()

    assert b"x" * 65_535 + b"\n" == full
    assert ("log.dropped", "error", 2, b"seen") == (*(json.loads(told)[k] for k in ("event", "level", "lines")), seen)


def test_a_line_that_was_torn_does_not_spoil_the_next() -> None:
    """After a part of a line, the next one starts on a line of its own."""
    before = dropped()
    with piped(blocking=False) as (reader, lines):
        lines.write(b"x" * 1_000_000)
        while dropped() < before + 1:
            time.sleep(0.01)
        torn = reader.read(1_000_000)
        lines.write(b"whole\n")
        after = read_until(reader, b"whole\n")

    assert 0 < len(torn) < 1_000_000
    assert [b"", b"whole"] == [after.splitlines()[0], after.splitlines()[-1]]
    assert 1 == json.loads(after.splitlines()[1])["lines"]
