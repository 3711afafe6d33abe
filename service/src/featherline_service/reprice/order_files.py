"""Files of orders: lines of JSON as bulk takes them, or Parquet with a column of requests; read a part at a time."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import msgspec

from featherline_service.web.http.lines import Line, LineSplitter

SUFFIXES: Final = (".jsonl", ".ndjson", ".parquet")
_PART_BYTES: Final = 1_048_576
_ROWS: Final = 1_000
_encode: Final = msgspec.json.Encoder().encode


class OrderFileError(Exception):
    """A file of orders cannot be used; the message says why and what to do."""


def is_parquet(path: Path) -> bool:
    """Return whether a file is of Parquet, by its name.

    Raises:
        OrderFileError: It is of neither kind.
    """
    if path.suffix not in SUFFIXES:
        raise OrderFileError(f"{path} is neither JSON lines nor Parquet by its name; it must end in {_named(SUFFIXES)}")
    return path.suffix == ".parquet"


def count(path: Path) -> int:
    """Return the number of lines or rows of a file, empty ones included.

    Raises:
        OrderFileError: It is of neither kind, or no Parquet after all.
        OSError: It cannot be read.
    """
    if is_parquet(path):
        with _opened(path) as file:
            return int(file.metadata.num_rows)
    with path.open("rb") as file:
        parts = iter(lambda: file.read(_PART_BYTES), b"")
        return sum(part.count(b"\n") for part in parts)


def read(path: Path, longest: int) -> Iterator[Line]:
    """Yield the lines of a file, each with its number from 1; those of more than `longest` bytes have no text.

    A row of Parquet becomes the line that bulk would take: its `request` as it is, and its `id`, if it has one. Where
    the request is no JSON text, the line is none either.

    Raises:
        OrderFileError: It is of neither kind, or Parquet without the columns.
        OSError: It cannot be read.
    """
    return _read_rows(path, longest) if is_parquet(path) else _read_lines(path, longest)


def _read_lines(path: Path, longest: int) -> Iterator[Line]:
    lines = LineSplitter(longest)
    with path.open("rb") as file:
        while part := file.read(_PART_BYTES):
            yield from lines.feed(part)
    yield from lines.end()


def _read_rows(path: Path, longest: int) -> Iterator[Line]:
    number = 0
    with _opened(path) as file:
        columns = _columns(path, file.schema_arrow)
        for batch in file.iter_batches(_ROWS, columns=columns):
            requests = batch.column("request").to_pylist()
            ids = batch.column("id").to_pylist() if "id" in columns else [None] * len(requests)
            for request, id_ in zip(requests, ids, strict=True):
                number += 1
                text = b'{"id":%b,"request":%b}' % (_encode(id_), (request or "null").encode())
                yield Line(number, text if len(text) <= longest else None)


def _columns(path: Path, schema: Any) -> list[str]:  # noqa: ANN401 - the library has no types
    """Return the columns to read."""
    import pyarrow as pa  # noqa: PLC0415 - an extra

    named = {field.name: field.type for field in schema}
    columns = [name for name in ("request", "id") if name in named]
    texts = {pa.string(), pa.large_string(), pa.string_view()}
    if "request" not in columns or any(named[name] not in texts for name in columns):
        found = ", ".join(f"{name} ({type_})" for name, type_ in named.items())
        raise OrderFileError(
            f"{path} needs a column `request` of strings, each the JSON text of an order, and may have a column `id` "
            f"of strings; it has: {found}"
        )
    return columns


def _opened(path: Path) -> Any:  # noqa: ANN401 - the library has no types
    import pyarrow as pa  # noqa: PLC0415 - an extra
    from pyarrow import parquet  # noqa: PLC0415 - the same

    try:
        return parquet.ParquetFile(path, buffer_size=_PART_BYTES)
    except pa.ArrowInvalid as error:
        raise OrderFileError(f"{path} is no Parquet, or broken: {error}") from error


def _named(suffixes: tuple[str, ...]) -> str:
    return f"{', '.join(suffixes[:-1])} or {suffixes[-1]}"
