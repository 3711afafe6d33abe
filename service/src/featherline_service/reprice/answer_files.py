"""Files of answers: one for each block, complete or not there; and the index of those that answer a file of orders.

A file is written under a temporary name, brought to the disk, and renamed. So whatever stops a run, what has the name
of a block is the whole of its answers, and the next run goes on with the blocks that have none.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from secrets import token_hex
from typing import Final, Literal

import msgspec
from msgspec import Struct

from featherline_service.reprice.answers import LineAnswer
from featherline_service.reprice.blocks import Block

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

Format = Literal["jsonl", "parquet"]
INDEX: Final = "index.json"
_BOOK_DIGITS: Final = 16
_BLOCK_DIGITS: Final = 32
_encode: Final = msgspec.json.Encoder().encode


class Index(Struct, frozen=True, kw_only=True):
    """The files that answer a file of orders, in the order of its lines."""

    orders: str
    book: str
    engine: str
    lines: int
    files: Sequence[str]


def name(block: Block, book: str, engine: str, format_: Format, until: datetime | None = None) -> str:
    """Return the name of a block's file: by book and engine, the first line's number, and the digest of the lines.

    `until` is until when the book is in force, which its answers tell.
    In the order of their names, files of one book and engine are in the order of the lines.
    """
    revision = book.removeprefix("sha256:")[:_BOOK_DIGITS]
    end = "" if until is None else f"-{until:%Y%m%dT%H%M%SZ}"
    return f"{revision}{end}-{engine}-{block.first:012d}-{block.digest[:_BLOCK_DIGITS]}.{format_}"


def encode(answers: Sequence[LineAnswer], format_: Format) -> bytes:
    """Return answers as the content of a file."""
    return b"".join(map(_line, answers)) if format_ == "jsonl" else _rows(answers)


def compress(content: bytes) -> bytes:
    """Return the content of a file for its way from a worker.

    Lines of JSON, 9 MB a block, take a fiftieth so, in 5 ms; without it their way costs the command 60 ms, not 15.
    """
    return zstd.compress(content)


def decompress(compressed: bytes) -> bytes:
    """Return the content of a file as it is written."""
    return zstd.decompress(compressed)


def _line(answer: LineAnswer) -> bytes:
    """Return an answer as the line that bulk writes."""
    kind, field = (b"problem", b"problem") if answer.is_problem else (b"quote", b"answer")
    id_ = _encode(answer.id)
    return b'{"kind":"%b","line":%d,"id":%b,"status":%d,"%b":%b}\n' % (
        kind, answer.number, id_, answer.status, field, answer.body,
    )  # fmt: skip


def _rows(answers: Sequence[LineAnswer]) -> bytes:
    import pyarrow as pa  # noqa: PLC0415 - an extra
    from pyarrow import parquet  # noqa: PLC0415 - the same

    columns = {
        "line": pa.array([answer.number for answer in answers], pa.int64()),
        "id": pa.array([answer.id for answer in answers], pa.string()),
        "status": pa.array([answer.status for answer in answers], pa.int16()),
        "answer": pa.array([None if each.is_problem else each.body for each in answers], pa.string()),
        "problem": pa.array([each.body if each.is_problem else None for each in answers], pa.string()),
    }
    content = io.BytesIO()
    parquet.write_table(pa.table(columns), content, compression="zstd")
    return content.getvalue()


def write(file: Path, content: bytes) -> None:
    """Write a file so that it is there whole or not at all, also after a loss of power.

    Raises:
        OSError: It cannot be written.
    """
    part = file.with_name(f".{file.name}.{token_hex(8)}.part")
    try:
        with part.open("xb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        part.replace(file)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    _sync_folder(file.parent)


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
