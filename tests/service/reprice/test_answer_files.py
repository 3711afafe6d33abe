"""Files of answers: named by what they depend on, and there whole or not at all."""

from __future__ import annotations

import io
import os
import stat
from pathlib import Path

import msgspec
import pytest
from pyarrow import parquet

from featherline.wire.bulk import BulkAnswer, NotAnswered, QuoteAnswered
from featherline_service.book.shop_book import Book
from featherline_service.reprice import answers
from featherline_service.reprice.answer_files import compress, decompress, encode, name, write
from featherline_service.reprice.answers import LineAnswer
from featherline_service.reprice.blocks import Block
from featherline_service.web.http.lines import Line

BLOCK = Block((Line(1_001, b"{}"),))
BOOK = "sha256:" + "0123456789abcdef" * 4


def test_another_book_engine_format_or_block_has_another_name() -> None:
    """The name tells all that the content depends on; names are in the order of the lines."""
    names = [
        name(BLOCK, BOOK, "0.1.0", "jsonl"),
        name(BLOCK, "sha256:f" + BOOK[8:], "0.1.0", "jsonl"),
        name(BLOCK, BOOK, "0.1.1", "jsonl"),
        name(BLOCK, BOOK, "0.1.0", "parquet"),
        name(Block((Line(1_001, b"[]"),)), BOOK, "0.1.0", "jsonl"),
        name(Block((Line(20_001, b"{}"),)), BOOK, "0.1.0", "jsonl"),
    ]

    assert len(names) == len(set(names))
    assert f"0123456789abcdef-0.1.0-000000001001-{BLOCK.digest[:32]}.jsonl" == names[0]
    assert names[0] < names[5]


def test_lines_of_json_are_those_that_bulk_writes(book: Book, request_text: bytes) -> None:
    """The SDK's types of bulk read them, answers and problems."""
    texts = [b'{"id":"a","request":%b}' % request_text, b"{}"]
    content = encode(answers.answer(book, [Line(7, texts[0]), Line(9, texts[1])], "reprice-0", 4_096), "jsonl")
    first, second = (msgspec.json.decode(line, type=BulkAnswer) for line in content.splitlines())

    assert isinstance(first, QuoteAnswered)
    assert (7, "a", None) == (first.line, first.id, first.answer.seal)
    assert isinstance(second, NotAnswered)
    assert (9, None, 422) == (second.line, second.id, second.status)
    assert content.endswith(b"}\n")


def test_rows_of_parquet_have_the_same_bytes() -> None:
    """A row has an answer or a problem, each the JSON text as it is; the same answers are the same file."""
    rows = [LineAnswer(7, "a", 200, b'{"verdict":"ready"}'), LineAnswer(9, None, 422, b'{"title":"\xc3\xa9"}')]
    content = encode(rows, "parquet")

    assert [
        {"line": 7, "id": "a", "status": 200, "answer": '{"verdict":"ready"}', "problem": None},
        {"line": 9, "id": None, "status": 422, "answer": None, "problem": '{"title":"é"}'},
    ] == parquet.read_table(io.BytesIO(content)).to_pylist()
    assert content == encode(rows, "parquet")


def test_the_content_of_a_file_is_the_same_after_its_way() -> None:
    """Its way is short: answers to lines are much alike."""
    content = b'{"kind":"quote"}\n' * 1_000

    assert content == decompress(compress(content))
    assert len(compress(content)) < len(content) // 50


def test_a_file_is_written_whole(tmp_path: Path) -> None:
    """It replaces one of its name, has the rights that new files have, and leaves nothing beside it."""
    file = tmp_path / "answers.jsonl"
    write(file, b"old")
    write(file, b"new")

    assert b"new" == file.read_bytes()
    assert [file] == list(tmp_path.iterdir())
    plain = tmp_path / "plain"
    plain.touch()
    assert stat.S_IMODE(plain.stat().st_mode) == stat.S_IMODE(file.stat().st_mode)


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_file_that_cannot_be_written_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str) -> None:
    """Before it is on the disk it has no name; what was there stays, and no part is left."""
    file = tmp_path / "answers.jsonl"
    write(file, b"old")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*((os, step) if step == "fsync" else (Path, step)), fail)
    with pytest.raises(OSError, match="No space left"):
        write(file, b"new")

    assert b"old" == file.read_bytes()
    assert [file] == list(tmp_path.iterdir())
