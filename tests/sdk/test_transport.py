"""Both clients in front of a service, or a proxy, that answers badly, late, or not at all."""

from __future__ import annotations

import asyncio
import pickle
import socket
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, ClassVar

import httpx2
import msgspec
import pytest
from opentelemetry import trace
from opentelemetry.propagate import inject

import featherline
import featherline._transport
from featherline.wire import BookAnswer, BookShoe, Fault, Film, FitRequest, Problem, Size, TextArtwork

Ask = Callable[..., Any]

BOOK = BookAnswer(name="Saltmarsh Quay", invented=True, kinds=(), book=f"sha256:{'0' * 64}", engine="0.1.0")
WHOLE = msgspec.json.encode(BOOK)
PROBLEM = Problem(
    type="about:blank",
    title="The request cannot be understood",
    status=422,
    detail="One value cannot be",
    instance="urn:featherline:request:1234",
    errors=(Fault(pointer="/placements/0/film", detail="The book has no film 'smoth'"),),
)


class Answers:
    """A handler that returns an answer or raises an error for each request in turn, and records the requests."""

    def __init__(self, *answers: httpx2.Response | Exception) -> None:
        self._answers = iter(answers)
        self.requests: list[httpx2.Request] = []

    def __call__(self, request: httpx2.Request) -> httpx2.Response:
        """Return or raise the next answer."""
        self.requests.append(request)
        answer = next(self._answers)
        if isinstance(answer, Exception):
            raise answer
        return httpx2.Response(answer.status_code, headers=answer.headers, content=answer.content)


def answer(status: int = 200, content: bytes = WHOLE, **headers: str) -> httpx2.Response:
    """Return a response; underscores in the names of headers become hyphens."""
    return httpx2.Response(status, content=content, headers={k.replace("_", "-"): v for k, v in headers.items()})


def problem(status: int) -> httpx2.Response:
    """Return a problem document as a response."""
    return answer(status, msgspec.json.encode(msgspec.structs.replace(PROBLEM, status=status)))


def test_an_answer_is_read_into_its_type(ask: Ask) -> None:
    """A whole answer becomes its wire type, after one request with the SDK's user agent."""
    handler = Answers(answer())
    assert ask(handler) == BOOK
    [request] = handler.requests
    assert str(request.url) == "http://saltmarsh.test/v1/book"
    assert request.headers["User-Agent"].startswith("featherline/")


def test_unknown_fields_of_an_answer_are_ignored(ask: Ask) -> None:
    """A newer service may add fields to an answer."""
    assert ask(Answers(answer(content=WHOLE[:-1] + b',"tide":"high"}'))) == BOOK


@pytest.mark.parametrize(
    "failure",
    [
        httpx2.ConnectError("refused"),
        httpx2.ConnectTimeout("slow"),
        httpx2.ReadTimeout("slow"),
        httpx2.ReadError("reset"),
        httpx2.RemoteProtocolError("hung up"),
        answer(503, b"<html>starting</html>"),
        answer(503, b"", retry_after="0"),
        answer(429, b"", retry_after="0"),
        problem(503),
    ],
    ids=repr,
)
@pytest.mark.usefixtures("no_waits")
def test_a_temporary_failure_is_retried(ask: Ask, failure: httpx2.Response | Exception) -> None:
    """After a broken connection, silence, 429 and 503 there is another attempt."""
    handler = Answers(failure, answer())
    assert ask(handler) == BOOK
    assert len(handler.requests) == 2


@pytest.mark.parametrize(
    ("failure", "kind"),
    [
        (httpx2.ConnectError("refused"), featherline.ConnectionFailed),
        (httpx2.ReadError("reset"), featherline.ConnectionFailed),
        (httpx2.ReadTimeout("slow"), featherline.TimedOut),
        (problem(503), featherline.Unavailable),
        (answer(429, b"slow down"), featherline.Unavailable),
    ],
    ids=repr,
)
@pytest.mark.usefixtures("no_waits")
def test_the_error_of_the_last_attempt_is_raised(
    ask: Ask, failure: httpx2.Response | Exception, kind: type[Exception]
) -> None:
    """When every attempt fails, the error is that of the last."""
    handler = Answers(*[failure] * 3)
    with pytest.raises(kind):
        ask(handler, attempts=3)
    assert len(handler.requests) == 3


def test_waits_grow_and_leave_time_for_an_attempt(ask: Ask, waits: list[float]) -> None:
    """Without Retry-After the waits are jittered, and none is longer than a quarter of the call's time."""
    with pytest.raises(featherline.ConnectionFailed):
        ask(Answers(*[httpx2.ConnectError("refused")] * 3), timeout=2, attempts=3)
    assert len(waits) == 2
    assert 0.1 <= waits[0] <= 0.225 + 1e-9
    assert 0.2 <= waits[1] + 1e-9 <= 0.325 + 2e-9


def test_one_attempt_is_one_request(ask: Ask) -> None:
    """`attempts=1` turns retries off."""
    handler = Answers(httpx2.ConnectError("refused"))
    with pytest.raises(featherline.ConnectionFailed, match=r"saltmarsh\.test"):
        ask(handler, attempts=1)


def test_retry_after_is_the_wait(ask: Ask, waits: list[float]) -> None:
    """A Retry-After within the call's time replaces the wait."""
    assert ask(Answers(answer(503, b"", retry_after="1"), answer())) == BOOK
    assert waits == [1.0]


def test_a_wait_beyond_the_deadline_is_not_begun(ask: Ask) -> None:
    """When Retry-After is beyond the deadline, the error is raised at once, with that time."""
    handler = Answers(answer(503, b"", retry_after="3600"))
    with pytest.raises(featherline.Unavailable, match="3600 s") as caught:
        ask(handler)
    assert caught.value.retry_after_s == 3600
    assert caught.value.status == 503


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        (None, None),
        ("120", 120.0),
        ("Fri, 31 Dec 1999 23:59:59 GMT", 0.0),
        ("nan", None),
        ("-5", None),
        ("1e3", None),
        ("9" * 5000, None),
        ("Fri, 31 Dec", None),
    ],
)
def test_retry_after_is_read_as_seconds_or_a_date(text: str | None, seconds: float | None) -> None:
    """Seconds and dates are read (RFC 9110 section 10.2.3, which has this date); anything else is ignored."""
    assert featherline._transport._retry_after_s(text) == seconds


def test_the_deadline_ends_a_trickle() -> None:
    """A service that sends a byte now and then cannot prolong a call."""

    def trickle(_: httpx2.Request) -> httpx2.Response:
        def drops() -> Iterator[bytes]:
            while True:
                time.sleep(0.02)
                yield b" "

        return httpx2.Response(200, content=drops())

    with (
        featherline.Client("http://saltmarsh.test", transport=httpx2.MockTransport(trickle)) as client,
        pytest.raises(featherline.TimedOut, match=r"within 0\.2 s"),
    ):
        client.book(timeout=0.2)


@pytest.mark.anyio
async def test_the_deadline_ends_a_trickle_without_blocking() -> None:
    """The same, for the asynchronous client."""

    def trickle(_: httpx2.Request) -> httpx2.Response:
        async def drops() -> AsyncIterator[bytes]:
            while True:
                time.sleep(0.02)  # noqa: ASYNC251 - so that the time passes whatever the event loop
                yield b" "

        return httpx2.Response(200, content=drops())

    async with featherline.AsyncClient("http://saltmarsh.test", transport=httpx2.MockTransport(trickle)) as client:
        with pytest.raises(featherline.TimedOut, match=r"within 0\.2 s"):
            await client.book(timeout=0.2)


@pytest.mark.parametrize(
    ("status", "kind"),
    [
        (400, featherline.RequestRefused),
        (401, featherline.KeyRefused),
        (403, featherline.KeyRefused),
        (404, featherline.NotFound),
        (409, featherline.RevisionGone),
        (422, featherline.RequestRefused),
    ],
)
def test_a_refusal_carries_the_problem_and_its_faults(ask: Ask, status: int, kind: type[Exception]) -> None:
    """A 4xx with a problem document is not retried, and its faults are in the error's attributes and its text."""
    handler = Answers(problem(status))
    with pytest.raises(featherline.RequestRefused) as caught:
        ask(handler)
    assert type(caught.value) is kind
    assert caught.value.faults == PROBLEM.errors
    assert caught.value.status == status
    assert str(caught.value) == (
        f"The request cannot be understood ({status}): One value cannot be\n"
        "  /placements/0/film: The book has no film 'smoth'"
    )


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[]", b'{"title":"no more"}', b"\xff\xfe", b"<html>no</html>", b"[" * 100_000]
)
def test_a_malformed_problem_is_no_refusal(ask: Ask, content: bytes) -> None:
    """A 4xx without a problem document says that the address may be wrong, and has the content."""
    with pytest.raises(featherline.UnexpectedAnswer, match="is the address right") as caught:
        ask(Answers(answer(422, content)))
    assert caught.value.status == 422
    assert caught.value.body == content[:500]


def test_the_page_of_a_gateway_is_a_fault(ask: Ask) -> None:
    """A 502 with a page for people is a service fault without a problem document, and is not retried."""
    with pytest.raises(featherline.ServiceFault, match="502") as caught:
        ask(Answers(answer(502, b"<html>Bad Gateway</html>")))
    assert caught.value.problem is None


def test_a_fault_names_the_request(ask: Ask) -> None:
    """A 500 is raised with the id to report, and is not retried."""
    with pytest.raises(featherline.ServiceFault, match="urn:featherline:request:1234"):
        ask(Answers(problem(500)))


@pytest.mark.parametrize(
    "response",
    [
        answer(content=b""),
        answer(content=WHOLE[:-9]),
        answer(content=b'{"name":3}'),
        answer(content=b"\xff\xfe"),
        answer(content=b"[" * 100_000),
        answer(204, b""),
        answer(302, b"", location="http://elsewhere.test/"),
    ],
    ids=repr,
)
def test_any_other_answer_is_unexpected(ask: Ask, response: httpx2.Response) -> None:
    """An unreadable answer is an error; a redirection is not followed, because the key would go with it."""
    with pytest.raises(featherline.UnexpectedAnswer):
        ask(Answers(response))


def test_an_endless_answer_is_an_error(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    """The client stops reading an answer that is too large."""
    monkeypatch.setattr(featherline._transport, "_LARGEST_ANSWER", 10)
    with pytest.raises(featherline.UnexpectedAnswer, match="larger"):
        ask(Answers(answer()))


FIT = FitRequest(
    shoe=BookShoe(shoe="regatta-deck", size=Size(system="EU", value="42")),
    panel="toe",
    film="smooth",
    artwork=TextArtwork(text="7", font="plain", height="22 mm"),
)


def test_a_picture_is_the_bytes_of_the_answer(ask: Ask) -> None:
    """A picture is requested by its media type, with retries, and is not decoded."""
    handler = Answers(problem(503), answer(content=b"<svg \xff", content_type="image/svg+xml; charset=utf-8"))
    assert ask(handler, "picture", FIT, "image/svg+xml") == b"<svg \xff"
    assert [request.headers["accept"] for request in handler.requests] == [
        "image/svg+xml, application/problem+json",
    ] * 2
    assert msgspec.json.decode(handler.requests[0].content, type=FitRequest) == FIT


def test_a_picture_of_another_media_type_is_unexpected(ask: Ask) -> None:
    """The page of a gateway is not a drawing."""
    with pytest.raises(featherline.UnexpectedAnswer, match=r"asked for image/svg\+xml") as caught:
        ask(Answers(answer(content=b"<html>", content_type="text/html")), "picture", FIT, "image/svg+xml")
    assert caught.value.body == b"<html>"


def test_a_refused_picture_is_a_problem(ask: Ask) -> None:
    """The refusal has its faults."""
    with pytest.raises(featherline.RequestRefused) as caught:
        ask(Answers(problem(422)), "picture", FIT, "image/svg+xml")
    assert caught.value.faults == PROBLEM.errors


@pytest.mark.parametrize(
    ("url", "local"),
    [
        ("http://127.0.0.1:8037", True),
        ("http://localhost", True),
        ("http://[::1]:8037", True),
        ("http://saltmarsh.test", False),
    ],
)
def test_answers_of_this_machine_are_not_compressed(url: str, *, local: bool) -> None:
    """Compression would save no network; elsewhere the HTTP client lists the codings that it decodes."""
    handler = Answers(answer())
    with featherline.Client(url, transport=httpx2.MockTransport(handler)) as client:
        client.book()

    accepted = handler.requests[0].headers["accept-encoding"]
    assert local == (accepted == "identity")
    assert local != ("gzip" in accepted)


def test_the_key_is_sent_and_never_shown(ask: Ask, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bearer token is the argument, else the environment variable; an empty one counts as none."""
    seen = []
    for arguments, environment in (({"key": "given"}, "other"), ({}, "other"), ({"key": ""}, "other"), ({}, "")):
        monkeypatch.setenv("FEATHERLINE_API_KEY", environment)
        handler = Answers(problem(401))
        with pytest.raises(featherline.KeyRefused) as caught:
            ask(handler, **arguments)
        assert "other" not in f"{caught.value!r}{caught.value}"
        seen.append(handler.requests[0].headers.get("Authorization"))
    assert seen == ["Bearer given", "Bearer other", None, None]


def test_a_key_with_a_line_end_is_not_sent(ask: Ask) -> None:
    """A key with a line end is refused before it can split a header, and is not shown."""
    with pytest.raises(ValueError, match="as it was issued") as caught:
        ask(Answers(), key="secret\n")
    assert "secret" not in str(caught.value)


@pytest.mark.usefixtures("no_waits")
def test_the_span_of_the_caller_is_passed_on(ask: Ask) -> None:
    """`trace=opentelemetry.propagate.inject` writes the headers (the example of Trace Context, section 3.2)."""
    handler = Answers(answer())
    span = trace.NonRecordingSpan(
        trace.SpanContext(
            0x4BF92F3577B34DA6A3CE929D0E0E4736,
            0x00F067AA0BA902B7,
            is_remote=False,
            trace_flags=trace.TraceFlags(1),
            trace_state=trace.TraceState([("rojo", "00f067aa0ba902b7")]),
        )
    )
    with trace.use_span(span):
        ask(handler, trace=inject)

    (sent,) = handler.requests
    assert "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01" == sent.headers["traceparent"]
    assert "rojo=00f067aa0ba902b7" == sent.headers["tracestate"]


@pytest.mark.usefixtures("no_waits")
def test_a_language_is_preferred_in_every_attempt(ask: Ask) -> None:
    """The language goes out as Accept-Language (RFC 9110 section 12.5.4); without one there is no such field."""
    handler = Answers(httpx2.ReadError("reset"), answer(), answer())
    ask(handler, language="fr-CA, fr;q=0.9")
    ask(handler)
    assert ["fr-CA, fr;q=0.9"] * 2 + [None] == [sent.headers.get("accept-language") for sent in handler.requests]


def test_trace_headers_are_written_into_every_attempt(ask: Ask) -> None:
    """The W3C trace context is written for each attempt (the example of Trace Context level 1, section 3.2)."""
    parent = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"
    handler = Answers(httpx2.ReadError("reset"), answer())
    ask(handler, trace=lambda headers: headers.update(traceparent=parent))
    assert [request.headers["traceparent"] for request in handler.requests] == [parent, parent]


def test_an_id_is_escaped(ask: Ask) -> None:
    """Any id is one segment of the path."""
    handler = Answers(problem(404))
    with pytest.raises(featherline.NotFound):
        ask(handler, "record", Film, "../a b?c")
    assert handler.requests[0].url.raw_path == b"/v1/book/films/..%2Fa%20b%3Fc"


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        ({"timeout": 0}, "timeout"),
        ({"timeout": float("nan")}, "timeout"),
        ({"attempt_timeout": float("inf")}, "attempt_timeout"),
        ({"attempts": 0}, "attempts"),
        ({"language": "de\n"}, "language"),
    ],
)
def test_impossible_options_are_refused(ask: Ask, arguments: dict[str, Any], complaint: str) -> None:
    """Times and counts below or at zero, infinite or no numbers are refused when the client is made."""
    with pytest.raises(ValueError, match=complaint):
        ask(Answers(), **arguments)


@pytest.mark.parametrize("url", ["saltmarsh.test", "ftp://saltmarsh.test", "http://", "http://[::1", "/v1"])
def test_an_impossible_address_is_refused(url: str) -> None:
    """An address without a scheme or host is refused with an example of one."""
    with pytest.raises(ValueError, match=r"http://127\.0\.0\.1:8037"):
        featherline.Client(url)


def test_the_address_of_the_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the argument, else FEATHERLINE_URL, else the default port of this machine."""
    monkeypatch.setenv("FEATHERLINE_URL", "http://environment.test")
    assert str(featherline._transport.base_url("http://argument.test")) == "http://argument.test"
    assert str(featherline._transport.base_url(None)) == "http://environment.test"
    monkeypatch.delenv("FEATHERLINE_URL")
    assert str(featherline._transport.base_url(None)) == "http://127.0.0.1:8037"


@pytest.mark.anyio
async def test_a_cancelled_call_is_not_retried() -> None:
    """Cancelling an asynchronous call ends it at once."""
    attempts = []

    async def hang(request: httpx2.Request) -> httpx2.Response:
        attempts.append(request)
        await asyncio.sleep(60)
        raise AssertionError("cancelled before")

    async with featherline.AsyncClient("http://saltmarsh.test", transport=httpx2.MockTransport(hang)) as client:
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(client.book(), 0.05)
    assert len(attempts) == 1


def test_an_interrupt_is_not_retried() -> None:
    """An interrupt ends a call at once."""

    def interrupt(_: httpx2.Request) -> httpx2.Response:
        raise KeyboardInterrupt

    with (
        featherline.Client("http://saltmarsh.test", transport=httpx2.MockTransport(interrupt)) as client,
        pytest.raises(KeyboardInterrupt),
    ):
        client.book()


@contextmanager
def served(*answers: bytes) -> Iterator[tuple[str, list[bytes]]]:
    """Serve a connection on loopback for each answer: read a request, send the answer, hang up."""
    requests: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def serve() -> None:
            for content in answers:
                connection, _ = listener.accept()
                with connection:
                    requests.append(connection.recv(65536))
                    connection.sendall(content)

        server = threading.Thread(target=serve)
        server.start()
        yield f"http://127.0.0.1:{listener.getsockname()[1]}", requests
        server.join(timeout=5)


def test_a_broken_connection_is_opened_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """A real socket hangs up, then sends half an answer, then a whole one; no proxy is used for this machine."""
    monkeypatch.setenv("HTTP_PROXY", "http://127.0.0.1:1")
    head = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n" % len(WHOLE)
    with served(b"", head + WHOLE[:20], head + WHOLE) as (url, requests), featherline.Client(url, timeout=5) as client:
        assert client.book() == BOOK
    assert [request.split(b"\r\n")[0] for request in requests] == [b"GET /v1/book HTTP/1.1"] * 3


class KeepingAlive(BaseHTTPRequestHandler):
    """Answers every request with the book and keeps the connection open."""

    protocol_version = "HTTP/1.1"
    wbufsize = -1  # head and body in one packet, or the client's delayed acknowledgement holds up the body
    connections: ClassVar[set[Any]]

    def do_GET(self) -> None:
        """Answer, and record the connection."""
        self.connections.add(self.client_address)
        self.send_response(200)
        self.send_header("Content-Length", str(len(WHOLE)))
        self.end_headers()
        self.wfile.write(WHOLE)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the name in http.server
        """Log nothing."""


@contextmanager
def kept_alive() -> Iterator[str]:
    """Serve the book on loopback; yield the address."""
    KeepingAlive.connections = set()
    with ThreadingHTTPServer(("127.0.0.1", 0), KeepingAlive) as server:
        threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


def test_a_client_is_shared_by_threads_and_reuses_connections() -> None:
    """Four threads make a hundred calls of one client over at most four connections."""
    with kept_alive() as url, featherline.Client(url) as client, ThreadPoolExecutor(max_workers=4) as threads:
        assert list(threads.map(lambda _: client.book(), range(100))) == [BOOK] * 100
    assert 1 <= len(KeepingAlive.connections) <= 4


@pytest.mark.anyio
async def test_an_asynchronous_client_is_shared_by_tasks_and_reuses_connections() -> None:
    """Four tasks make a hundred calls of one client over at most four connections."""
    with kept_alive() as url:
        async with featherline.AsyncClient(url) as client:
            for _ in range(25):
                assert await asyncio.gather(*(client.book() for _ in range(4))) == [BOOK] * 4
    assert 1 <= len(KeepingAlive.connections) <= 4


def test_an_address_may_have_a_path() -> None:
    """The service may be under a path of a larger site."""
    handler = Answers(answer())
    with featherline.Client("http://saltmarsh.test/marking/", transport=httpx2.MockTransport(handler)) as client:
        assert client.book() == BOOK
    assert handler.requests[0].url.path == "/marking/v1/book"


def test_the_address_of_an_unreachable_service_is_named() -> None:
    """The error has the address, and says how to set another."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with (
        featherline.Client(f"http://127.0.0.1:{port}", attempts=1) as client,
        pytest.raises(featherline.ConnectionFailed, match=f"127.0.0.1:{port}.*FEATHERLINE_URL"),
    ):
        client.book()


@pytest.mark.parametrize(
    "error",
    [
        featherline.ConnectionFailed("no"),
        featherline.UnexpectedAnswer("no", 200, b"?"),
        featherline.NotFound(PROBLEM),
        featherline.RevisionGone(PROBLEM),
        featherline.Unavailable(503, PROBLEM, 2.0),
        featherline.ServiceFault(500, None),
    ],
    ids=repr,
)
def test_errors_cross_process_boundaries(error: Exception) -> None:
    """An error is the same after pickling."""
    copy: Any = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own bytes
    assert (type(copy), str(copy), vars(copy)) == (type(error), str(error), vars(error))
