"""What the envelope does around any application."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, MutableMapping
from datetime import UTC, datetime
from typing import Any

import httpx2
import pytest
from structlog.testing import capture_logs

from featherline_service.web.http.callers import Caller
from featherline_service.web.http.context import ComputedFor, context_of
from featherline_service.web.server.envelope import Envelope

App = Callable[[Any, Any, Any], Awaitable[None]]
Event = MutableMapping[str, Any]


async def answering(scope: Any, _receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
    """Answer with the method that was seen, in two parts, and allow to get."""
    scope["path_template"] = "/anything"
    context_of(scope).caller = Caller(id="harbour-shop", scopes=("ask",), expires=datetime(2027, 1, 1, tzinfo=UTC))
    await send({"type": "http.response.start", "status": 200, "headers": [(b"allow", b"POST, GET")]})
    await send({"type": "http.response.body", "body": scope["method"].encode(), "more_body": True})
    await send({"type": "http.response.body", "body": b"!", "more_body": False})


async def failing(_scope: Any, _receive: Any, _send: Any) -> None:  # noqa: ANN401 - ASGI
    """Fail before answering."""
    raise LookupError("a secret of the inside")


async def breaking_off(_scope: Any, _receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
    """Fail in the middle of an answer."""
    await send({"type": "http.response.start", "status": 200, "headers": []})
    raise LookupError("a secret of the inside")


async def cancelled(_scope: Any, _receive: Any, _send: Any) -> None:  # noqa: ANN401 - ASGI
    """Be cancelled, as when the server stops."""
    raise asyncio.CancelledError


def ask(app: App, method: str = "GET", **headers: str) -> tuple[httpx2.Response, list[Event]]:
    """Return the answer to a request through a new envelope, and the log lines."""
    return ask_envelope(Envelope(app), method, **headers)


def ask_envelope(envelope: Envelope, method: str = "GET", **headers: str) -> tuple[httpx2.Response, list[Event]]:
    """Return the answer to a request through a envelope, and the log lines."""

    async def send() -> httpx2.Response:
        transport = httpx2.ASGITransport(envelope)
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return await client.request(method, "/anything?name=Marlow", headers=headers)

    with capture_logs() as lines:
        response = asyncio.run(send())
    return response, list(lines)


def drive(app: App) -> list[Event]:
    """Return what an application sends through the envelope, without a client to judge it."""
    sent: list[Event] = []

    async def send(message: Any) -> None:  # noqa: ANN401 - ASGI
        sent.append(message)

    scope = {"type": "http", "method": "GET", "path": "/", "headers": []}
    asyncio.run(Envelope(app)(scope, None, send))  # type: ignore[arg-type]
    return sent


def test_head_reaches_the_application_as_get() -> None:
    """The application sees a GET; the caller sees no body."""
    got, _ = ask(answering)
    head, lines = ask(answering, "HEAD")

    assert ("GET!", "", "HEAD") == (got.text, head.text, lines[0]["method"])


def test_what_allows_get_allows_head() -> None:
    """An Allow header names HEAD beside GET."""
    response, _ = ask(answering)

    assert response.headers["allow"] == "GET, HEAD, POST"


def test_a_request_is_one_line_with_its_facts() -> None:
    """The event is constant; the facts are keys, and nothing that the caller said is among them but the id."""
    _, (line,) = ask(answering, **{"x-request-id": "tide-7"})

    assert line.pop("duration_ms") >= 0
    assert (32, 16) == (len(line.pop("trace_id")), len(line.pop("span_id")))
    assert line == {
        "event": "request.finished",
        "log_level": "info",
        "request_id": "tide-7",
        "method": "GET",
        "route": "/anything",
        "key": "harbour-shop",
        "status": 200,
    }


def test_a_request_that_is_refused_before_it_is_routed_has_its_route() -> None:
    """By the templates that the application has; nothing else of a path is in the log."""
    envelope = Envelope(answering, templates=("/v1/quotes", "/v1/book/{kind}/{id}"))

    assert ["/v1/quotes", "/v1/book/{kind}/{id}", None, None] == [
        envelope._route_of(path) for path in ("/v1/quotes", "/v1/book/films/smooth", "/v1/quotes/", "/v1/book/films")
    ]


def test_the_line_tells_how_long_a_computed_answer_waited() -> None:
    """And the processor time that it took; not where nothing was computed."""

    async def computing(scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
        context_of(scope).computed = ComputedFor("questions", 0.25, 0.5)
        await answering(scope, receive, send)

    _, (line,) = ask(computing)
    assert (250.0, 500.0) == (line["queued_ms"], line["computed_ms"])


def test_the_line_names_the_callers_trace() -> None:
    """With a part of its own (the example of Trace Context, section 3.2); a malformed one begins a new trace."""
    trace, span = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
    _, (named,) = ask(answering, traceparent=f"00-{trace}-{span}-01")
    response, (begun,) = ask(answering, traceparent=f"00-{trace}-{span}")

    assert trace == named["trace_id"]
    assert named["span_id"] != span
    assert begun["trace_id"] != trace
    assert "traceparent" not in response.headers


def test_a_failure_shows_an_id_and_nothing_of_the_inside() -> None:
    """The caller learns the id; the log has the id and the exception."""
    response, (failed, finished) = ask(failing, **{"x-request-id": "tide-7"})

    assert (500, "urn:featherline:request:tide-7") == (response.status_code, response.json()["instance"])
    assert "secret" not in response.text
    assert ("request.failed", "error", "tide-7") == (failed["event"], failed["log_level"], failed["request_id"])
    assert isinstance(failed["exc_info"], LookupError)
    assert ("request.finished", 500) == (finished["event"], finished["status"])


def test_an_answer_that_breaks_off_is_logged() -> None:
    """When the answer has begun, nothing else can be sent; the failure is in the log."""
    with capture_logs() as lines:
        sent = drive(breaking_off)

    assert ["http.response.start"] == [message["type"] for message in sent]
    assert [("request.failed", None), ("request.finished", 200)] == [
        (line["event"], line.get("status")) for line in lines
    ]


def test_a_request_that_is_cancelled_is_logged_without_a_status() -> None:
    """The server's stop is no failure of the application, and goes on its way."""
    with capture_logs() as lines, pytest.raises(asyncio.CancelledError):
        drive(cancelled)

    assert [("request.finished", None)] == [(line["event"], line["status"]) for line in lines]


def test_a_leaving_service_closes_connections_and_tells_the_application() -> None:
    """Before, a connection stays open; after, each answer closes its own."""
    told: list[bool] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
        told.append(context_of(scope).stopping)
        await answering(scope, receive, send)

    envelope = Envelope(app)
    staying, _ = ask_envelope(envelope)
    envelope.stop()
    leaving, _ = ask_envelope(envelope)

    assert ([False, True], None, "close") == (
        told, staying.headers.get("connection"), leaving.headers["connection"],
    )  # fmt: skip


def test_other_connections_pass_through() -> None:
    """Lifespan events reach the application untouched."""
    seen: list[Any] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
        seen.append((scope, receive, send))

    scope = {"type": "lifespan"}
    asyncio.run(Envelope(app)(scope, None, None))  # type: ignore[arg-type]

    assert [(scope, None, None)] == seen
