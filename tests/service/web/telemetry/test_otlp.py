"""Requests as spans, as a collector gets them."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import httpx2
import pytest
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from structlog.testing import capture_logs

from featherline_service.__main__ import main
from featherline_service.runtime.engine import ENGINE
from featherline_service.web.http.context import ComputedFor
from featherline_service.web.server.envelope import Envelope
from featherline_service.web.telemetry.otlp import OtlpTracing, TracingError, from_environment, requesting_variable

TRACE = "4bf92f3577b34da6a3ce929d0e0e4736"
SPAN = "00f067aa0ba902b7"
ENDPOINT = "OTEL_EXPORTER_OTLP_ENDPOINT"


class Collector:
    """What collects spans on this machine."""

    def __init__(self) -> None:
        self.requests: list[Any] = []
        collector = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                request = ExportTraceServiceRequest()
                request.ParseFromString(self.rfile.read(int(self.headers["content-length"])))
                collector.requests.append((self.path, request))
                self.send_response(200)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Keep silent."""

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}"

    @property
    def spans(self) -> list[Any]:
        """All spans that came."""
        return [
            span
            for _, request in self.requests
            for resource in request.resource_spans
            for scope in resource.scope_spans
            for span in scope.spans
        ]


@pytest.fixture
def collector() -> Iterator[Collector]:
    """Return a collector that listens."""
    collector = Collector()
    thread = threading.Thread(target=collector.server.serve_forever)
    thread.start()
    yield collector
    collector.server.shutdown()
    collector.server.server_close()
    thread.join()


@pytest.fixture
def sending(collector: Collector, monkeypatch: pytest.MonkeyPatch) -> Iterator[OtlpTracing]:
    """Return what sends spans there, by the variables alone."""
    monkeypatch.setenv(ENDPOINT, collector.url)
    begin = from_environment({ENDPOINT: collector.url})
    assert begin is not None
    made = begin()
    yield made
    made.close()


async def app(scope: Any, _receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
    """Answer as the path says."""
    status = int(scope["path"][1:])
    if status == 500:
        raise LookupError("inside")
    if status == 200:
        scope["path_template"] = "/{status}"
    await send({"type": "http.response.start", "status": status, "headers": []})
    await send({"type": "http.response.body", "body": b"", "more_body": False})


def ask(sending: OtlpTracing, method: str, path: str, **headers: str) -> dict[str, Any]:
    """Ask an application in its shell; return the line of the log."""

    async def run() -> None:
        transport = httpx2.ASGITransport(Envelope(app, start_span=sending.start_span))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            await client.request(method, path, headers=headers)

    with capture_logs() as lines:
        asyncio.run(run())
    return dict(lines[-1])


def facts(span: Any) -> dict[str, Any]:  # noqa: ANN401 - a message of the protocol
    """Return the attributes of a span."""
    return {each.key: each.value.string_value or each.value.int_value for each in span.attributes}


def test_a_request_is_a_span_of_its_callers_trace(collector: Collector, sending: OtlpTracing) -> None:
    """Its ids are those of the log; names and attributes are OpenTelemetry's for HTTP servers (from memory)."""
    line = ask(sending, "GET", "/200?name=Marlow", traceparent=f"00-{TRACE}-{SPAN}-01", tracestate="rojo=7,congo=t")
    sending.close()
    ((path, request),) = collector.requests
    (span,) = collector.spans
    named = {each.key: each.value.string_value for each in request.resource_spans[0].resource.attributes}

    assert "/v1/traces" == path
    assert ("featherline", ENGINE) == (named["service.name"], named["service.version"])
    assert (TRACE, SPAN, "rojo=7,congo=t") == (span.trace_id.hex(), span.parent_span_id.hex(), span.trace_state)
    assert (line["trace_id"], line["span_id"]) == (span.trace_id.hex(), span.span_id.hex())
    assert ("GET /{status}", 2) == (span.name, span.kind)  # 2: SPAN_KIND_SERVER
    assert {
        "http.request.method": "GET",
        "url.scheme": "http",
        "http.route": "/{status}",
        "http.response.status_code": 200,
    } == facts(span)


def test_what_failed_says_so(collector: Collector, sending: OtlpTracing) -> None:
    """A 500 is an error; a 404 is the caller's, has no route, and a method that there is not has none of its own."""
    ask(sending, "GET", "/500")
    ask(sending, "BREW", "/404")
    sending.close()
    failed, lost = collector.spans

    assert ("GET", 2, "500") == (failed.name, failed.status.code, facts(failed)["error.type"])  # 2: STATUS_CODE_ERROR
    assert ("HTTP", 0, "_OTHER") == (lost.name, lost.status.code, facts(lost)["http.request.method"])
    assert "error.type" not in facts(lost)
    assert b"" == failed.parent_span_id
    assert failed.trace_id != lost.trace_id


def test_a_request_without_an_answer_is_an_error(collector: Collector, sending: OtlpTracing) -> None:
    """Its caller or the server broke off."""
    sending.start_span(None).end("GET", "http", None, 0)
    sending.close()
    (span,) = collector.spans

    assert {"http.request.method": "GET", "url.scheme": "http", "error.type": "_OTHER"} == facts(span)


def test_a_span_tells_of_the_line_and_of_the_computation(collector: Collector, sending: OtlpTracing) -> None:
    """The class of its caller, how long it waited for a process, and what it took."""
    sending.start_span(None).end("POST", "http", "/v1/fits", 200, ComputedFor("questions", 0.25, 0.5))
    sending.close()
    (span,) = collector.spans
    numbers = {each.key: each.value.double_value for each in span.attributes if each.key.endswith("duration")}

    assert "questions" == facts(span)["featherline.caller.class"]
    assert {"featherline.queue.duration": 0.25, "featherline.computing.duration": 0.5} == numbers


def test_a_caller_that_does_not_sample_is_heeded(collector: Collector, sending: OtlpTracing) -> None:
    """Nothing is sent of its trace, but the log names it (the sampler that OTEL_TRACES_SAMPLER is by default)."""
    line = ask(sending, "GET", "/200", traceparent=f"00-{TRACE}-{SPAN}-00")
    sending.close()

    assert (TRACE, []) == (line["trace_id"], collector.spans)


@pytest.mark.parametrize(
    ("environment", "asking"),
    [
        ({}, None),
        ({ENDPOINT: " "}, None),
        ({ENDPOINT: "http://collector:4318"}, ENDPOINT),
        ({"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT": "http://c:4318/v1/traces"}, "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT"),
        ({"OTEL_TRACES_EXPORTER": "otlp"}, "OTEL_TRACES_EXPORTER"),
        ({ENDPOINT: "http://c:4318", "OTEL_EXPORTER_OTLP_PROTOCOL": "http/protobuf"}, ENDPOINT),
        ({ENDPOINT: "http://c:4318", "OTEL_TRACES_EXPORTER": "none"}, None),
        ({ENDPOINT: "http://c:4318", "OTEL_SDK_DISABLED": "True"}, None),
    ],
)
def test_spans_are_sent_where_the_environment_asks(environment: dict[str, str], asking: str | None) -> None:
    """By OpenTelemetry's own variables; an empty one is none (its specification of environment variables)."""
    assert asking == requesting_variable(environment)


@pytest.mark.parametrize(
    ("environment", "words"),
    [
        ({"OTEL_TRACES_EXPORTER": "console"}, "OTEL_TRACES_EXPORTER is 'console'"),
        ({ENDPOINT: "http://c", "OTEL_EXPORTER_OTLP_PROTOCOL": "grpc"}, "OTEL_EXPORTER_OTLP_PROTOCOL is 'grpc'"),
    ],
)
def test_what_is_not_to_be_had_is_refused(environment: dict[str, str], words: str) -> None:
    """In a sentence that names the variable."""
    with pytest.raises(TracingError, match=words):
        from_environment(environment)


def test_without_the_extra_the_start_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who asks for nothing needs nothing."""
    monkeypatch.setitem(sys.modules, "opentelemetry.sdk.trace", None)

    assert from_environment({}) is None
    with pytest.raises(TracingError, match=rf"{ENDPOINT} asks for spans .* Install featherline-service\[otlp\]"):
        from_environment({ENDPOINT: "http://collector:4318"})


def test_the_environments_name_of_the_service_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """OTEL_SERVICE_NAME is for whoever runs it to choose."""
    monkeypatch.setenv("OTEL_SERVICE_NAME", "quay-quotes")
    begin = from_environment({ENDPOINT: "http://127.0.0.1:9", "OTEL_SERVICE_NAME": "quay-quotes"})
    assert begin is not None
    made = begin()
    made.close()

    assert "quay-quotes" == made._provider.resource.attributes["service.name"]


def test_a_service_that_stops_has_sent_its_spans(collector: Collector) -> None:
    """The process as it is started, by the environment alone: what was not sent yet is sent before it ends."""
    environment = {**os.environ, "FEATHERLINE_PORT": "0", ENDPOINT: collector.url}
    command = [sys.executable, "-m", "featherline_service"]
    with subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        try:
            port = json.loads(process.stderr.readline())["port"]
            headers = {"traceparent": f"00-{TRACE}-{SPAN}-01"}
            httpx2.get(f"http://127.0.0.1:{port}/health/live", headers=headers, trust_env=False)
            process.send_signal(signal.SIGTERM)
            assert 0 == process.wait(30)
        finally:
            process.kill()
    (span,) = collector.spans

    assert (TRACE, "GET /health/live") == (span.trace_id.hex(), span.name)


def test_a_service_that_cannot_send_spans_does_not_start(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says so in one sentence, and exits with 2."""
    monkeypatch.setenv("OTEL_TRACES_EXPORTER", "console")

    assert 2 == main([])

    (said,) = capsys.readouterr().err.splitlines()
    assert "featherline-service cannot start: OTEL_TRACES_EXPORTER is 'console'" in said
