"""The edges of HTTP: methods, paths, queries, Accept, conditional requests, request ids."""

from __future__ import annotations

import re
from collections.abc import Callable

import httpx2
import pytest

from featherline_service.web.openapi.description import OPERATIONS
from featherline_service.web.routes.operations import Operation

Ask = Callable[..., httpx2.Response]
READABLE = [
    "/v1/book", "/v1/book/films", "/v1/book/films/smooth", "/health/live", "/health/ready", "/openapi.json",
    "/.well-known/jwks.json", "/.well-known/api-catalog",
]  # fmt: skip
ASKABLE = ["/v1/recipes", "/v1/fits", "/v1/artworks", "/v1/costs", "/v1/quotes"]
PAGES = ["/docs", "/docs/start.js", "/docs/swagger-ui.css", "/docs/swagger-ui-bundle.js"]


def kind_of(response: httpx2.Response) -> tuple[int, str]:
    """Return status and kind of a problem."""
    assert response.headers["content-type"] == "application/problem+json"
    return response.status_code, response.json()["type"].removeprefix("urn:featherline:problem:")


@pytest.mark.parametrize("path", READABLE + PAGES)
def test_head_is_get_without_the_body(ask: Ask, path: str) -> None:
    """HEAD works wherever GET does, with its headers (RFC 9110 section 9.3.2)."""
    plain = {"accept-encoding": "identity"}  # the client would undo a coding, and its length with it
    got, head = ask("GET", path, headers=plain), ask("HEAD", path, headers=plain)

    def headers(response: httpx2.Response) -> dict[str, str]:
        return {name: value for name, value in response.headers.items() if name != "x-request-id"}

    assert (200, 200, b"") == (got.status_code, head.status_code, head.content)
    assert headers(got) == headers(head)
    assert int(head.headers["content-length"]) == len(got.content)


@pytest.mark.parametrize("path", READABLE + ASKABLE + PAGES)
@pytest.mark.parametrize("method", ["DELETE", "PUT", "PATCH", "TRACE", "BREW", "PROPFIND"])
def test_other_methods_are_told_which_are_allowed(ask: Ask, path: str, method: str) -> None:
    """A method that a path does not take gets 405 with Allow, whether the method is known or not."""
    response = ask(method, path)

    assert kind_of(response) == (405, "method-not-allowed")
    assert response.headers["allow"] == ("OPTIONS, POST" if path in ASKABLE else "GET, HEAD, OPTIONS")


@pytest.mark.parametrize("path", ASKABLE)
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_questions_are_posted(ask: Ask, path: str, method: str) -> None:
    """GET on a question's path gets 405."""
    response = ask(method, path)

    assert (405, "OPTIONS, POST") == (response.status_code, response.headers["allow"])


@pytest.mark.parametrize("path", READABLE + ASKABLE)
def test_options_says_what_is_allowed(ask: Ask, path: str) -> None:
    """OPTIONS names the methods (RFC 9110 section 9.3.7)."""
    response = ask("OPTIONS", path)

    expected = "OPTIONS, POST" if path in ASKABLE else "GET, HEAD, OPTIONS"
    assert (204, expected) == (response.status_code, response.headers["allow"])


@pytest.mark.parametrize(
    "path", ["/", "/v1", "/v2/quotes", "/v1/quotes/1", "/v1/quote", "/favicon.ico", "/%00", "/v1/%2e%2e/docs", "/é"]
)
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "BREW"])
def test_an_unknown_path_is_not_found(ask: Ask, path: str, method: str) -> None:
    """An unknown path gets 404, whatever the method."""
    response = ask(method, path)

    assert response.status_code == 404
    assert method == "HEAD" or kind_of(response) == (404, "no-such-path")


@pytest.mark.parametrize(
    ("path", "detail"),
    [
        ("/v1/book/hats", "The book has no such kind of record; it has: sources, materials"),
        ("/v1/book/revision", "The book has no such kind of record; it has: sources, materials"),
        ("/v1/book/hats/smooth", "The book has no such kind of record; it has: sources, materials"),
        ("/v1/book/films/smoothest", "Of films the book has: "),
        ("/v1/book/films/%00", "Of films the book has: "),
        ("/v1/book/films/" + "x" * 5000, "Of films the book has: "),
        ("/v1/book/films/sm%6foth%0a", "Of films the book has: "),
    ],
)
def test_unknown_records_are_not_found(ask: Ask, path: str, detail: str) -> None:
    """A record or kind that is not in the book is 404 and names those that are."""
    response = ask("GET", path)

    assert kind_of(response) == (404, "no-such-record")
    assert response.json()["detail"].startswith(detail)


@pytest.mark.parametrize("path", READABLE + ASKABLE)
@pytest.mark.parametrize("query", ["x=1", "x=1&x=2", "x", "=", "%00=%ff", "&"])
def test_query_parameters_are_refused(ask: Ask, path: str, query: str) -> None:
    """No path takes a query; one that is given is 400, once or repeated."""
    response = ask("POST" if path in ASKABLE else "GET", f"{path}?{query}")

    assert kind_of(response) == (400, "unknown-parameter")


def test_an_empty_query_is_none(ask: Ask) -> None:
    """A bare question mark asks for nothing."""
    assert ask("GET", "/v1/book?").status_code == 200


@pytest.mark.parametrize(
    "accept",
    ["*/*", "application/json", "application/*", "text/html, */*;q=0.1", "text/html;q=0.9, application/json;q=0.1", ""],
)
def test_json_is_sent_to_callers_that_accept_it(ask: Ask, accept: str) -> None:
    """Accept is read with its wildcards (RFC 9110 section 12.5.1)."""
    assert ask("GET", "/v1/book", headers={"accept": accept}).status_code == 200


@pytest.mark.parametrize(
    "accept", ["text/plain", "image/png, text/csv", "application/json;q=0", "*/*;q=0", "application/xml;q=0.5"]
)
@pytest.mark.parametrize(("method", "path"), [("GET", "/v1/book"), ("POST", "/v1/quotes"), ("GET", "/health/live")])
def test_an_accept_without_json_gets_406(ask: Ask, accept: str, method: str, path: str) -> None:
    """A caller that excludes JSON gets 406, whose body is JSON all the same."""
    assert kind_of(ask(method, path, headers={"accept": accept})) == (406, "not-acceptable")


@pytest.mark.parametrize("path", ["/v1/book", "/v1/book/shoes", "/v1/book/films/smooth", "/openapi.json", "/docs"])
def test_a_known_etag_gets_304(ask: Ask, path: str) -> None:
    """A known ETag is answered with 304 and no body, in every way to name it (RFC 9110 section 13.1.2)."""
    first = ask("GET", path)
    tag = first.headers["etag"]
    assert re.fullmatch(r'"[!-~]+"', tag)
    assert first.headers["cache-control"] == "no-cache"

    for known in (tag, f"W/{tag}", f'"other", {tag}', f'"a,b",{tag}', "*"):
        again = ask("GET", path, headers={"if-none-match": known})
        assert (304, b"", tag) == (again.status_code, again.content, again.headers["etag"])
        assert ask("HEAD", path, headers={"if-none-match": known}).status_code == 304

    for unknown in ('"other"', tag.strip('"'), "", f'"{tag}"'):
        assert ask("GET", path, headers={"if-none-match": unknown}).content == first.content


@pytest.mark.parametrize("request_id", ["8c7d1f", "A-b_c.1:2/3+4=", "x" * 128])
def test_a_sane_request_id_is_kept(ask: Ask, request_id: str) -> None:
    """The caller's own id comes back, and names the problem."""
    response = ask("GET", "/nothing", headers={"x-request-id": request_id})

    assert response.headers.get_list("x-request-id") == [request_id]
    assert response.json()["instance"] == f"urn:featherline:request:{request_id}"


@pytest.mark.parametrize("request_id", ["", "x" * 129, "a b", 'a"b', "<b>", "a\tb", "é"])
def test_another_request_id_is_replaced(ask: Ask, request_id: str) -> None:
    """An id that could spoil a log is not taken."""
    response = ask("GET", "/health/live", headers={"x-request-id": request_id.encode()})

    assert re.fullmatch(r"[0-9a-f]{32}", response.headers["x-request-id"])


def test_every_answer_has_its_own_request_id(ask: Ask) -> None:
    """Ids are not used twice."""
    assert len({ask("GET", "/health/live").headers["x-request-id"] for _ in range(20)}) == 20


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.id)
def test_every_described_operation_is_there(ask: Ask, operation: Operation) -> None:
    """Every described GET succeeds, and every POST without a body gets 415, or 400 where its query is needed first.

    There is no contact, no picture, and no record of a kind that the demo book has none of: 404.
    """
    shelves = {shelf["kind"]: shelf["ids"] for shelf in ask("GET", "/v1/book").json()["kinds"]}
    shelf = shelves.get(operation.path.split("/")[3], ["none"]) if "id" in operation.parameters else [""]
    path = operation.path.format(id=shelf[0], address="none.svg", paper="a4")
    absent = operation.id in {"readSecurityContact", "readPicture", "readRecordedPressing"}
    expected = 404 if absent else 200 if operation.method == "GET" else 400 if operation.needed else 415

    assert ask(operation.method, path).status_code == expected


def test_the_page_asks_nobody_else(ask: Ask) -> None:
    """The documentation page loads from the service alone, and its policy forbids anything else."""
    page = ask("GET", "/docs")
    policy = page.headers["content-security-policy"]

    assert re.findall(r'(?:src|href)="([^"]+)"', page.text) == [
        "data:,", "/docs/swagger-ui.css", "/docs/swagger-ui-bundle.js", "/docs/start.js",
    ]  # fmt: skip
    assert "default-src 'none'" in policy
    assert "http" not in policy
    assert "http" not in page.text
