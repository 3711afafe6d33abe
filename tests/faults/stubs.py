"""Stub replicas that record requests, then answer, break off or stay silent."""

from __future__ import annotations

import http.server
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http import HTTPStatus
from typing import NamedTuple


class Seen(NamedTuple):
    """A request that reached a stub."""

    path: str
    headers: dict[str, str]
    body: bytes


class Stubs(NamedTuple):
    """Three listening stubs and the requests that reached them, in order."""

    ports: tuple[int, ...]
    seen: list[Seen]


Answering = Callable[[http.server.BaseHTTPRequestHandler, int], None]


def answer(handler: http.server.BaseHTTPRequestHandler, _: int) -> None:
    """Answer with 200 and nothing."""
    handler.send_response(HTTPStatus.OK)
    handler.send_header("Content-Length", "0")
    handler.end_headers()


@contextmanager
def stubs(answering: Answering) -> Iterator[Stubs]:
    """Run three stubs that are always ready; `answering` is given each question, and how many came before it."""
    seen: list[Seen] = []

    class Handler(http.server.BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            if self.path.startswith("/health/"):
                answer(self, 0)
            else:
                self.do_POST()

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("content-length", 0)))
            before = len(seen)
            seen.append(Seen(self.path, {name.lower(): value for name, value in self.headers.items()}, body))
            answering(self, before)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    servers = [http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler) for _ in range(3)]
    threads = [threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}) for server in servers]
    for server, thread in zip(servers, threads, strict=True):
        server.daemon_threads = True
        thread.start()
    try:
        yield Stubs(tuple(server.server_address[1] for server in servers), seen)
    finally:
        for server in servers:
            server.shutdown()
            server.server_close()
        for thread in threads:
            thread.join()
