"""Answers of the running service are as its description says."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx2
import jsonschema_rs
import pytest

from featherline_service.web.http.negotiation import JSON
from featherline_service.web.openapi.description import OPERATIONS

Ask = Callable[..., httpx2.Response]
UNDESCRIBED = {"content-type", "content-length", "connection"}  # the message's own (OpenAPI 3.1.1 section 4.8.17.1)
EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
QUESTIONS = [
    (operation.path, name)
    for operation in OPERATIONS
    for name, _ in operation.examples
    if name is not None and operation.produces == JSON
]
ORDER: dict[str, Any] = json.loads((EXAMPLES / "quote-request.json").read_text(encoding="utf-8"))
RECORD_KINDS = [
    "sources", "materials", "contacts", "uppers", "labels", "films", "covers", "pads", "platens",
    "presses", "cutters", "fonts", "shoes", "offcuts", "rates", "policies", "benches",
]  # fmt: skip


@pytest.fixture(scope="module")
def document(ask: Ask) -> dict[str, Any]:
    """The served description."""
    found: dict[str, Any] = ask("GET", "/openapi.json").json()
    return found


def check(document: dict[str, Any], path: str, method: str, response: httpx2.Response) -> None:
    """Check a response against the description: status, media type, headers and body."""
    described = document["paths"][path][method]["responses"][str(response.status_code)]
    content = described["content"][response.headers["content-type"].partition(";")[0]]
    headers = {name.lower(): document["components"]["headers"][name] for name in described["headers"]}
    assert {name for name, words in headers.items() if words.get("required")} <= set(response.headers)
    assert set(response.headers) - UNDESCRIBED <= set(headers)
    jsonschema_rs.Draft202012Validator({**content["schema"], "components": document["components"]}).validate(
        response.json()
    )


@pytest.mark.parametrize(("path", "name"), QUESTIONS)
def test_answers_to_the_examples_are_as_described(ask: Ask, document: dict[str, Any], path: str, name: str) -> None:
    """Each example is answered, with a body of the described schema, and the same when asked again."""
    asked = json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))

    first, second = ask("POST", path, json=asked), ask("POST", path, json=asked)

    assert (200, first.content) == (first.status_code, second.content)
    check(document, path, "post", first)


@pytest.mark.parametrize("kind", RECORD_KINDS)
def test_records_are_as_described(ask: Ask, document: dict[str, Any], kind: str) -> None:
    """All records of a kind, and each by its id, have the described schema and agree."""
    listed = ask("GET", f"/v1/book/{kind}")
    check(document, f"/v1/book/{kind}", "get", listed)

    assert listed.json()["records"]
    for record in listed.json()["records"]:
        single = ask("GET", f"/v1/book/{kind}/{record['id']}")
        assert record == single.json()["record"]
    check(document, f"/v1/book/{kind}/{{id}}", "get", single)


def test_observations_are_listed_apart(ask: Ask, document: dict[str, Any]) -> None:
    """They are read as other kinds are; the demo shop has observed nothing yet."""
    listed = ask("GET", "/v1/book/observations")
    check(document, "/v1/book/observations", "get", listed)
    assert [] == listed.json()["records"] == ask("GET", "/v1/book").json()["observations"]


def test_the_book_names_every_record(ask: Ask, document: dict[str, Any]) -> None:
    """Every record that the book lists can be fetched by its kind and id."""
    answer = ask("GET", "/v1/book")
    check(document, "/v1/book", "get", answer)

    assert [shelf["kind"] for shelf in answer.json()["kinds"]] == RECORD_KINDS
    for shelf in answer.json()["kinds"]:
        records = ask("GET", f"/v1/book/{shelf['kind']}").json()["records"]
        assert shelf["ids"] == [record["id"] for record in records] == sorted(shelf["ids"])


@pytest.mark.parametrize("path", ["/health/live", "/health/ready"])
def test_health_is_as_described_and_never_stale(ask: Ask, document: dict[str, Any], path: str) -> None:
    """A health check has the described schema, and no cache keeps it."""
    answer = ask("GET", path)

    check(document, path, "get", answer)
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/openapi.json", "/.well-known/api-catalog", "/.well-known/jwks.json"])
def test_public_documents_are_as_described(ask: Ask, document: dict[str, Any], path: str) -> None:
    """Public documents have the described media type and headers, and a 304 has no others."""
    answer = ask("GET", path)
    check(document, path, "get", answer)
    again = ask("GET", path, headers={"if-none-match": answer.headers["etag"]})

    described = document["paths"][path]["get"]["responses"]["304"]["headers"]
    assert {name.lower() for name in described} <= set(again.headers)


@pytest.mark.parametrize(
    ("path", "method", "more"),
    [
        ("/v1/quotes", "post", {"content": b"{", "headers": {"content-type": "application/json"}}),
        ("/v1/quotes", "post", {"content": b"{}", "headers": {"content-type": "application/json"}}),
        ("/v1/quotes", "post", {"content": b"{}"}),
        ("/v1/quotes", "post", {"content": b" " * 2_000_000, "headers": {"content-type": "application/json"}}),
        ("/v1/quotes", "post", {"headers": {"accept": "image/png"}}),
        ("/v1/quotes", "post", {"headers": {"content-type": "application/json", "content-encoding": "br"}}),
        ("/v1/quotes", "post", {"json": ORDER | {"pairs": 7_777}, "headers": {"prefer": "wait=0"}}),
        ("/v1/bulk", "post", {"content": b"{}"}),
        ("/.well-known/security.txt", "get", {}),
        ("/v1/book", "get", {"params": {"x": 1}}),
        ("/v1/book", "get", {"headers": {"accept": "text/html"}}),
    ],
)
def test_problems_are_as_described(
    ask: Ask, document: dict[str, Any], path: str, method: str, more: dict[str, Any]
) -> None:
    """Each problem that an operation answers with is in its description."""
    response = ask(method, path, **more)

    assert response.status_code >= 400
    check(document, path, method, response)
