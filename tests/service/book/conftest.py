"""Shop books to test with."""

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from featherline_service.book.faults import BookError, BookFault
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book

Shop = Callable[..., Path]


@pytest.fixture(scope="session")
def demo() -> Book:
    """Return the demo book."""
    return load()


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """Return a writer of a shop's own folder: its files, the text of its `book.toml` (null: none), its name."""

    def write(
        files: Mapping[str, str] | None = None, *, preface: str | None = 'mode = "overlay"', name: str = "shop"
    ) -> Path:
        folder = tmp_path / name
        folder.mkdir()
        texts = {**(files or {}), **({} if preface is None else {"book.toml": preface})}
        for path, text in texts.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_text(text, "utf-8")
        return folder

    return write


@pytest.fixture
def faults() -> Callable[..., list[BookFault]]:
    """Return a function that loads folders over the demo book and returns what is wrong."""

    def load_faulty(*folders: Path) -> list[BookFault]:
        with pytest.raises(BookError) as caught:
            load(folders)
        return list(caught.value.faults)

    return load_faulty
