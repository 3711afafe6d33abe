"""Answers and bodies in the codings gzip and zstd, as they cross the wire (RFC 9110 sections 8.4 and 12.5.3)."""

from __future__ import annotations

import asyncio
import gzip
import json
import sys
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

import httpx2
import pytest
from structlog.testing import capture_logs

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

from featherline_service.web.server.envelope import Envelope

EXAMPLES = Path(__file__).parents[2] / "openapi" / "examples"
QUOTE = (EXAMPLES / "quote-request.json").read_bytes()
LINE = b'{"kind":"quote","request":%b}\n' % QUOTE.replace(b"\n", b"")
JSON = {"content_type": "application/json"}
LINES = {"content_type": "application/jsonl"}
ENCODE: Mapping[str, Callable[[bytes], bytes]] = {"gzip": gzip.compress, "zstd": zstd.compress}
DECODE: Mapping[str, Callable[[bytes], bytes]] = {"gzip": gzip.decompress, "zstd": zstd.decompress}
READ = [
    "/v1/book",
    "/v1/book/films",
    "/v1/book/films/smooth",
    "/.well-known/jwks.json",
    "/openapi.json",
    "/docs",
    "/docs/swagger-ui.css",
]


class Answer(NamedTuple):
    """An answer as received, not decoded."""

    status: int
    headers: httpx2.Headers
    body: bytes


Raw = Callable[..., Answer]


@pytest.fixture
def raw(app: Envelope) -> Raw:
    """Send a request, and return the answer without decoding it."""

    async def send(method: str, path: str, headers: Mapping[str, str], content: bytes) -> Answer:
        transport = httpx2.ASGITransport(app, raise_app_exceptions=False)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            # The client's own wish is for what it can decode; here it is the test's.
            client.headers.pop("accept-encoding")
            async with client.stream(method, path, content=content, headers=headers) as response:
                body = b"".join([part async for part in response.aiter_raw()])
                return Answer(response.status_code, response.headers, body)

    def run(method: str, path: str, content: bytes = b"", **headers: str) -> Answer:
        with capture_logs():
            return asyncio.run(send(method, path, {name.replace("_", "-"): headers[name] for name in headers}, content))

    return run


@pytest.mark.parametrize("coding", ["gzip", "zstd"])
@pytest.mark.parametrize(
    ("path", "example", "accept"),
    [
        ("/v1/quotes", "quote-request", "application/json"),
        ("/v1/quotes", "quote-request", "text/html"),
        ("/v1/quotes", "quote-request", "application/pdf"),
        ("/v1/fits", "fit-request", "image/svg+xml"),
        ("/v1/recipes", "recipe-request", "application/json"),
        ("/v1/rosters", "roster-request", "application/json"),
    ],
)
def test_an_answer_is_the_same_in_every_coding(raw: Raw, path: str, example: str, accept: str, coding: str) -> None:
    """Decoded, byte for byte; asked twice, the coded bytes are the same too."""
    body = (EXAMPLES / f"{example}.json").read_bytes()
    plain = raw("POST", path, body, **JSON, accept=accept)
    coded, again = (raw("POST", path, body, **JSON, accept=accept, accept_encoding=coding) for _ in range(2))

    assert plain.body == DECODE[coding](coded.body)
    assert coded.body == again.body
    assert len(coded.body) < len(plain.body)
    assert (None, coding) == (plain.headers.get("content-encoding"), coded.headers["content-encoding"])
    assert str(len(coded.body)) == coded.headers["content-length"]
    assert plain.headers["content-type"] == coded.headers["content-type"]
    assert "accept-encoding" in coded.headers["vary"].lower().split(", ")
    assert plain.headers["vary"] == coded.headers["vary"]


@pytest.mark.parametrize("path", READ)
def test_each_coding_has_an_etag(raw: Raw, path: str) -> None:
    """A strong ETag belongs to one coding's bytes (RFC 9110 section 8.8.3.3), and is revalidated in that coding."""
    wishes = {"identity": "", "gzip": "gzip, identity;q=0", "zstd": "zstd, identity;q=0"}
    answers = {coding: raw("GET", path, accept_encoding=wish) for coding, wish in wishes.items()}
    tags = {coding: answer.headers["etag"] for coding, answer in answers.items()}

    assert [200] * 3 == [answer.status for answer in answers.values()]
    assert 3 == len(set(tags.values()))
    for coding in ("gzip", "zstd"):
        assert answers["identity"].body == DECODE[coding](answers[coding].body)
        own = raw("GET", path, accept_encoding=wishes[coding], if_none_match=tags[coding])
        other = raw("GET", path, accept_encoding=wishes[coding], if_none_match=tags["identity"])
        assert (304, b"", tags[coding]) == (own.status, own.body, own.headers["etag"])
        assert "content-encoding" not in own.headers
        assert answers[coding].headers["vary"] == own.headers["vary"]
        assert (200, answers[coding].body) == (other.status, other.body)
        head = raw("HEAD", path, accept_encoding=wishes[coding])
        dropped = {"x-request-id"}
        assert b"" == head.body
        assert {name: value for name, value in answers[coding].headers.items() if name not in dropped} == {
            name: value for name, value in head.headers.items() if name not in dropped
        }


def test_a_small_answer_is_not_coded(raw: Raw) -> None:
    """Only a caller that forbids identity gets it coded; problems and health checks are never coded."""
    path, wish, garbled = "/v1/seals/check", "gzip, identity;q=0", b'{"seal": "e30.e30.AA"}'
    small, insisting = (raw("POST", path, garbled, **JSON, accept_encoding=each) for each in ("gzip", wish))

    assert (None, "gzip") == (small.headers.get("content-encoding"), insisting.headers["content-encoding"])
    assert small.body == gzip.decompress(insisting.body)
    assert [None, None] == [
        raw("GET", each, accept_encoding=wish).headers.get("content-encoding") for each in ("/health/live", "/nowhere")
    ]


@pytest.mark.parametrize("path", [*READ, "/metrics", "/health/live", "/v1/bulk", "/v1/quotes"])
def test_a_caller_that_accepts_no_coding_gets_406(raw: Raw, path: str) -> None:
    """406, before anything is computed."""
    method = "POST" if path in {"/v1/bulk", "/v1/quotes"} else "GET"
    refused = raw(method, path, b"{}", **(LINES if "bulk" in path else JSON), accept_encoding="br, *;q=0")

    assert (406, "urn:featherline:problem:not-acceptable") == (refused.status, json.loads(refused.body)["type"])


def test_the_metrics_are_coded(raw: Raw) -> None:
    """A Prometheus server's Accept-Encoding gets coded metrics."""
    coded = raw("GET", "/metrics", accept_encoding="gzip")

    assert "gzip" == coded.headers["content-encoding"]
    assert b"# HELP http_server_request_duration_seconds " in gzip.decompress(coded.body)


@pytest.mark.parametrize("coding", ["gzip", "zstd"])
def test_a_body_may_come_in_a_coding(raw: Raw, coding: str) -> None:
    """A coded body gets the same answer or the same faults as a plain one; unknown codings are refused."""
    coded = raw("POST", "/v1/quotes", ENCODE[coding](QUOTE), **JSON, content_encoding=coding)
    wrong = raw("POST", "/v1/quotes", ENCODE[coding](b'{"pairs": 0}'), **JSON, content_encoding=coding)
    other = raw("POST", "/v1/quotes", b"...", **JSON, content_encoding="br")
    broken = raw("POST", "/v1/quotes", ENCODE[coding](QUOTE)[:-4], **JSON, content_encoding=coding)

    assert raw("POST", "/v1/quotes", QUOTE, **JSON).body == coded.body
    plain = raw("POST", "/v1/quotes", b'{"pairs": 0}', **JSON)
    assert json.loads(plain.body)["errors"] == json.loads(wrong.body)["errors"]
    assert (415, "zstd, gzip") == (other.status, other.headers["accept-encoding"])
    assert (400, "urn:featherline:problem:bad-request") == (broken.status, json.loads(broken.body)["type"])


@pytest.mark.parametrize("coding", ["gzip", "zstd"])
def test_the_limit_counts_decoded_bytes(raw: Raw, coding: str) -> None:
    """One decoded byte too many is refused however small the coded body; a bomb of 100 MB as it passes the limit."""
    fits = raw("POST", "/v1/quotes", ENCODE[coding](QUOTE.ljust(1_048_576)), **JSON, content_encoding=coding)
    over = raw("POST", "/v1/quotes", ENCODE[coding](QUOTE.ljust(1_048_577)), **JSON, content_encoding=coding)
    if coding == "gzip":
        stream = zlib.compressobj(9, wbits=31)
        bomb = b"".join(stream.compress(bytes(1_000_000)) for _ in range(100)) + stream.flush()
    else:
        made = zstd.ZstdCompressor()
        bomb = b"".join(made.compress(bytes(1_000_000)) for _ in range(100)) + made.flush()
    burst = raw("POST", "/v1/quotes", bomb[:1_000_000], **JSON, content_encoding=coding)

    assert [200, 413, 413] == [fits.status, over.status, burst.status]


@pytest.mark.parametrize("coding", ["gzip", "zstd"])
def test_lines_come_and_go_in_a_coding(raw: Raw, coding: str) -> None:
    """Coded bulk lines get the same bytes as plain ones, and the stream is complete."""
    lines = LINE * 3 + b"nonsense\n" + LINE.strip()
    plain = raw("POST", "/v1/bulk", lines, **LINES, x_request_id="tide-7")
    coded = raw(
        "POST", "/v1/bulk", ENCODE[coding](lines), **LINES, content_encoding=coding, accept_encoding=coding,
        x_request_id="tide-7",
    )  # fmt: skip

    assert (coding, "Accept-Encoding, Book-Revision, Accept-Language") == (
        coded.headers["content-encoding"],
        coded.headers["vary"],
    )
    assert plain.body == DECODE[coding](coded.body)
    assert [200, 200, 200, 400, 200] == [json.loads(line)["status"] for line in plain.body.splitlines()]


def test_lines_that_break_off_end_with_a_problem(raw: Raw) -> None:
    """The lines that could be read are answered, and a last line says what is wrong."""
    coded = gzip.compress(LINE * 2)
    broken = raw("POST", "/v1/bulk", coded[:-4], **LINES, content_encoding="gzip")
    answers = [json.loads(line) for line in broken.body.splitlines()]

    assert (200, [200, 200, 400]) == (broken.status, [each["status"] for each in answers])
    assert "breaks off" in answers[-1]["problem"]["detail"]
