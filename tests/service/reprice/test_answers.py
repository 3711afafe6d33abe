"""Answers to lines: the bytes of the service's own, and the problems that its bulk has."""

from __future__ import annotations

import asyncio
import itertools
import json
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.shop_book import Book
from featherline_service.questions.quote import quotes
from featherline_service.reprice import answers
from featherline_service.settings import Settings
from featherline_service.web.http.lines import Line

Json = dict[str, Any]

LONGEST = 4_096
RUN = "reprice-0"


def faulty(order: bytes) -> list[bytes]:
    """Return lines that have faults, in every place where they can have some."""
    misspelt = order.replace(b'"smooth"', b'"smoth"')
    return [
        b"no JSON",
        b"[]",
        b"{}",
        b'{"kind":"quote","id":"a"}',
        b'{"kind":"quote","id":"","request":{}}',
        b'{"kind":"quote","id":"b","request":[]}',
        b'{"kind":"quote","id":"c","more":1,"request":%b}' % order,
        b'{"kind":"quote","id":"d","id":"e","request":%b}' % order,
        b'{"kind":"quote","id":"f","request":%b}' % misspelt.replace(b'"pairs"', b'"pears"'),
        b'{"kind":"quote","id":"g","request":%b}' % misspelt,
        b'{"kind":"quote","id":"h","request":%b}' % order.replace(b'"22 mm"', b'"22"'),
        b'{"kind":"quote","id":"i","request":%b,"note":"\xff"}' % order,
        b'{"kind":"quote","id":"j","request":%b}' % (order[:-1] + b',"outlines":{"seconds":1}}'),
        b'{"kind":"quote","id":"k","request":%b}' % (order[:-1] + b" " * LONGEST + b"}"),
    ]  # fmt: skip


def from_service(path: str, body: bytes, media_type: str) -> bytes:
    """Return what the service answers."""
    app = create_app(Settings(max_body=LONGEST))

    async def ask() -> bytes:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return (await client.post(path, content=body, headers={"content-type": media_type})).content

    return asyncio.run(ask())


def lines(texts: list[bytes]) -> list[Line]:
    """Return lines of these texts."""
    return [Line(number, text if len(text) <= LONGEST else None) for number, text in enumerate(texts, 1)]


def without_instance(problem: Json) -> Json:
    """Return a problem without the name of its request."""
    return {name: value for name, value in problem.items() if name != "instance"}


def test_an_answer_is_the_services_but_for_its_seal(book: Book, request_text: bytes) -> None:
    """The bytes before the seal are those of POST /v1/quotes; the seal is null. The kind may be left out."""
    texts = [b'{"id":"a","request":%b}' % request_text, b'{"kind":"quote","request":%b}' % request_text]
    found = answers.answer(book, lines(texts), RUN, LONGEST)
    whole = from_service("/v1/quotes", request_text, "application/json")

    before, name, seal = whole.rpartition(b'"seal":')
    assert b"{" == seal[:1]
    assert [before + name + b"null}"] * 2 == [answer.body for answer in found]
    assert [(1, "a", 200, False), (2, None, 200, False)] == [
        (answer.number, answer.id, answer.status, answer.is_problem) for answer in found
    ]


def test_a_faulty_line_has_the_problem_that_bulk_has(book: Book, request_text: bytes) -> None:
    """Status, id and everything of the problem but its instance are the same; the lines around it are answered."""
    good = b'{"kind":"quote","id":"good","request":%b}' % request_text
    texts = [each for text in faulty(request_text) for each in (text, good)]
    found = answers.answer(book, lines(texts), RUN, LONGEST)
    bulk = from_service("/v1/bulk", b"\n".join(texts), "application/jsonl").splitlines()

    compared = 0
    for answer, line in zip(found, map(json.loads, bulk), strict=True):
        if line["kind"] == "quote":
            assert (line["line"], line["id"], 200) == (answer.number, answer.id, answer.status)
            continue
        problem = json.loads(answer.body)
        if line["id"] is None and b'"kind"' not in texts[answer.number - 1]:
            # Bulk misses the kind as well.
            assert {fault["pointer"] for fault in problem.get("errors", ())} <= {"", "/request"}
            continue
        compared += 1
        assert (line["line"], line["id"], line["status"]) == (answer.number, answer.id, answer.status)
        assert without_instance(line["problem"]) == without_instance(problem)
        assert f"urn:featherline:request:{RUN}#{answer.number}" == problem["instance"]
    assert 11 == compared


def test_a_line_of_another_kind_is_refused(book: Book) -> None:
    """Only quotes are repriced."""
    (answer,) = answers.answer(book, lines([b'{"kind":"recipe","id":"a","request":{}}']), RUN, LONGEST)

    assert (422, "a", "/kind") == (answer.status, answer.id, json.loads(answer.body)["errors"][0]["pointer"])


def test_lines_are_priced_by_shoe_and_film_and_answered_in_order(
    book: Book, request_text: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever stands between them, lines of one shoe and film are priced one after the other."""
    priced: list[tuple[str, str]] = []

    def compose(_book: object, order: Any) -> Json:  # noqa: ANN401 - an order
        priced.append((order.shoe.size.value, order.placements[0].film))
        return {"reference": order.reference}

    monkeypatch.setattr(quotes, "compose", compose)
    texts = []
    for _, size, film in itertools.product(range(3), (b'"42"', b'"43"'), (b'"smooth"', b'"flock"')):
        order = request_text[:-1].replace(b'"42"', size).replace(b'"smooth"', film)
        texts.append(b'{"request":%b,"reference":"%d"}}' % (order, len(texts)))
    found = answers.answer(book, lines(texts), RUN, LONGEST)

    assert [b'{"reference":"%d"}' % number for number in range(12)] == [answer.body for answer in found]
    assert [("42", "flock")] * 3 + [("42", "smooth")] * 3 + [("43", "flock")] * 3 + [("43", "smooth")] * 3 == priced


def test_a_failure_of_the_service_spoils_one_line(
    book: Book, request_text: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is logged, and the caller sees a problem without its words."""
    original = quotes.compose

    def compose(book: Book, order: Any) -> Any:  # noqa: ANN401 - an order
        if order.reference == "bad":
            raise ZeroDivisionError("secret")
        return original(book, order)

    monkeypatch.setattr(quotes, "compose", compose)
    bad = request_text[:-1] + b',"reference":"bad"}'
    with capture_logs() as logged:
        found = answers.answer(book, lines([b'{"request":%b}' % text for text in (bad, request_text)]), RUN, LONGEST)

    assert [500, 200] == [answer.status for answer in found]
    assert b"secret" not in found[0].body
    assert ["request.failed"] == [line["event"] for line in logged]
