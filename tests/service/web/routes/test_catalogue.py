"""The catalogue over HTTP."""

from __future__ import annotations

from pathlib import Path

import pytest
from page_keys import Shop

from featherline_service.book.loader import load


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A service with keys."""
    return Shop(load(), Path(tmp_path_factory.mktemp("keys")))


def test_each_key_reads_what_it_may_sell(shop: Shop) -> None:
    """A page that is pinned to a film sees that one; a key that may ask sees all; one for metrics sees none."""
    page, ask, watch = (shop.get("/v1/catalogue", key) for key in ("page", "ask", "watch"))
    assert (200, 200, 403) == (page.status_code, ask.status_code, watch.status_code)
    assert ["smooth"] == [film["id"] for film in page.json()["films"]]
    assert 8 == len(ask.json()["films"])
    assert "Authorization" in page.headers["vary"]
    assert page.json()["book"] == page.headers["book-revision"]


def test_it_is_revalidated(shop: Shop) -> None:
    """Whoever has it gets 304; the tag of another key's catalogue is another."""
    tag = shop.get("/v1/catalogue", "page").headers["etag"]
    again = shop.get("/v1/catalogue", "page", **{"if-none-match": tag})
    other = shop.get("/v1/catalogue", "ask", **{"if-none-match": tag})
    assert ((304, b""), 200) == ((again.status_code, again.content), other.status_code)


def test_it_is_in_the_readers_language(shop: Shop) -> None:
    """The head names the language, the tag is another for each, and it says which translations nobody has checked."""
    english, german = (shop.get("/v1/catalogue", "ask", **{"accept-language": language}) for language in ("en", "de"))
    assert ("en", "de") == (english.headers["content-language"], german.headers["content-language"])
    assert english.headers["etag"] != german.headers["etag"]
    assert "Accept-Language" in german.headers["vary"]
    assert {"de": False, "en": True, "es": False, "fr": False} == {
        it["language"]: it["checked"] for it in german.json()["languages"]
    }
