"""A book for tests of what is around the questions: it has no words of its own, and nothing else."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final, cast

from featherline_service.book.shop_book import Book


class _Bench:
    messages = ()


class _Unread:
    bench = _Bench()
    films = shoes = MappingProxyType({})


UNREAD: Final = cast("Book", _Unread())
