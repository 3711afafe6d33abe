"""The workshop of a book: the part of it that recipes depend on, shared by all books that agree in it.

When prices change, recipes stay; computed by the workshop, they stay cached.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from types import MappingProxyType
from typing import Any, Concatenate, Final, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

from msgspec.structs import replace

from featherline_service.book.shop_book import Book

_Parameters = ParamSpec("_Parameters")
_Value = TypeVar("_Value")

_NO_RECORDS: Final = MappingProxyType[str, Any]({})
_workshops: Final = WeakKeyDictionary[Book, Book]()


def workshop(book: Book) -> Book:
    """Return a book without revision, times, rates, policies, offcuts and sources: the same one for all that agree."""
    if not book.revision:
        return book
    known = _workshops.get(book)
    if known is None:
        bare = replace(
            book,
            revision="",
            since=None,
            until=None,
            sources=_NO_RECORDS,
            offcuts=_NO_RECORDS,
            rates=_NO_RECORDS,
            policies=_NO_RECORDS,
        )
        known = _workshops[book] = next((other for other in _workshops.values() if _agree(other, bare)), bare)
    return known


def by_workshop(
    function: Callable[Concatenate[Book, _Parameters], _Value],
) -> Callable[Concatenate[Book, _Parameters], _Value]:
    """Return a function that is called with the workshop of its book."""

    @wraps(function)
    def call(book: Book, /, *args: _Parameters.args, **kwargs: _Parameters.kwargs) -> _Value:
        return function(workshop(book), *args, **kwargs)

    return call


def _agree(first: Book, second: Book) -> bool:
    """Return whether two books hold the very same records; the loader lets revisions share what is equal."""
    return all(getattr(first, name) is getattr(second, name) for name in Book.__struct_fields__ if name != "revision")
