"""Bulk in the real service: as the single questions answer, over real connections, in flat memory.

``BULK_LINES=1000000 pytest tests/service/web/test_bulk_service.py`` asks as many lines as that; unset, fewer.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import pytest
import uvicorn
from msgspec import Struct
from structlog.testing import capture_logs
from unread_books import UNREAD

from featherline_service.app import create_app
from featherline_service.book.shop_book import Book
from featherline_service.computing.this_process import ThisProcess
from featherline_service.settings import Settings
from featherline_service.signatures import temporary_keys
from featherline_service.web.answering.answer_cache import AnswerCache
from featherline_service.web.answering.outcomes import answerer
from featherline_service.web.answering.question import Computed, Question
from featherline_service.web.http.bodies import Body
from featherline_service.web.http.callers import KEYLESS
from featherline_service.web.http.context import context_of
from featherline_service.web.routes.bulk import Bulk, LineAnswers
from featherline_service.web.routes.seals import Seals
from featherline_service.web.server.protocol import Protocol, connections_refused

LINES = int(os.environ.get("BULK_LINES", "10000"))
EXAMPLES = Path(__file__).parents[4] / "openapi" / "examples"
MEDIA_TYPE = {"content-type": "application/jsonl"}
# Where it is always noon, a seal is the same each time.
SEALS = Seals(temporary_keys(), timedelta(days=30), lambda: datetime(2026, 6, 1, 12, tzinfo=UTC))
ASKED = [
    ("quote", "/v1/quotes", "quote-request"),
    ("quote", "/v1/quotes", "walk-in"),
    ("quote", "/v1/quotes", "clog"),
    ("fit", "/v1/fits", "fit-request"),
    ("recipe", "/v1/recipes", "recipe-request"),
    ("cost", "/v1/costs", "cost-request"),
    ("cost", "/v1/costs", "cost-request-measures"),
    ("trial", "/v1/trials", "trial-request"),
    ("artwork", "/v1/artworks", "artwork-request"),
]

Json = dict[str, Any]


def example(name: str) -> Json:
    """Return an example request."""
    found: Json = json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    return found


def post(settings: Settings, *bodies: tuple[str, bytes, dict[str, str]]) -> list[httpx2.Response]:
    """Return the answers of a service to bodies posted to paths with headers, one after the other."""

    async def run() -> list[httpx2.Response]:
        transport = httpx2.ASGITransport(create_app(settings, sealing=SEALS))
        async with httpx2.AsyncClient(transport=transport, base_url="http://saltmarsh.test") as client:
            return [await client.post(path, content=body, headers=headers) for path, body, headers in bodies]

    with capture_logs():
        return asyncio.run(run())


@pytest.mark.parametrize("cache", [0, 67_108_864])
def test_a_line_is_answered_as_its_request_alone(cache: int) -> None:
    """Byte for byte, whether answers are kept or not, and whichever is asked first."""
    lines = [{"kind": kind, "id": name, "request": example(name)} for kind, _, name in ASKED]
    body = "".join(json.dumps(each) + "\n" for each in lines).encode()
    singles = [
        (path, json.dumps(example(name)).encode(), {"content-type": "application/json"}) for _, path, name in ASKED
    ]

    bulk, *alone, again = post(
        Settings(cache=cache), ("/v1/bulk", body, MEDIA_TYPE), *singles, ("/v1/bulk", body, MEDIA_TYPE)
    )

    assert bulk.content == again.content
    assert "application/jsonl" == bulk.headers["content-type"]
    for number, (answered, single, (kind, _, name)) in enumerate(
        zip(bulk.content.splitlines(), alone, ASKED, strict=True), 1
    ):
        head = f'{{"kind":"{kind}","line":{number},"id":"{name}","status":200,"answer":'
        assert head.encode() + single.content + b"}" == answered


def test_a_bad_request_has_the_faults_that_it_has_alone() -> None:
    """The same pointers, below `/request`, and the same words; decoding and the book's alike."""
    order, fit = example("quote-request"), example("fit-request")
    bad = [
        ("quote", "/v1/quotes", {**order, "pairs": "3", "extra": 1}),
        ("quote", "/v1/quotes", {**order, "press": "mangle", "policy": "friends"}),
        ("fit", "/v1/fits", {**fit, "film": "smoothest", "panel": "sole"}),
        ("cost", "/v1/costs", {"kind": "order", "order": {**order, "press": "mangle"}}),
        ("recipe", "/v1/recipes", {"film": "smooth", "onto": {}}),
        ("trial", "/v1/trials", []),
        ("artwork", "/v1/artworks", {"film": "velvet", "artwork": {**fit["artwork"], "font": "italic"}}),
    ]
    body = "".join(json.dumps({"kind": kind, "request": request}) + "\n" for kind, _, request in bad).encode()
    singles = [(path, json.dumps(request).encode(), {"content-type": "application/json"}) for _, path, request in bad]

    bulk, *alone = post(Settings(), ("/v1/bulk", body, MEDIA_TYPE), *singles)

    for answered, single in zip(map(json.loads, bulk.content.splitlines()), alone, strict=True):
        expected = [{**fault, "pointer": f"/request{fault['pointer']}"} for fault in single.json()["errors"]]
        assert expected
        assert (single.status_code, single.json()["detail"], expected) == (
            *(answered["status"], answered["problem"]["detail"]),
            answered["problem"]["errors"],
        )


@pytest.mark.parametrize(
    ("headers", "status", "kind"),
    [
        ({}, 415, "unsupported-media-type"),
        ({"content-type": "application/json"}, 415, "unsupported-media-type"),
        ({"content-type": "text/plain"}, 415, "unsupported-media-type"),
        ({"content-type": "application/jsonl; charset=latin-1"}, 415, "unsupported-media-type"),
        ({**MEDIA_TYPE, "content-encoding": "br"}, 415, "unsupported-media-type"),
        ({**MEDIA_TYPE, "accept": "application/json"}, 406, "not-acceptable"),
    ],
)
def test_what_is_no_lines_is_refused_as_a_whole(headers: dict[str, str], status: int, kind: str) -> None:
    """Nothing of it is answered."""
    (answer,) = post(Settings(), ("/v1/bulk", b"{}\n", headers))

    assert (status, f"urn:featherline:problem:{kind}") == (answer.status_code, answer.json()["type"])


@pytest.mark.parametrize(
    "media_type", ["application/jsonl", "application/x-ndjson", "Application/JSONL; charset=UTF-8"]
)
def test_lines_go_by_two_names(media_type: str) -> None:
    """Neither is registered; both are in use."""
    (answer,) = post(Settings(), ("/v1/bulk", b"{}\n", {"content-type": media_type}))

    assert (200, 422) == (answer.status_code, answer.json()["status"])


class Wait(Struct, frozen=True):
    """What is asked: to wait, and for an answer of some length."""

    ms: int
    length: int


class Stalling(Protocol):
    """The server's protocol, with little patience."""

    stalled_s = 0.3


def stalled() -> float:
    """Return how many connections were cut off so far because nobody read the answer."""
    (family,) = connections_refused.collect()
    return sum(each.value for each in family.samples if each.labels["reason"] == "stalled")


class Served:
    """Bulk in front of waits, behind the real server on a port of its own, in a thread."""

    def __init__(self) -> None:
        self.answered = 0
        questions = {"wait": Question("wait", Body(Wait), self.answer)}
        answers = AnswerCache(ThisProcess(answerer((UNREAD,), questions)), 0)
        self.bulk = Bulk(LineAnswers(questions, answers, 100_000), 100_000)

    def answer(self, _book: Book, request: Wait, _language: str) -> Computed:
        """Wait, and count."""
        time.sleep(request.ms / 1e3)
        self.answered += 1
        return Computed(b'"' + b"x" * request.length + b'"')

    async def app(self, scope: Any, receive: Any, send: Any) -> None:  # noqa: ANN401 - ASGI
        """Serve streams alone."""
        context_of(scope).caller = KEYLESS
        await self.bulk.serve(scope, receive, send)


@contextlib.contextmanager
def serving() -> Iterator[tuple[Served, int]]:
    """Run the real server in front of waits; yields what is served, and its port."""
    served = Served()
    listening = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        served.app,
        interface="asgi3",
        http=Stalling,
        ws="none",
        lifespan="off",
        log_config=None,
        timeout_graceful_shutdown=2,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, args=([listening],))
    with capture_logs():
        thread.start()
        try:
            yield served, listening.getsockname()[1]
        finally:
            server.should_exit = True
            thread.join(20)
            listening.close()


def asking(port: int, lines: int, ms: int, length: int) -> socket.socket:
    """Return a connection that has asked for some waits, in a body that has not ended."""
    connection = socket.create_connection(("127.0.0.1", port), timeout=10)
    body = b'{"kind":"wait","request":{"ms":%d,"length":%d}}\n' % (ms, length) * lines
    head = b"POST / HTTP/1.1\r\nhost: saltmarsh.test\r\ntransfer-encoding: chunked\r\n\r\n"
    connection.sendall(head + b"%x\r\n%b\r\n" % (len(body), body))
    return connection


def settled(served: Served) -> int:
    """Return how many lines were answered when no more are."""
    before = -1
    while before != served.answered:
        before = served.answered
        time.sleep(0.25)
    return before


def test_a_caller_that_does_not_read_is_cut_off() -> None:
    """Its answers pile up to what connections hold; then nothing more is worked on, and after a while it is let go."""
    before = stalled()
    with serving() as (served, port), asking(port, 1_000, 0, 60_000) as connection:
        time.sleep(1.0)
        assert 0 < settled(served) < 500  # 30 MB of 60
        received = b""
        with contextlib.suppress(ConnectionError):
            while part := connection.recv(1 << 20):
                received = (received + part)[-10:]
        assert not received.endswith(b"0\r\n\r\n")
    assert before + 1 == stalled()


def test_a_caller_that_reads_slowly_is_waited_for() -> None:
    """Who takes an answer now and then is not cut off."""
    with serving() as (_, port), asking(port, 200, 0, 60_000) as connection:
        read = 0
        while read < 200 * 60_000:
            part = connection.recv(1 << 20)
            assert part
            read += len(part)
            time.sleep(0.02)


@pytest.mark.parametrize("reset", [False, True])
def test_a_connection_that_drops_stops_the_work(reset: bool) -> None:
    """Closed or reset in the middle, whatever was read of the body before."""
    with serving() as (served, port):
        connection = asking(port, 1_000, 2, 10)
        connection.recv(1_000)
        if reset:
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        connection.close()

        assert settled(served) < 500


def resident(process: int) -> float:
    """Return a process's memory in MB."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="reads /proc")
def test_memory_is_flat_over_many_lines() -> None:
    """The service's memory grows by less than 30 MB over as many lines as asked for, once a thousand were answered."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("FEATHERLINE_")}
    command = [sys.executable, "-m", "featherline_service"]
    with subprocess.Popen(
        command, env={**environment, "FEATHERLINE_PORT": "0"}, stderr=subprocess.PIPE, text=True
    ) as service:
        try:
            assert service.stderr is not None
            port = json.loads(service.stderr.readline())["port"]
            line = json.dumps({"kind": "quote", "request": example("quote-request")}).encode() + b"\n"
            assert 1_000 == streamed(port, line, 1_000)
            before = resident(service.pid)
            assert LINES == streamed(port, line, LINES)
            grown = resident(service.pid) - before
        finally:
            service.kill()

    assert grown < 30.0


def streamed(port: int, line: bytes, lines: int) -> int:
    """Ask a line so often in one POST, reading while sending; return how many answers came."""
    with socket.create_connection(("127.0.0.1", port), timeout=60) as connection:
        head = b"POST /v1/bulk HTTP/1.1\r\nhost: x\r\ncontent-type: application/jsonl\r\ncontent-length: %d\r\n\r\n"
        connection.sendall(head % (len(line) * lines))

        def send() -> None:
            for _ in range(lines // 100):
                connection.sendall(line * 100)

        sender = threading.Thread(target=send)
        sender.start()
        answers, end = 0, b""
        while not end.endswith(b"0\r\n\r\n"):
            part = connection.recv(1 << 20)
            assert part
            answers += part.count(b'"status":200,')
            end = (end + part)[-5:]
        sender.join()
    return answers
