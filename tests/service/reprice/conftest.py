"""A folder of orders, and a cluster within this process."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from distributed import Client, LocalCluster

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.reprice import worker

EXAMPLES = Path(__file__).parents[3] / "openapi" / "examples"


@pytest.fixture(scope="session")
def book() -> Book:
    """Return the demo book."""
    return load()


@pytest.fixture(scope="session")
def request_text() -> bytes:
    """Return an order that has a price, on one line."""
    return msgspec.json.format((EXAMPLES / "quote-request.json").read_bytes(), indent=-1)


@pytest.fixture
def client(monkeypatch: pytest.MonkeyPatch, book: Book) -> Iterator[Client]:
    """Return a client of a cluster of one worker in a thread of this process, which has the demo book."""
    monkeypatch.setattr(worker, "_books", lambda: (book,))
    with (
        LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address="127.0.0.1:0") as cluster,
        Client(cluster) as client,
    ):
        yield client
