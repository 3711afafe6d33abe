"""Lists of records in pages, as the service sends them and the SDK reads them."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Awaitable, Callable
from typing import TypeVar

import big_books
import httpx2
import pytest
from msgspec.structs import replace
from structlog.testing import capture_logs

from featherline import AsyncClient
from featherline.wire.records import ShoeModel, Source
from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.book.shop_book import Book
from featherline_service.settings import Settings

Value = TypeVar("Value")


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """Return a book of 240 shoes beside the demo book's ten."""
    return load([big_books.write(tmp_path_factory.mktemp("pages") / "book", shoes=240, films=0)])


def asked(book: Book, ask: Callable[[httpx2.AsyncClient], Awaitable[Value]]) -> Value:
    """Return what is asked of a service with a book."""

    async def send() -> Value:
        transport = httpx2.ASGITransport(create_app(Settings(), book))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await ask(client)

    with capture_logs():
        return asyncio.run(send())


def test_pages_follow_one_another_to_the_end(book: Book) -> None:
    """The links (RFC 8288, relation `next`) and `next` lead through every record once, in the order of their ids."""

    async def follow(client: httpx2.AsyncClient) -> list[list[str]]:
        pages, path = [], "/v1/book/shoes"
        while path:
            answer = await client.get(path)
            body = answer.json()
            pages.append([record["id"] for record in body["records"]])
            link = answer.headers.get("link", "")
            match = re.fullmatch(r'<(/v1/book/shoes\?after=(.*))>; rel="next"', link)
            assert (match and match[2]) == body["next"]
            path = match[1] if match else ""
        return pages

    pages = asked(book, follow)

    assert [100, 100, 50] == [len(page) for page in pages]
    assert sorted(book.shoes) == [id_ for page in pages for id_ in page]


def test_a_short_list_is_one_page(book: Book) -> None:
    """It has no link, and a page after its last record is empty."""

    async def ask(client: httpx2.AsyncClient) -> list[httpx2.Response]:
        return [await client.get(f"/v1/book/films{query}") for query in ("", "?after=zephyr", "?limit=8")]

    whole, after, exact = asked(book, ask)

    assert sorted(book.films) == [record["id"] for record in whole.json()["records"]]
    assert [] == after.json()["records"]
    assert [None] * 3 == [answer.json()["next"] for answer in (whole, after, exact)]
    assert not any("link" in answer.headers for answer in (whole, after, exact))


def test_a_page_begins_after_an_id_that_is_gone(book: Book) -> None:
    """So that a list can be read on when a record was taken out meanwhile; the limit is kept in the link."""

    async def ask(client: httpx2.AsyncClient) -> httpx2.Response:
        return await client.get("/v1/book/shoes?limit=2&after=quay")

    answer = asked(book, ask)

    assert ["quay-sandal", "regatta-deck"] == [record["id"] for record in answer.json()["records"]]
    assert '</v1/book/shoes?after=regatta-deck&limit=2>; rel="next"' == answer.headers["link"]


@pytest.mark.parametrize(
    ("query", "kind"),
    [
        ("limit=0", "unusable-parameter"),
        ("limit=101", "unusable-parameter"),
        ("limit=many", "unusable-parameter"),
        ("after=No%20id", "unusable-parameter"),
        ("after=a&after=b", "unusable-parameter"),
        ("before=a", "unknown-parameter"),
        ("after=a&x=1", "unknown-parameter"),
    ],
)
def test_a_query_that_is_none_of_pages_is_refused(book: Book, query: str, kind: str) -> None:
    """With 400, and the parameter's name."""

    async def ask(client: httpx2.AsyncClient) -> httpx2.Response:
        return await client.get(f"/v1/book/shoes?{query}")

    answer = asked(book, ask)

    assert (400, f"urn:featherline:problem:{kind}") == (answer.status_code, answer.json()["type"])
    assert repr(query.rpartition("&")[2].partition("=")[0]) in answer.json()["detail"]


def test_the_sdk_reads_all_pages(book: Book) -> None:
    """Its `records` are all of a kind, however many pages they come in."""

    async def ask(client: AsyncClient) -> tuple[tuple[str, ...], str | None]:
        answer = await client.records(ShoeModel)
        return tuple(shoe.id for shoe in answer.records), answer.next

    async def run() -> tuple[tuple[str, ...], str | None]:
        async with AsyncClient(
            "http://saltmarsh.test", transport=httpx2.ASGITransport(create_app(Settings(), book))
        ) as client:
            return await ask(client)

    with capture_logs():
        assert (tuple(sorted(book.shoes)), None) == asyncio.run(run())


def test_the_sdk_begins_again_where_the_book_changes(book: Book) -> None:
    """Between two pages: what it returns is of one book, the later."""
    later = replace(book, revision=f"sha256:{'7' * 64}", sources={})
    services = [httpx2.ASGITransport(create_app(Settings(), each)) for each in (book, later)]
    paths = []

    class Switched(httpx2.AsyncBaseTransport):
        async def handle_async_request(self, request: httpx2.Request) -> httpx2.Response:
            paths.append(request.url.raw_path.decode())
            return await services[len(paths) > 1].handle_async_request(request)

    async def run() -> tuple[str, int, int]:
        async with AsyncClient("http://saltmarsh.test", transport=Switched()) as client:
            answer = await client.records(ShoeModel)
            return answer.book, len(answer.records), len((await client.records(Source)).records)

    with capture_logs():
        assert (later.revision, 250, 0) == asyncio.run(run())
    assert ["/v1/book/shoes"] * 2 == [paths[0], paths[2]]
