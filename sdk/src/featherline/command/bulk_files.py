"""Files of questions, one a line: each line is sent as it stands, and its answer has its number in the file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO, Final, NamedTuple

import msgspec

from featherline._bulk import Envelope, Format
from featherline._client import Client
from featherline.command.progress import Progress

_BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"
_AT_ONCE: Final = 1000  # lines sent before the first of them is answered

_encode: Final = msgspec.json.Encoder().encode


class QuestionLine(NamedTuple):
    """A line of a file: its number from 1, its content, and its end in the file [bytes]."""

    number: int
    content: bytes
    end: int


class AnswerLine(NamedTuple):
    """A line to write, the end of its question in the file [bytes], and whether it is a problem."""

    content: bytes
    end: int
    is_problem: bool


def read_lines(file: BinaryIO) -> Iterator[QuestionLine]:
    """Yield the lines of a file that are not blank, without line ends and without a byte order mark."""
    end = 0
    for number, line in enumerate(file, 1):
        end += len(line)
        if content := (line.removeprefix(_BYTE_ORDER_MARK) if number == 1 else line).strip():
            yield QuestionLine(number, content, end)


def answer_lines(
    client: Client, lines: Iterable[QuestionLine], out: BinaryIO, progress: Progress, timeout: float | None
) -> tuple[int, int]:
    """Write the answer to each line; return the number of lines, and the number of problems among the answers.

    Raises:
        FeatherlineError: There are no more answers; the class says why.
    """
    count = problems = 0
    for answer in client._exchange(lines, _FORMAT, _AT_ONCE, timeout):  # noqa: SLF001 - of this package
        out.write(answer.content)
        count += 1
        problems += answer.is_problem
        progress.update(count, answer.end)
    return count, problems


def _question(line: QuestionLine) -> bytes:
    return line.content + b"\n"


def _answer(_number: int, line: QuestionLine, envelope: Envelope) -> AnswerLine:
    answer: dict[str, Any] = {
        "kind": envelope.kind,
        "line": line.number,
        "id": envelope.id,
        "status": envelope.status,
    }
    if envelope.problem is None:
        answer["answer"] = envelope.answer
    else:
        answer["problem"] = envelope.problem
    return AnswerLine(_encode(answer) + b"\n", line.end, is_problem=envelope.problem is not None)


_FORMAT: Final[Format[AnswerLine]] = Format(encode=_question, read=_answer)
