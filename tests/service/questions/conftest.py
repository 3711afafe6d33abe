"""What the tests of all questions start from."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book

sys.path.insert(0, str(Path(__file__).parent))  # the modules beside this one are no package


@pytest.fixture(scope="session")
def book() -> Book:
    """The demo book."""
    return load()
