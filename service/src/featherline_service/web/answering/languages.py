"""The language of an answer, chosen once for a request, and the fields of its head that tell of it."""

from __future__ import annotations

from functools import cache
from typing import Final

from litestar.types import Scope

from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import ENGLISH
from featherline_service.messages.negotiation import preferred
from featherline_service.messages.texts import Texts
from featherline_service.questions.translation import languages, texts
from featherline_service.web.http.context import context_of, header

LANGUAGE_VARY: Final = "Accept-Language"


def choose_language(scope: Scope, book: Book) -> None:
    """Choose the language of a request's answer, of those that the book that answers it has: its context names it."""
    context_of(scope).language = _preferred(scope, book)


def words_of(scope: Scope, book: Book) -> Texts:
    """Return the messages of a book in the language that a request's caller prefers."""
    return texts(book, _preferred(scope, book))


def _preferred(scope: Scope, book: Book) -> str:
    wanted = header(scope, b"accept-language")
    return ENGLISH if wanted is None else preferred(wanted, languages(book))


@cache
def content_language(language: str) -> tuple[bytes, bytes]:
    """Return the header field that names the language of an answer."""
    return b"content-language", language.encode()
