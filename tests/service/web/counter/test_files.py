"""The counter's page and its files, as they are served."""

from __future__ import annotations

import asyncio
import gzip
import json
import re
from typing import Final

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.messages.catalogues import catalogues
from featherline_service.settings import Settings
from featherline_service.web.counter.files import PAGE, POLICY, files

BOOK: Final = load()
SOURCES: Final = {name: file.body.decode() for name, file in files().items()}
MOST_BYTES: Final = 60_000


def ask(path: str, settings: Settings | None = None, **headers: str) -> httpx2.Response:
    """Return the answer of a service with settings."""

    async def send() -> httpx2.Response:
        transport = httpx2.ASGITransport(create_app(settings or Settings(), BOOK))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.get(path, headers={name.replace("_", "-"): value for name, value in headers.items()})

    with capture_logs():
        return asyncio.run(send())


def test_the_page_and_all_that_it_names_are_there() -> None:
    """Whatever the page or a module loads is a file of the service, of the right type."""
    page = ask("/counter")
    named = set(re.findall(r'(?:href|src)="/counter/([^"]+)"', page.text))
    imported = {name for text in SOURCES.values() for name in (*_at_once(text), *_later(text))}

    assert (200, "text/html; charset=utf-8") == (page.status_code, page.headers["content-type"])
    assert set() == (named | imported) - set(SOURCES)
    assert set(SOURCES) == named | imported | {PAGE} | {f"words-{language}.json" for language in catalogues()}
    assert "text/javascript; charset=utf-8" == ask("/counter/main.js").headers["content-type"]
    assert 404 == ask("/counter/index.html").status_code == ask("/counter/other.js").status_code


def _at_once(text: str) -> list[str]:
    """Return what a module imports before it runs."""
    return re.findall(r'^import .* from "\./([^"]+)";$', text, re.MULTILINE)


def _later(text: str) -> list[str]:
    """Return what a module imports when it is needed."""
    return re.findall(r'\bimport\("\./([^"]+)"\)', re.sub(r"/\*\*.*?\*/", "", text, flags=re.DOTALL))


def test_the_first_view_is_preloaded_and_no_more() -> None:
    """The page names every module of its first view, so that none is found late, and loads the others afterwards."""
    first, waiting = set[str](), ["main.js"]
    while waiting:
        first.add(name := waiting.pop())
        waiting += [other for other in _at_once(SOURCES[name]) if other not in first]
    named = set(re.findall(r'(?:href|src)="/counter/([^"]+\.js)"', SOURCES[PAGE]))
    later = {name for text in SOURCES.values() for name in _later(text)}

    assert first == named
    assert {"bench.js", "roster.js", "trial.js"} == later
    assert not later & first


def test_the_board_says_why_before_it_shows() -> None:
    """Reasons and what would mend them stand above the pictures: these fill a small screen."""
    board = re.findall(r'id="(verdict|price|reasons|mends|pictures)"', SOURCES[PAGE])
    assert ["verdict", "price", "reasons", "mends", "pictures"] == board


def test_the_page_needs_little() -> None:
    """All files together are small, also for a telephone."""
    assert MOST_BYTES > sum(len(gzip.compress(file.body, 6)) for file in files().values())


def test_files_are_kept_and_revalidated() -> None:
    """A browser that has a file is told so without its bytes."""
    first = ask("/counter/main.js")
    again = ask("/counter/main.js", if_none_match=first.headers["etag"])

    assert "no-cache" == first.headers["cache-control"]
    assert (304, b"") == (again.status_code, again.content)


def test_nothing_is_written_into_the_page_that_its_policy_forbids() -> None:
    """Scripts and styles are files alone; nothing is loaded from elsewhere, and no text becomes markup."""
    assert POLICY == ask("/counter").headers["content-security-policy"]
    assert "unsafe" not in POLICY
    assert not re.search(r"<script(?![^>]*src=)|<style|\sstyle=|\son[a-z]+=", SOURCES[PAGE])
    for name, text in SOURCES.items():
        assert not re.search(r"https?://(?!www\.w3\.org/)", text), name
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(", text), name


def test_the_page_offers_the_languages_of_the_messages() -> None:
    """Words and sentences are in one language, and `checked` of a catalogue is true of the words as well."""
    (offered,) = re.findall(r"^export const LANGUAGES = \{(.*)\};$", SOURCES["words.js"], re.MULTILINE)
    assert set(catalogues()) == set(re.findall(r"(\w+): \"", offered))


@pytest.mark.parametrize("language", ["de", "es", "fr"])
def test_languages_have_the_same_words(language: str) -> None:
    """Every language has every key of English, with the same variables."""
    english, other = (json.loads(SOURCES[f"words-{name}.json"]) for name in ("en", language))

    assert set(english) == set(other)
    for key, text in english.items():
        assert set(re.findall(r"\{\w+\}", text)) == set(re.findall(r"\{\w+\}", other[key])), key
        assert other[key].strip()


def test_every_word_that_is_asked_for_is_there() -> None:
    """A key that is written out in a module or in the page is in the catalogue."""
    english = json.loads(SOURCES["words-en.json"])
    asked = {
        key
        for name, text in SOURCES.items()
        if name.endswith((".js", ".html"))
        for key in re.findall(r'(?:\bw\("|data-w=")([a-z._]+)"', text)
    }

    assert len(asked) > 100
    assert set() == asked - set(english)


def test_the_counter_can_be_switched_off() -> None:
    """Then nothing of it is there, and browsers get at `/` what programs get."""
    off = Settings(counter="off")

    assert (404, 404, 404) == (
        ask("/counter", off).status_code, ask("/counter/main.js", off).status_code,
        ask("/", off, accept="text/html").status_code,
    )  # fmt: skip
