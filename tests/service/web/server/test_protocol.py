"""The server's reader of HTTP: heads that come too slowly, or not at all; bodies that nobody waits for."""

from __future__ import annotations

import contextlib
import itertools
import json
import re
import resource
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from structlog.testing import capture_logs

from featherline_service.web.http.context import context_of
from featherline_service.web.server.protocol import Protocol, connections_refused, most_connections

REQUEST = b"GET /tide HTTP/1.1\r\nhost: x\r\n\r\n"


class Hasty(Protocol):
    """The server's protocol, with little patience."""

    head_s = 0.3
    rest_s = 0.3
    most_rest = 1_000_000
    most_connections = 8


async def received(receive: Any) -> bytes:  # noqa: ANN401 - ASGI
    """Return the body of a request."""
    body, more = b"", True
    while more:
        message = await receive()
        body += message.get("body", b"")
        more = message.get("more_body", False)
    return body


async def app(scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
    """Answer with the method; at /whole whether the request is all there, at /echo its body, at /fields their names."""
    if scope["path"] == "/echo":
        body = await received(receive)
    elif scope["path"] == "/fields":
        body = b", ".join(name for name, _ in scope["headers"])
    else:
        body = str(context_of(scope).complete if scope["path"] == "/whole" else scope["method"]).encode()
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"%d" % len(body))]})
    await send({"type": "http.response.body", "body": body})


def refused(reason: str) -> float:
    """Return how many connections were closed so far for a reason."""
    (family,) = connections_refused.collect()
    return sum(each.value for each in family.samples if each.labels["reason"] == reason)


@contextlib.contextmanager
def serving(lines: list[Any] | None = None) -> Iterator[tuple[str, int]]:
    """Run a hasty server, whose log goes into some lines; yields its address."""
    with socket.create_server(("127.0.0.1", 0)) as listening, capture_logs() as logged:
        config = uvicorn.Config(app, interface="asgi3", http=Hasty, ws="none", lifespan="off", log_config=None)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        try:
            yield listening.getsockname()
        finally:
            server.should_exit = True
            thread.join(20)
            (lines if lines is not None else []).extend(logged)


@contextlib.contextmanager
def connected() -> Iterator[socket.socket]:
    """Run a hasty server; yields a connection to it."""
    with serving() as address, socket.create_connection(address, timeout=20) as connection:
        yield connection


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
    before = refused("unreadable")
    with connected() as connection:
        connection.sendall(REQUEST[:9])
        time.sleep(0.1)
        connection.sendall(REQUEST[9:20])
        head, _, body = rest(connection).partition(b"\r\n\r\n")

    assert before + 1 == refused("unreadable")
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


@pytest.mark.parametrize("separator", [b",", b";", b", ", b"\r\n%b: "], ids=["list", "parameters", "spaced", "fields"])
def test_fields_of_very_many_members_are_refused(separator: bytes) -> None:
    """With 256 members and parameters in all a head is read, with 257 it is refused (RFC 9110 section 5.4)."""
    names = b"accept accept-encoding cookie if-none-match prefer traceparent tracestate x-forwarded-for".split()
    statuses = []
    with serving() as address:
        for name, members in itertools.product(names, (254, 255)):
            value = separator.replace(b"%b", name).join([b"a"] * members)
            with socket.create_connection(address, timeout=20) as connection:
                connection.sendall(LAST[:-2] + name + b": " + value + b"\r\n\r\n")
                statuses.append(rest(connection)[9:12])

    assert [b"200", b"431"] * len(names) == statuses


# Bodies that are requests themselves: whoever reads a body as the next request answers them.
HIDDEN = b"GET /hidden HTTP/1.1\r\nhost: x\r\n\r\n"
LAST = b"GET /tide HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n"
UPGRADES = (
    b"connection: upgrade\r\nupgrade: h2c\r\n",
    b"connection: Upgrade, HTTP2-Settings\r\nupgrade: h2c\r\nhttp2-settings: AAMAAABkAAQCAAAAAAIAAAAA\r\n",
    b"upgrade: websocket\r\nconnection: keep-alive, Upgrade\r\nsec-websocket-version: 13\r\n",
    b"connection: Upgrade\r\nupgrade: tide/7, h2c\r\nupgrade: websocket\r\n",
    b"connection: keep-alive\r\nconnection: UPGRADE\r\nupgrade: TLS/1.2\r\n",
    b"upgrade: h2c\r\n",
    b"connection: upgrade\r\n",
)
FRAMES = {
    "length": (b"content-length: %d\r\n" % len(HIDDEN), HIDDEN),
    "chunks": (b"transfer-encoding: chunked\r\n", b"%x\r\n%b\r\n0\r\n\r\n" % (len(HIDDEN), HIDDEN)),
    "trailer": (b"transfer-encoding: chunked\r\n", b"%x\r\n%b\r\n0\r\ntide: 7\r\n\r\n" % (len(HIDDEN), HIDDEN)),
    "none": (b"", b""),
}


def bodies(answers: bytes) -> list[bytes]:
    """Return the bodies of the answers on a connection."""
    return [
        answers[start.end() : start.end() + int(start[1])]
        for start in re.finditer(rb"HTTP/1.1 200 OK\r\n(?:.+\r\n)*?content-length: (\d+)\r\n(?:.+\r\n)*\r\n", answers)
    ]


def test_a_request_with_upgrade_is_answered_as_if_it_had_none() -> None:
    """Of 56 on connections that go on, each is answered with its body, and no body is read as a request.

    RFC 9110 section 7.8: a server may ignore Upgrade, whose request is then one like any other; the fields of the
    second are what `curl --http2` sends (RFC 7540 section 3.2).
    """
    answered = []
    with serving() as address:
        for upgrade, (framing, body), apart in itertools.product(UPGRADES, FRAMES.values(), [False, True]):
            with socket.create_connection(address, timeout=20) as connection:
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                connection.sendall(b"POST /echo HTTP/1.1\r\nhost: x\r\n" + upgrade + framing + b"\r\n")
                if apart:
                    time.sleep(0.01)
                connection.sendall(body + REQUEST + LAST)
                answered.append(bodies(rest(connection)))

    expected = [[HIDDEN if body else b"", b"GET", b"GET"] for body in (body for _, body in FRAMES.values())]
    assert [each for each in expected for _ in (False, True)] * len(UPGRADES) == answered


@pytest.mark.parametrize(
    ("begun", "part"),
    [(b"2;tide=", b"x" * 60_000), (b"1\r\n7\r\n0\r\n", b"a: " + b"x" * 60_000 + b"\r\n")],
    ids=["extension", "trailer"],
)
def test_framing_without_end_is_cut_off(begun: bytes, part: bytes) -> None:
    """Neither the extension of a chunk nor a trailer is read for ever, though a body may be larger."""

    def send_on(connection: socket.socket) -> None:
        for _ in range(40):
            connection.sendall(part)
            time.sleep(0.01)

    with connected() as connection:
        connection.sendall(b"POST /echo HTTP/1.1\r\nhost: x\r\ntransfer-encoding: chunked\r\n\r\n" + begun)
        with pytest.raises(OSError, match=r"reset|[Bb]roken pipe"):
            send_on(connection)


def test_fields_of_a_trailer_are_none_of_the_head() -> None:
    """They could be what a proxy takes out of heads, such as X-Forwarded-For (RFC 9110 section 6.5.1)."""
    trailed = b"POST /fields HTTP/1.1\r\nhost: x\r\ntransfer-encoding: chunked\r\n\r\n0\r\nx-tide: 7\r\n\r\n"
    with connected() as connection:
        connection.sendall(trailed + LAST)
        assert [b"host, transfer-encoding", b"GET"] == bodies(rest(connection))


def test_many_requests_with_upgrade_at_once_are_all_answered() -> None:
    """However many come in one packet, none is lost."""
    asked = b"POST /echo HTTP/1.1\r\nhost: x\r\n" + UPGRADES[0] + b"content-length: 1\r\n\r\n7"
    with connected() as connection:
        connection.sendall(asked * 2_000 + LAST)
        answers = bodies(rest(connection))

    assert [b"7"] * 2_000 + [b"GET"] == answers


def test_a_request_with_upgrade_that_closes_its_connection_is_the_last() -> None:
    """Its body is read, and what follows is dropped (RFC 9112 section 9.6)."""
    head = b"POST /echo HTTP/1.1\r\nhost: x\r\nconnection: close, upgrade\r\nupgrade: h2c\r\ncontent-length: 4\r\n\r\n"
    with connected() as connection:
        connection.sendall(head + b"tide" + REQUEST)
        assert [b"tide"] == bodies(rest(connection))


def test_javas_client_is_answered() -> None:
    """It asks for HTTP/2 with its first request of all, as its documentation says, and sends the body by itself.

    The default of `java.net.http.HttpClient` (JEP 321; `HttpClient.Version.HTTP_2` in its documentation); the fields
    are those of JDK 17, from memory.
    """
    head = (
        b"POST /echo HTTP/1.1\r\nConnection: Upgrade, HTTP2-Settings\r\nContent-Length: 2\r\nHost: 127.0.0.1\r\n"
        b"HTTP2-Settings: AAEAAEAAAAIAAAABAAMAAABkAAQBAAAAAAUAAEAA\r\nUpgrade: h2c\r\n"
        b"User-Agent: Java-http-client/17.0.9\r\nContent-Type: application/json\r\n\r\n"
    )
    with connected() as connection:
        for _ in range(2):
            connection.sendall(head)
            time.sleep(0.05)
            connection.sendall(b"{}")
            assert [b"{}"] == bodies(connection.recv(65536))


@pytest.mark.skipif(shutil.which("curl") is None, reason="curl is not installed")
def test_curl_with_http2_is_answered() -> None:
    """`curl --http2` offers h2c and takes an answer in HTTP/1.1 (its manual); it uses the connection again."""
    with serving() as (host, port):
        url = f"http://{host}:{port}/echo"
        asked = ["--data-binary", '{"tide": 7}', "--write-out", " %{http_version} %{num_connects}\n", url]
        done = subprocess.run(
            ["curl", "--silent", "--max-time", "20", "--http2", *asked, "--next", "--silent", "--http2", *asked],
            capture_output=True,
            check=True,
        )

    assert [b'{"tide": 7} 1.1 1', b'{"tide": 7} 1.1 0'] == done.stdout.splitlines()


@pytest.mark.parametrize("target", [b"/echo", b"x:443"])
def test_a_tunnel_is_refused_and_the_connection_closes(target: bytes) -> None:
    """What follows CONNECT is no request to this server (RFC 9110 section 9.3.6)."""
    with connected() as connection:
        connection.sendall(b"CONNECT " + target + b" HTTP/1.1\r\nhost: x\r\ncontent-length: 35\r\n\r\n" + HIDDEN)
        answers = rest(connection)

    assert answers.startswith(b"HTTP/1.1 400 ")
    assert 1 == answers.count(b"HTTP/1.1 ")


def test_more_connections_than_there_is_room_for_are_closed_and_logged_once() -> None:
    """Those that are there are answered, and as soon as they leave there is room again; a line tells of each time."""
    lines: list[Any] = []
    before = refused("full")
    with serving(lines) as address:
        for _ in range(2):
            with contextlib.ExitStack() as stack:
                connections = [stack.enter_context(socket.create_connection(address, timeout=20)) for _ in range(20)]
                assert [b""] * 12 == [rest(each) for each in connections[Hasty.most_connections :]]
                for each in connections[: Hasty.most_connections]:
                    each.sendall(LAST)
                    assert [b"GET"] == bodies(rest(each))
        with socket.create_connection(address, timeout=20) as connection:
            connection.sendall(LAST)
            assert [b"GET"] == bodies(rest(connection))

    assert before + 24 == refused("full")
    assert [("connections.full", "error", 8)] * 2 == [
        (line["event"], line["log_level"], line["most"]) for line in lines
    ]


@pytest.mark.parametrize(
    ("files", "most"), [(1024, 960), (64, 32), (resource.RLIM_INFINITY, sys.maxsize)], ids=["usual", "few", "any"]
)
def test_connections_leave_files_for_the_process(monkeypatch: pytest.MonkeyPatch, files: int, most: int) -> None:
    """As many as the limit of open files (getrlimit(2), RLIMIT_NOFILE) leaves; at the least half of it."""
    monkeypatch.setattr(resource, "getrlimit", lambda _: (files, files))

    assert most == most_connections()
