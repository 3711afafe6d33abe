"""The language of a request's answer."""

from __future__ import annotations

from typing import Any

import pytest

from featherline_service.book.loader import load
from featherline_service.web.answering.languages import choose_language, content_language
from featherline_service.web.http.context import context_of


@pytest.mark.parametrize(("wanted", "language"), [(None, "en"), (b"de-CH", "de"), (b"nl", "en"), (b"en-XA", "en-XA")])
def test_it_is_what_the_reader_prefers(wanted: bytes | None, language: str) -> None:
    """Of the languages that the book has; English where the request names none of them."""
    scope: Any = {"headers": [] if wanted is None else [(b"accept-language", wanted)]}
    choose_language(scope, load())
    assert language == context_of(scope).language
    assert (b"content-language", language.encode()) == content_language(language)
