"""Pictures over HTTP: shown to keys, and read at their addresses without one."""

from __future__ import annotations

import asyncio
import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import httpx2
import pytest
from msgspec.structs import replace
from structlog.testing import capture_logs
from tests.service.page_keys import Shop

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.messages.catalogues import catalogues
from featherline_service.settings import Settings
from featherline_service.signatures import SealKeys, temporary_keys
from featherline_service.web.routes.seals import Seals

EXAMPLES = Path(__file__).parents[5] / "openapi" / "examples"
SVG, PNG = "image/svg+xml", "image/png"
KEYS = temporary_keys()


@pytest.fixture(scope="module")
def book() -> Book:
    """The demo book."""
    return load()


@pytest.fixture(scope="module")
def shop(book: Book, tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """A service with keys."""
    return Shop(book, tmp_path_factory.mktemp("keys"))


def request(**changes: Any) -> dict[str, Any]:  # noqa: ANN401 - JSON
    """Return the example request, its film one that the key of a page may sell."""
    asked: dict[str, Any] = json.loads((EXAMPLES / "picture-request.json").read_text(encoding="utf-8"))
    asked["order"]["placements"][0] |= {"film": "smooth", "colour": "gorse"}
    return asked | changes


def get(book: Book, path: str, keys: SealKeys, at: datetime, **headers: str) -> httpx2.Response:
    """Return the answer of another replica, at a time, to a GET without a key."""
    app = create_app(Settings(deadline=60), book, sealing=Seals(keys, timedelta(days=30), lambda: at))

    async def run() -> httpx2.Response:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            return await client.get(path, headers=headers)

    with capture_logs():
        return asyncio.run(run())


def post(book: Book, body: object, keys: SealKeys = KEYS) -> dict[str, Any]:
    """Return the first picture that a service without callers' keys answers."""
    app = create_app(Settings(deadline=60), book, sealing=Seals(keys, timedelta(days=30)))

    async def run() -> httpx2.Response:
        async with httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url="http://saltmarsh.test") as client:
            return await client.post("/v1/pictures", json=body)

    with capture_logs():
        picture: dict[str, Any] = asyncio.run(run()).json()["pictures"][0]
    return picture


def test_a_pages_key_mints_an_address_that_needs_none(shop: Shop) -> None:
    """As JSON the answer has the words and the addresses; what is read there is what the key was shown."""
    answer = shop.post("/v1/pictures", "page", request())
    picture = answer.json()["pictures"][0]
    shown = shop.post("/v1/pictures", "page", request(), accept=SVG)
    read = shop.ask("GET", picture["address"]["svg"], "page", authorization="")

    assert (200, picture["svg"], SVG) == (shown.status_code, shown.text, shown.headers["content-type"])
    assert (200, shown.text, SVG) == (read.status_code, read.text, read.headers["content-type"])
    assert picture["alternative"] in read.text
    varying = "Accept, Accept-Encoding, Book-Revision, Accept-Language"
    assert [varying, varying] == [response.headers["vary"] for response in (answer, shown)]
    assert not re.search("MARLOW|gorse", picture["address"]["svg"])


def test_a_picture_is_kept_by_every_cache_until_it_expires(shop: Shop) -> None:
    """It may be shown by any page, runs nothing, and is not sent again to whoever has it (RFC 8246; RFC 9110)."""
    address = shop.post("/v1/pictures", "page", request()).json()["pictures"][0]["address"]["svg"]
    read = shop.ask("GET", address, "page", authorization="")
    again = shop.ask("GET", address, "page", authorization="", **{"if-none-match": read.headers["etag"]})
    maximum = re.fullmatch(r"public, max-age=(\d+), immutable", read.headers["cache-control"])

    assert maximum is not None
    assert 29 * 86_400 < int(maximum[1]) <= 30 * 86_400
    assert "cross-origin" == read.headers["cross-origin-resource-policy"]
    assert "default-src 'none'" in read.headers["content-security-policy"]
    assert (304, b"") == (again.status_code, again.content)


def test_a_picture_is_a_png_too(shop: Shop) -> None:
    """By Accept, and by the other address; as wide as asked (PNG, third edition, W3C, section 11.2.1)."""
    asked = request(width_px=320)
    shown = shop.post("/v1/pictures", "page", asked, accept=PNG)
    address = shop.post("/v1/pictures", "page", asked).json()["pictures"][0]["address"]["png"]
    read = shop.ask("GET", address, "page", authorization="")

    assert (PNG, PNG) == (shown.headers["content-type"], read.headers["content-type"])
    assert shown.content == read.content
    assert 320 == int.from_bytes(shown.content[16:20])


def test_what_a_key_is_pinned_to_holds(shop: Shop) -> None:
    """A page's key shows no film that it may not sell."""
    refused = shop.post("/v1/pictures", "page", json.loads((EXAMPLES / "picture-request.json").read_text()))

    assert 422 == refused.status_code
    assert ["/order/placements/0/film"] == [fault["pointer"] for fault in refused.json()["errors"]]
    assert 403 == shop.post("/v1/pictures", "watch", request()).status_code


def test_every_replica_reads_an_address_until_it_expires(book: Book) -> None:
    """One with the same keys does; one with others knows nothing of it, and after its time it is gone."""
    address = post(book, request())["address"]["svg"]
    now, later = datetime.now(UTC), datetime.now(UTC) + timedelta(days=31)
    answers = [get(book, address, keys, at) for keys, at in ((KEYS, now), (temporary_keys(), now), (KEYS, later))]

    assert [200, 404, 410] == [answer.status_code for answer in answers]
    assert ["no-such-path", "picture-expired"] == [answer.json()["type"].rpartition(":")[2] for answer in answers[1:]]


@pytest.mark.parametrize("address", ["x.svg", "x", "AAAA.png", "A" * 3_000 + ".svg", "x.gif", ".svg"])
def test_hostile_addresses_are_unknown(shop: Shop, address: str) -> None:
    """Before anything is computed; whoever opens one in a browser is told so in its language."""
    answer = shop.ask(
        "GET", f"/v1/pictures/{address}", "page", authorization="", **{"accept-language": "fr-CH,fr;q=0.9"}
    )
    assert (404, "fr") == (answer.status_code, answer.headers["content-language"])
    french = catalogues()["fr"].messages
    assert (french["problem.no-such-path"], french["problem.no-such-path.picture"]) == (
        answer.json()["title"],
        answer.json()["detail"],
    )


def test_a_picture_of_what_the_book_no_longer_has_is_unknown(book: Book) -> None:
    """There is no fault of whoever reads it to tell."""
    address = post(book, request())["address"]["svg"]
    without = replace(book, shoes={name: shoe for name, shoe in book.shoes.items() if name != "regatta-deck"})

    assert 404 == get(without, address, KEYS, datetime.now(UTC)).status_code


def test_an_order_too_long_for_an_address_has_none(book: Book) -> None:
    """Its picture is in the answer, to be kept."""
    zigzag = "M0 0" + "".join(f"L{at * 0.37:.3f} {at * at % 7919 / 97:.4f}" for at in range(1, 900)) + "V99H0Z"
    asked = request()
    asked["order"]["placements"][0]["artwork"] = {"kind": "path", "d": zigzag, "height": "20 mm"}
    picture = post(book, asked)

    assert (None, "<svg") == (picture["address"], picture["svg"][:4])


def test_two_pictures_in_one_page_are_two_images(shop: Shop) -> None:
    """Inline or by their addresses, each has a name and ids of its own (SVG Accessibility API Mappings, W3C)."""
    asked = request()
    first = asked["order"]["placements"][0]
    asked["order"]["placements"].append(first | {"panel": "heel", "artwork": first["artwork"] | {"text": "7"}})
    pictures = shop.post("/v1/pictures", "page", asked).json()["pictures"]
    inline = [picture["svg"] for picture in pictures]
    read = [shop.ask("GET", picture["address"]["svg"], "page", authorization="").text for picture in pictures]

    for texts in (inline, read):
        page = ET.fromstring(f"<main>{''.join(texts)}</main>")  # noqa: S314 - our own
        ids = [element.get("id") for element in page.iter() if element.get("id")]
        titles = {element.get("id"): element.text for element in page.iter() if element.tag.endswith("title")}
        assert len(ids) == len(set(ids))
        assert [picture["alternative"] for picture in pictures] == [
            titles[image.get("aria-labelledby")] for image in page if image.get("role") == "img"
        ]


def test_a_picture_is_named_in_the_readers_language(shop: Shop) -> None:
    """That of whoever mints its address: in the JSON, in the picture, and where it is read."""
    answer = shop.post("/v1/pictures", "page", request(), **{"accept-language": "de"})
    shown = shop.post("/v1/pictures", "page", request(), accept=SVG, **{"accept-language": "de"})
    picture = answer.json()["pictures"][0]
    read = shop.ask("GET", picture["address"]["svg"], "page", authorization="", **{"accept-language": "fr"})

    assert ["de", "de", "de"] == [response.headers["content-language"] for response in (answer, shown, read)]
    assert "rechter Schuh, Außenseite: „MARLOW / 7“" in picture["alternative"]
    assert shown.text == read.text
    assert picture["alternative"] in read.text
