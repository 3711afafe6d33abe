"""Workers: the book of their environment, and no other book or engine than the run's."""

from __future__ import annotations

import pickle
from collections.abc import Iterator
from pathlib import Path

import pytest

from featherline_service.book.shop_book import Book
from featherline_service.reprice import answer_files, answers, worker
from featherline_service.reprice.blocks import Block
from featherline_service.reprice.worker import Identity, Priced, Run, SetupError
from featherline_service.runtime import cache, logs
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.http.lines import Line


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """Let a worker begin anew; yields the log levels that it sets."""
    levels: list[str] = []
    limit = cache.limit()
    monkeypatch.setattr(logs, "configure", levels.append)
    monkeypatch.setenv("FEATHERLINE_LOG_LEVEL", "error")
    monkeypatch.setenv("FEATHERLINE_CACHE", "1000000")
    worker._book.cache_clear()
    yield levels
    worker._book.cache_clear()
    cache.set_limit(limit)


def test_the_settings_of_its_environment_are_used_once(started: list[str], book: Book) -> None:
    """Book, cache and log are set up when the first block comes."""
    assert [Identity(book.revision, ENGINE)] * 2 == [worker.identity(), worker.identity()]
    assert ["error"] == started
    assert 1_000_000 == cache.limit()


def test_a_block_is_answered_as_its_lines_are(started: list[str], book: Book, request_text: bytes) -> None:
    """The content is that of the file, and problems are counted."""
    assert not started
    block = Block((Line(1, b'{"request":%b}' % request_text), Line(2, b"{}"), Line(3, None)))
    run = Run(worker.identity_of(book), 77, "jsonl")
    expected = answers.answer(book, block.lines, f"reprice-{block.digest[:16]}", 77)

    assert Priced(answer_files.encode(expected, "jsonl"), 2) == worker.price(block, run)
    assert b"A line may have 77 bytes" in expected[2].body


@pytest.mark.parametrize(("book_", "engine"), [("sha256:0", ENGINE), (None, "9.9.9")])
def test_another_book_or_engine_is_refused(
    monkeypatch: pytest.MonkeyPatch, book: Book, book_: str | None, engine: str
) -> None:
    """The message has both, and says what to do; it comes through a pickle, as from another machine."""
    monkeypatch.setattr(worker, "_book", lambda: book)
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
