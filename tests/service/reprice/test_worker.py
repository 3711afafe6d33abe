"""Workers: the book of their environment, and no other book or engine than the run's."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest
from msgspec.structs import replace

from featherline.wire import Charge
from featherline_service.book.shop_book import Book
from featherline_service.reprice import answer_files, answers, worker
from featherline_service.reprice.blocks import Block
from featherline_service.reprice.worker import Identity, Priced, Run, SetupError
from featherline_service.runtime import cache, logs
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.http.lines import Line

FLOOR = Charge(amount="31.90", currency="EUR")


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """Let a worker begin anew; yields the log levels that it sets."""
    levels: list[str] = []
    limit = cache.limit()
    monkeypatch.setattr(logs, "configure", levels.append)
    monkeypatch.setenv("FEATHERLINE_LOG_LEVEL", "error")
    monkeypatch.setenv("FEATHERLINE_CACHE", "1000000")
    worker._books.cache_clear()
    yield levels
    worker._books.cache_clear()
    cache.set_limit(limit)


def test_the_settings_of_its_environment_are_used_once(started: list[str], book: Book) -> None:
    """Book, cache and log are set up when the first block comes."""
    assert [(Identity(book.revision, ENGINE),)] * 2 == [worker.identities(), worker.identities()]
    assert ["error"] == started
    assert 1_000_000 == cache.limit()


def test_a_block_is_answered_as_its_lines_are(
    started: list[str], book: Book, request_text: bytes, tmp_path: Path
) -> None:
    """Problems are counted, and the content is that of the file, which is written where the run has a folder."""
    assert not started
    block = Block((Line(1, b'{"request":%b}' % request_text), Line(2, b"{}"), Line(3, None)))
    run = Run(worker.identity_of(book), 77, "jsonl")
    expected = answers.answer(book, block.lines, f"reprice-{block.digest[:16]}", 77)

    content = answer_files.encode(expected, "jsonl")
    assert Priced(2, answer_files.compress(content)) == worker.price(block, run)
    assert b"A line may have 77 bytes" in expected[2].body

    assert Priced(2) == worker.price(block, run._replace(folder=tmp_path))
    assert {run.file_of(block): content} == {file.name: file.read_bytes() for file in tmp_path.iterdir()}


def test_a_block_is_priced_by_the_revision_of_its_run(
    monkeypatch: pytest.MonkeyPatch, book: Book, request_text: bytes
) -> None:
    """Of the books that a worker has, the one of the run answers, and its answers say until when it is in force."""
    change = datetime(2027, 1, 1, tzinfo=UTC)
    policies = {id_: replace(policy, floor_per_pair=FLOOR) for id_, policy in book.policies.items()}
    books = (replace(book, until=change), replace(book, revision=f"sha256:{1:064x}", since=change, policies=policies))
    monkeypatch.setattr(worker, "_books", lambda: books)
    block = Block((Line(1, b'{"request":%b}' % request_text),))
    answered = []
    for each in books:
        priced = worker.price(block, Run(worker.identity_of(each), 10_000, "jsonl"))
        assert priced.compressed is not None
        answered.append(msgspec.json.decode(answer_files.decompress(priced.compressed))["answer"])

    assert [("9.90", book.revision, "2027-01-01T00:00:00Z"), ("31.90", books[1].revision, None)] == [
        (answer["price"]["total"]["amount"], answer["book"], answer["book_until"]) for answer in answered
    ]
    names = {Run(worker.identity_of(each), 77, "jsonl").file_of(block) for each in (*books, book)}
    assert 3 == len(names)
    with pytest.raises(SetupError, match=rf"has the book {book.revision} until 2027-01-01T00:00:00Z or sha256:0+1 and"):
        worker.price(block, Run(worker.identity_of(book), 77, "jsonl"))


@pytest.mark.parametrize(("book_", "engine"), [("sha256:0", ENGINE), (None, "9.9.9")])
def test_another_book_or_engine_is_refused(
    monkeypatch: pytest.MonkeyPatch, book: Book, book_: str | None, engine: str
) -> None:
    """The message has both, and says what to do; it comes through a pickle, as from another machine."""
    monkeypatch.setattr(worker, "_books", lambda: (book,))
    run = Run(Identity(book_ or book.revision, engine), 100, "jsonl")
    words = rf"The worker on .* has the book {book.revision} and the engine {ENGINE}; this command has .*{engine}"
    with pytest.raises(SetupError, match=words) as caught:
        worker.price(Block((Line(1, b"{}"),)), run)

    assert str(caught.value) == str(pickle.loads(pickle.dumps(caught.value)))  # noqa: S301


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("FEATHERLINE_CACHE", "much", "FEATHERLINE_CACHE is 'much'"),
        ("FEATHERLINE_PLUGINS", "saltmarsh-none", "saltmarsh-none"),
        ("FEATHERLINE_BOOK", ".", "book.toml"),
    ],
)
def test_an_unusable_environment_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str, value: str, words: str
) -> None:
    """The message is the one with which the service would not start."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv(name, value)
    with pytest.raises(SetupError, match=words):
        worker.load_shop()
