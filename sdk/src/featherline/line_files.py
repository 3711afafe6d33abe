"""Files of lines through bulk: each line is sent as it stands, and its answer bears its number in the file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO, Final, NamedTuple

import msgspec
from msgspec import Raw

from featherline._bulk import Envelope, Format
from featherline._client import Client
from featherline.progress import Progress

_BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"
_AT_ONCE: Final = 1000

_encode: Final = msgspec.json.Encoder().encode


class FileLine(NamedTuple):
    """A line of a file: its number from 1, its text, and where it ends in the file [bytes]."""

    number: int
    text: bytes
    end: int


class Answered(NamedTuple):
    """What came of a line: the line to write, where its question ends in the file, and whether it has an answer."""

    text: bytes
    end: int
    right: bool


def read_lines(file: BinaryIO) -> Iterator[FileLine]:
    """Yield the lines of a file that are not blank, without line ends and without a byte order mark."""
    end = 0
    for number, line in enumerate(file, 1):
        end += len(line)
        if text := (line.removeprefix(_BYTE_ORDER_MARK) if number == 1 else line).strip():
            yield FileLine(number, text, end)


def answer_lines(
    client: Client, lines: Iterable[FileLine], out: BinaryIO, progress: Progress, timeout: float | None
) -> tuple[int, int]:
    """Write the answer to each line; return how many lines there were, and how many of them have no answer.

    Raises:
        FeatherlineError: There are no more answers; the class says why.
    """
    count = wrong = 0
    for answered in client._exchange(lines, _FORMAT, _AT_ONCE, timeout):  # noqa: SLF001 - of this package
        out.write(answered.text)
        count += 1
        wrong += not answered.right
        progress.tell(count, answered.end)
    return count, wrong


def _line(line: FileLine) -> bytes:
    return line.text + b"\n"


def _answered(_place: int, line: FileLine, envelope: Envelope) -> Answered:
    head: dict[str, Any] = {
        "kind": envelope.kind,
        "line": line.number,
        "id": envelope.id,
        "status": envelope.status,
    }
    right = envelope.problem is None
    body: dict[str, Raw | Any] = {"answer": envelope.answer} if right else {"problem": envelope.problem}
    return Answered(_encode({**head, **body}) + b"\n", line.end, right)


_FORMAT: Final[Format[Answered]] = Format(encode=_line, read=_answered)
