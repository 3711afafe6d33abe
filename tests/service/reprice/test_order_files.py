"""Files of orders: the lines of JSON as they are, and those that rows of Parquet become."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import msgspec
import pyarrow as pa
import pytest
from pyarrow import parquet

from featherline_service.reprice import order_files
from featherline_service.reprice.order_files import OrderFileError, count, is_parquet, read
from featherline_service.web.http.lines import Line


def table(path: Path, columns: Mapping[str, Sequence[object]], types: Mapping[str, pa.DataType] | None = None) -> Path:
    """Write a Parquet file."""
    arrays = {name: pa.array(values, (types or {}).get(name)) for name, values in columns.items()}
    parquet.write_table(pa.table(arrays), path, row_group_size=2)
    return path


def test_lines_are_numbered_and_empty_ones_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Empty lines count, ends of any kind and a last line without an end are read; the parts of a file do not show."""
    file = tmp_path / "orders.jsonl"
    file.write_bytes(b'{"a":1}\n\n{"b":2}\r\n0123456789\nlast')
    for part in (1, 7, 1_000):
        monkeypatch.setattr(order_files, "_PART_BYTES", part)

        assert [Line(1, b'{"a":1}'), Line(3, b'{"b":2}'), Line(4, None), Line(5, b"last")] == list(read(file, 9))
        assert 4 == count(file)


def test_rows_become_lines(tmp_path: Path) -> None:
    """A row has its request as it is written, its id if it has one, and its number."""
    requests, ids = ['{"pairs": 2}', "{}", None, "no JSON"], ["a", None, 'b"', "d"]
    file = table(tmp_path / "orders.parquet", {"id": ids, "price": [1, 2, 3, 4], "request": requests})

    lines = list(read(file, 40))
    assert [1, 2, 3, 4] == [line.number for line in lines]
    assert [
        b'{"id":"a","request":{"pairs": 2}}',
        b'{"id":null,"request":{}}',
        b'{"id":"b\\"","request":null}',
        b'{"id":"d","request":no JSON}',
    ] == [line.text for line in lines]
    assert 4 == count(file)
    assert [None] == [line.text for line in list(read(file, 32))[:1]]


@pytest.mark.parametrize("type_", [pa.string(), pa.large_string(), pa.string_view()])
def test_texts_of_any_kind_are_read_and_ids_may_be_missing(tmp_path: Path, type_: pa.DataType) -> None:
    """The column of ids is not needed."""
    file = table(tmp_path / "orders.parquet", {"request": ["{}"]}, {"request": type_})

    assert [Line(1, b'{"id":null,"request":{}}')] == list(read(file, 100))


def test_no_request_can_leave_its_line(tmp_path: Path) -> None:
    """A request that closes its object and goes on makes no valid line, or one with a name twice."""
    wild = ['{},"id":"other"', '{},"request":{}', "{}}", '{}}\n{"request":{}', ""]
    for line in read(table(tmp_path / "orders.parquet", {"request": wild}), 100):
        assert line.text is not None
        assert line.text.count(b'"id":') + line.text.count(b'"request":') > 2 or refused(line.text)


def refused(text: bytes) -> bool:
    """Return whether a line is no JSON text, or its request no object."""
    try:
        return not isinstance(msgspec.json.decode(text)["request"], dict)
    except msgspec.DecodeError:
        return True


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"order": ["{}"]}, r"needs a column `request` of strings.*it has: order \(string\)"),
        ({"request": [1]}, r"it has: request \(int64\)"),
        ({"request": ["{}"], "id": [1]}, r"it has: request \(string\), id \(int64\)"),
    ],
)
def test_other_columns_are_refused(tmp_path: Path, columns: Mapping[str, Sequence[object]], words: str) -> None:
    """The message says what is needed, and what there is."""
    with pytest.raises(OrderFileError, match=words):
        list(read(table(tmp_path / "orders.parquet", columns), 100))


def test_what_is_no_parquet_is_told(tmp_path: Path) -> None:
    """A file that has only the name of Parquet is refused by name."""
    file = tmp_path / "orders.parquet"
    file.write_bytes(b"{}")

    with pytest.raises(OrderFileError, match=r"orders\.parquet is no Parquet, or broken"):
        count(file)


def test_the_kind_of_a_file_is_told_by_its_name() -> None:
    """Other names are refused, with those that are taken."""
    assert [False, False, True] == [is_parquet(Path(f"orders{suffix}")) for suffix in order_files.SUFFIXES]
    with pytest.raises(OrderFileError, match=r"orders\.csv .* must end in \.jsonl, \.ndjson or \.parquet"):
        is_parquet(Path("orders.csv"))
