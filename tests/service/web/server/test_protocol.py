"""The server's reader of HTTP: heads that come too slowly, or not at all; bodies that nobody waits for."""

from __future__ import annotations

import contextlib
import json
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from structlog.testing import capture_logs

from featherline_service.web.http.context import context_of
from featherline_service.web.server.protocol import Protocol, connections_refused

REQUEST = b"GET /tide HTTP/1.1\r\nhost: x\r\n\r\n"


class Hasty(Protocol):
    """The server's protocol, with little patience."""

    head_s = 0.3
    rest_s = 0.3
    most_rest = 1_000_000


async def app(scope: Any, _receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
    """Answer with the method; at /whole with whether all of the request is there."""
    body = str(context_of(scope).complete if scope["path"] == "/whole" else scope["method"]).encode()
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % len(body))]})
    await send({"type": "http.response.body", "body": body})


def unreadable() -> float:
    """Return how many requests could not be read so far."""
    (family,) = connections_refused.collect()
    return sum(each.value for each in family.samples if each.labels["reason"] == "unreadable")


@contextlib.contextmanager
def connected() -> Iterator[socket.socket]:
    """Run a hasty server; yields a connection to it."""
    with socket.create_server(("127.0.0.1", 0)) as listening, capture_logs():
        config = uvicorn.Config(app, interface="asgi3", http=Hasty, ws="none", lifespan="off", log_config=None)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        try:
            with socket.create_connection(listening.getsockname(), timeout=20) as connection:
                yield connection
        finally:
            server.should_exit = True
            thread.join(20)


def rest(connection: socket.socket) -> bytes:
    """Return what comes until the connection closes."""
    return b"".join(iter(lambda: connection.recv(65536), b""))


def test_the_application_is_told_whether_a_request_is_all_there() -> None:
    """Of each on its connection: of one that came at once, of one whose body is to come, and of two at once."""
    head = b"POST /whole HTTP/1.1\r\nhost: x\r\ncontent-length: 2\r\n\r\n"
    with connected() as connection:
        connection.sendall(head + b"{}")
        answers = [connection.recv(65536)]
        connection.sendall(head)
        answers.append(connection.recv(65536))
        connection.sendall(b"{}" + head + b"{}" + head + b"{}")
        both = connection.recv(65536)
        while both.count(b"HTTP/1.1") < 2:
            both += connection.recv(65536)

    assert [b"True", b"False"] == [answer.splitlines()[-1] for answer in answers]
    assert 2 == both.count(b"True")
    of_another_server: Any = {"type": "http", "headers": []}
    assert not context_of(of_another_server).complete


@pytest.mark.parametrize("pause_s", [0.0, 0.1])
def test_a_body_that_comes_after_its_answer_is_dropped(pause_s: float) -> None:
    """However large within its limit: it is taken for no head, and the connection goes on with the next request."""
    body = b"x" * 900_000
    with connected() as connection:
        connection.sendall(b"POST /tide HTTP/1.1\r\nhost: x\r\ncontent-length: %d\r\n\r\n" % len(body))
        first = connection.recv(65536)
        connection.sendall(body[:450_000])
        time.sleep(pause_s)
        connection.sendall(body[450_000:] + REQUEST)
        second = connection.recv(65536)

    assert [(b"HTTP/1.1 200 OK", b"POST"), (b"HTTP/1.1 200 OK", b"GET")] == [
        (answer.splitlines()[0], answer.splitlines()[-1]) for answer in (first, second)
    ]


@pytest.mark.parametrize(("chunk", "pause_s"), [(b"x" * 100_000, 0.0), (b"x", 0.02)], ids=["too large", "too slow"])
def test_a_body_that_does_not_end_after_its_answer_is_cut_off(chunk: bytes, pause_s: float) -> None:
    """Neither at full speed nor byte by byte is a refused body read for ever."""

    def send_on(connection: socket.socket) -> None:
        for _ in range(1_000):
            connection.sendall(b"%x\r\n%b\r\n" % (len(chunk), chunk))
            time.sleep(pause_s)

    with connected() as connection:
        connection.sendall(b"POST /tide HTTP/1.1\r\nhost: x\r\ntransfer-encoding: chunked\r\n\r\n")
        assert connection.recv(65536).endswith(b"POST")
        with pytest.raises(OSError, match=r"reset|[Bb]roken pipe"):
            send_on(connection)


def test_a_head_that_does_not_end_is_given_up() -> None:
    """Whoever sends a byte now and then holds no connection: 408 (RFC 9110 section 15.5.9), and it closes."""
    before = unreadable()
    with connected() as connection:
        connection.sendall(REQUEST[:9])
        time.sleep(0.1)
        connection.sendall(REQUEST[9:20])
        head, _, body = rest(connection).partition(b"\r\n\r\n")

    assert before + 1 == unreadable()
    assert head.startswith(b"HTTP/1.1 408 Request Timeout\r\n")
    assert "urn:featherline:problem:head-too-slow" == json.loads(body)["type"]


def test_a_connection_that_says_nothing_is_closed() -> None:
    """Nobody is there to be told."""
    with connected() as connection:
        assert rest(connection) == b""


def test_a_second_head_that_does_not_end_is_given_up() -> None:
    """After an answer the time begins anew with what comes next."""
    with connected() as connection:
        connection.sendall(REQUEST)
        first = connection.recv(65536)
        time.sleep(0.5)  # longer than a head may take: between requests it does not count
        connection.sendall(b"\r\n")
        given_up = rest(connection)

    assert first.endswith(b"GET")
    assert given_up.startswith(b"HTTP/1.1 408 ")


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"GET /tide HTTP/1.1\r\n\r\n", 400),
        (b"GET /tide HTTP/1.1\r\nhost: x\r\nhost: x\r\n\r\n", 400),
        (b"POST /tide HTTP/1.1\r\nhost: x\r\ntransfer-encoding: gzip, chunked\r\n\r\n0\r\n\r\n", 400),
        (b"NONSENSE\r\n\r\n", 400),
        (b"GET /tide HTTP/1.1\r\nhost: x\r\nx: " + b"a" * 65_536 + b"\r\n\r\n", 431),
        (b"GET /tide HTTP/1.1\r\nhost: x\r\nx: " + b"a" * 65_536, 431),
    ],
    ids=["no host", "two hosts", "coding", "nonsense", "large", "large without end"],
)
def test_what_could_be_read_in_two_ways_or_is_too_large_is_refused(sent: bytes, status: int) -> None:
    """It is a problem document, and the connection closes (RFC 9112 sections 3.2 and 6.1, RFC 6585 section 5)."""
    with connected() as connection:
        connection.sendall(sent)
        head, _, body = rest(connection).partition(b"\r\n\r\n")

    assert head.startswith(f"HTTP/1.1 {status} ".encode())
    assert status == json.loads(body)["status"]
