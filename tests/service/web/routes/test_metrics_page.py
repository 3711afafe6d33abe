"""The metrics of the whole service, as they are read."""

from __future__ import annotations

import asyncio
import platform
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import httpx2
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse_openmetrics
from prometheus_client.parser import text_string_to_metric_families as parse_text
from structlog.testing import capture_logs

from featherline_service.app import create_app
from featherline_service.book.loader import load
from featherline_service.runtime.engine import ENGINE
from featherline_service.settings import Settings
from featherline_service.web.server.caller_keys import Keys, mint
from featherline_service.web.server.envelope import Envelope

EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
JSON = {"content-type": "application/json"}
LINES = {"content-type": "application/jsonl"}
# What a Prometheus 3 server sends (from memory).
SCRAPING = (
    "application/openmetrics-text;version=1.0.0;escaping=allow-utf-8;q=0.6,"
    "application/openmetrics-text;version=0.0.1;q=0.5,text/plain;version=1.0.0;escaping=allow-utf-8;q=0.4,"
    "text/plain;version=0.0.4;q=0.3,*/*;q=0.2"
)
Sent = tuple[str, str, bytes, Mapping[str, str]]
Samples = Mapping[tuple[str, frozenset[tuple[str, str]]], float]


@pytest.fixture
def app() -> Envelope:
    """Return a service that nobody has asked anything."""
    return create_app(Settings())


def send(app: Envelope, *requests: Sent) -> list[httpx2.Response]:
    """Return the answers to some requests, one after the other."""

    async def run() -> list[httpx2.Response]:
        transport = httpx2.ASGITransport(app)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return [await client.request(method, path, content=body, headers=h) for method, path, body, h in requests]

    with capture_logs():
        return asyncio.run(run())


def samples(response: httpx2.Response) -> Samples:
    """Return the samples of an answer in the text format, read by the library's own parser."""
    families = parse_text(response.text)
    return {(each.name, frozenset(each.labels.items())): each.value for family in families for each in family.samples}


def one(found: Samples, name: str, **labels: str) -> float | None:
    """Return the value of a series; None where there is none. Empty labels are none (Prometheus' data model)."""
    given = frozenset((key, value) for key, value in labels.items())
    for (each, own), value in found.items():
        if each == name and given == frozenset(pair for pair in own if pair[1]):
            return value
    return None


def get(path: str, **headers: str) -> Sent:
    """Return a request to read."""
    return "GET", path, b"", headers


def test_what_happened_is_in_the_metrics(app: Envelope) -> None:
    """Requests by their route, also those to nowhere; verdicts, caches, lines, waits, the book, the process."""
    quote = (EXAMPLES / "clog.json").read_bytes()
    *_, read = send(
        app,
        ("POST", "/v1/quotes", quote, JSON),
        ("POST", "/v1/quotes", quote, JSON),
        ("POST", "/v1/bulk", b'{"kind":"quote","request":%b}\nnonsense\n' % quote.replace(b"\n", b""), LINES),
        get("/v1/book/films/smooth"),
        get("/v1/book/films/flock"),
        ("HEAD", "/v1/book/films/flock", b"", {}),
        get("/no-such/path-of-mine"),
        ("BREW", "/coffee", b"", {}),
        ("DELETE", "/v1/quotes", b"", {}),
        ("POST", "/v1/quotes", b"{}".ljust(2_000_000), JSON),
        get("/metrics"),
    )
    found = samples(read)

    def requests(method: str, status: str, **labels: str) -> float | None:
        labels |= {"http_request_method": method, "http_response_status_code": status, "url_scheme": "http"}
        return one(found, "http_server_request_duration_seconds_count", **labels)

    assert (200, "text/plain; version=0.0.4; charset=utf-8") == (read.status_code, read.headers["content-type"])
    assert [2.0, 1.0, 2.0, 1.0] == [
        requests("POST", "200", http_route="/v1/quotes"),
        requests("POST", "413", http_route="/v1/quotes"),
        requests("GET", "200", http_route="/v1/book/{kind}/{id}"),
        requests("HEAD", "200", http_route="/v1/book/{kind}/{id}"),
    ]
    assert [1.0, 1.0, 1.0] == [requests("GET", "404"), requests("_OTHER", "404"), requests("DELETE", "405")]
    assert 1.0 == one(found, "http_server_active_requests", http_request_method="GET", url_scheme="http")
    assert 3.0 == one(found, "featherline_verdicts_total", question="composeQuote", verdict="decline")
    assert 3.0 == one(
        found, "featherline_reasons_total", question="composeQuote", code="heat.no-window", verdict="decline"
    )
    assert [1.0, 2.0] == [
        one(found, "featherline_cache_lookups_total", cache="answers", result=result) for result in ("hit", "miss")
    ]
    assert [1.0, 1.0] == [
        one(found, "featherline_bulk_lines_total", kind=kind, status=status)
        for kind, status in (("quote", "200"), ("problem", "400"))
    ]
    assert 0.0 == one(found, "featherline_bulk_streams")
    assert [1.0, 1.0] == [
        one(found, f"featherline_{name}_seconds_count", **{"class": "questions"})
        for name in ("queue_wait", "computing")
    ]
    assert [1.0, 2.0, 1.0] == [
        one(found, "featherline_refusals_total", key="(keyless)", problem=problem)
        for problem in ("body-too-large", "no-such-path", "method-not-allowed")
    ]
    assert [1.0] == [
        value
        for (name, labels), value in found.items()
        if name == "featherline_seal_key_info" and ("temporary", "true") in labels
    ]
    assert found[
        "featherline_build_info",
        frozenset({"book": load().revision, "engine": ENGINE, "python": platform.python_version()}.items()),
    ]
    assert (one(found, "featherline_heat_solves_total") or 0) > 0
    assert (one(found, "featherline_cache_bytes", store="answers") or 0) > len(quote)
    assert 8 * 1024 * 1024 == one(found, "featherline_cache_limit_bytes", store="answers")
    assert (one(found, "process_resident_memory_bytes") or 0) > 1e7
    assert (one(found, "process_cpu_seconds_total") or 0) > 0


def test_when_keys_end_is_told(tmp_path: Path) -> None:
    """By their ids; the second is that of `date -d 2027-06-01T12:00:00Z +%s`. Without keys there is none."""
    path = tmp_path / "keys.toml"
    key, entry = mint("prometheus", datetime(2026, 6, 1, 12, tzinfo=UTC))
    path.write_text(entry.replace('["ask"]', '["watch"]'))
    with_keys = create_app(Settings(), keys=Keys(path, lambda: datetime(2026, 6, 1, 12, tzinfo=UTC)))
    (keyed,) = send(with_keys, get("/metrics", authorization=f"Bearer {key}"))
    (keyless,) = send(create_app(Settings()), get("/metrics"))

    name = "featherline_key_expires_timestamp_seconds"
    assert [1811851200.0, None] == [one(samples(each), name, key="prometheus") for each in (keyed, keyless)]


def test_nothing_that_callers_send_is_in_the_metrics(app: Envelope) -> None:
    """No path, no query, no body, no header."""
    *_, read = send(
        app,
        ("POST", "/v1/quotes?tide=Marlow-secret", b'{"Marlow-secret": 1}', {**JSON, "authorization": "Bearer Marlow"}),
        ("POST", "/v1/quotes", b'{"Marlow-secret": 1}', {**JSON, "x-request-id": "Marlow-secret"}),
        ("POST", "/v1/bulk", b'{"kind":"Marlow-secret","id":"Marlow","request":{}}', LINES),
        ("MARLOW", "/Marlow-secret", b"", {}),
        get("/v1/book/films/marlow-secret"),
        get("/metrics"),
    )

    assert "marlow" not in read.text.lower()


def test_metrics_may_be_read_as_they_are(app: Envelope) -> None:
    """Without a coding, and with one where the client takes it: the same families."""
    plain, coded = send(app, *(get("/metrics", **{"accept-encoding": each}) for each in ("identity", "gzip")))

    assert (None, "gzip") == (
        plain.headers.get("content-encoding"),
        coded.headers["content-encoding"],
    )
    assert {family.name for family in parse_text(plain.text)} == {family.name for family in parse_text(coded.text)}


def test_openmetrics_is_there_for_whoever_prefers_it(app: Envelope) -> None:
    """As a Prometheus server asks; the whole document is well-formed by the library's strict parser."""
    plain, open_, refused = send(
        app, get("/metrics", accept="*/*"), get("/metrics", accept=SCRAPING), get("/metrics", accept="application/json")
    )

    assert "application/openmetrics-text; version=1.0.0; charset=utf-8" == open_.headers["content-type"]
    assert open_.text.endswith("# EOF\n")
    assert {family.name for family in parse_text(plain.text)} == {
        family.name for family in parse_openmetrics(open_.text)
    }
    assert (406, "application/problem+json") == (refused.status_code, refused.headers["content-type"])
    assert ("no-store", "Accept, Accept-Encoding") == (plain.headers["cache-control"], plain.headers["vary"])


def test_whether_the_file_of_keys_can_be_used_is_told(tmp_path: Path) -> None:
    """1 at first, 0 when it was broken, 1 when it is mended."""
    path = tmp_path / "keys.toml"
    key, entry = mint("prometheus", datetime(2026, 6, 1, 12, tzinfo=UTC))
    path.write_text(entry.replace('["ask"]', '["watch"]'))
    keys = Keys(path, lambda: datetime(2026, 6, 1, 12, tzinfo=UTC))
    app, told = create_app(Settings(), keys=keys), []
    for content in (path.read_text(), "keys = 7", path.read_text() + "\n"):
        path.write_text(content)
        keys.look()
        (page,) = send(app, get("/metrics", authorization=f"Bearer {key}"))
        told.append(one(samples(page), "featherline_key_file_usable"))

    assert [1.0, 0.0, 1.0] == told


def test_checks_of_seals_are_counted(app: Envelope) -> None:
    """By what was found."""
    *_, page = send(app, ("POST", "/v1/seals/check", b'{"seal":"none"}', JSON), get("/metrics"))

    assert 1.0 == one(samples(page), "featherline_seal_checks_total", status="malformed")


def test_a_key_that_has_expired_is_counted_by_its_id(tmp_path: Path) -> None:
    """So is one that is not yet valid; a key that is unknown, and a request without one, have none."""
    path = tmp_path / "keys.toml"
    noon = datetime(2026, 6, 1, 12, tzinfo=UTC)
    (watch, entry), (old, old_entry), (new, new_entry) = (mint(name, noon) for name in ("prometheus", "old", "new"))
    old_entry = old_entry.replace("expires = 2027", "expires = 2025")
    path.write_text(
        entry.replace('["ask"]', '["watch"]') + old_entry + new_entry + "not_before = 2026-06-02T12:00:00Z\n"
    )
    app = create_app(Settings(), keys=Keys(path, lambda: noon))
    shown = [{"authorization": f"Bearer {key}"} for key in (old, old, new, "fl_nobodys", watch)]
    *refused, page = send(app, get("/v1/book"), *(get("/metrics", **each) for each in shown))

    assert [401] * 5 == [response.status_code for response in refused]
    assert [2.0, 1.0, 1.0] == [
        one(samples(page), "featherline_refusals_total", problem="key-refused", **labels)
        for labels in ({"key": "old"}, {"key": "new"}, {})
    ]
    assert 1.0 == one(samples(page), "featherline_refusals_total", problem="key-required")
    assert not any(key in page.text for key in (old, new, watch))
