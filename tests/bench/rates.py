"""Questions a second over connections of this machine, single and in bulk, against a bare echo.

The server has one processor; what asks has any other.
"""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Final, cast

import httpx2
import msgspec
import uvloop
from servers import HOST

from featherline import Client
from featherline.wire import Order, QuoteAnswered

EXAMPLES: Final = Path(__file__).parents[2] / "openapi" / "examples"
REQUEST: Final = (EXAMPLES / "quote-request.json").read_bytes()
ORDER: Final = msgspec.json.decode(REQUEST, type=Order)
LINE: Final = b'{"kind":"quote","request":%b}\n' % msgspec.json.encode(ORDER)
_CONNECTIONS: Final = 8
_POST_LINES: Final = 60_000 // len(LINE)


class _Asker(asyncio.Protocol):
    """One connection that repeats the same question."""

    def __init__(self, request: bytes, left: list[int], done: asyncio.Future[None]) -> None:
        self._request = request
        self._left = left
        self._done = done
        self._missing = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Ask for the first time."""
        self._transport = cast("asyncio.Transport", transport)
        self._transport.write(self._request)

    def data_received(self, data: bytes) -> None:
        """Read an answer; when it is whole, ask again."""
        if not self._missing:
            head, _, data = data.partition(b"\r\n\r\n")
            if not head.startswith(b"HTTP/1.1 200 ") and not self._done.done():
                self._done.set_exception(RuntimeError(f"Answered: {head.decode()}"))
            self._missing = int(head.lower().partition(b"content-length:")[2].partition(b"\r\n")[0])
        self._missing -= len(data)
        if not self._missing:
            self._left[0] -= 1
            if self._left[0] == 0:
                self._done.set_result(None)
            self._transport.write(self._request)


def quotes(port: int, count: int) -> None:
    """Ask the service for a quote so often."""
    _ask(port, "/v1/quotes", count)


def coded_quotes(port: int, count: int) -> None:
    """Ask for a quote so often, as browsers and HTTP clients do: in a coding."""
    _ask(port, "/v1/quotes", count, "accept-encoding: gzip, deflate, br, zstd\r\n")


def echoes(port: int, count: int) -> None:
    """Ask the echo so often."""
    _ask(port, "/echo", count)


def _ask(port: int, path: str, count: int, fields: str = "") -> None:
    """Ask so often, over a few connections at once."""

    async def run() -> None:
        loop = asyncio.get_running_loop()
        head = f"POST {path} HTTP/1.1\r\nhost: {HOST}\r\ncontent-type: application/json\r\n{fields}"
        request = f"{head}content-length: {len(REQUEST)}\r\n\r\n".encode() + REQUEST
        done, left = loop.create_future(), [count]
        transports = [
            (await loop.create_connection(lambda: _Asker(request, left, done), HOST, port))[0]
            for _ in range(_CONNECTIONS)
        ]
        try:
            await done
        finally:
            for transport in transports:
                transport.abort()
            await asyncio.sleep(0)  # for the loop to let go of them

    uvloop.run(run())


def bulk(port: int, count: int) -> None:
    """Ask for a quote on so many lines of one stream, reading while sending."""
    with socket.create_connection((HOST, port), timeout=60) as connection:
        head = b"POST /v1/bulk HTTP/1.1\r\nhost: %b\r\ncontent-type: application/jsonl\r\ncontent-length: %d\r\n\r\n"
        connection.sendall(head % (HOST.encode(), len(LINE) * count))

        def send() -> None:
            for begun in range(0, count, _POST_LINES):
                connection.sendall(LINE * min(_POST_LINES, count - begun))

        sender = threading.Thread(target=send)
        sender.start()
        answered, end = 0, b""
        while not end.endswith(b"0\r\n\r\n"):
            part = connection.recv(1 << 20)
            answered += part.count(b"}\n")
            end = (end + part)[-5:]
        sender.join()
    _same(answered, count)


def by_client(port: int, count: int) -> None:
    """Ask for a quote on so many lines through the SDK, passing over the answers."""
    with Client(f"http://{HOST}:{port}") as client:
        _same(sum(reply.problem is None for reply in client.bulk(ORDER for _ in range(count))), count)


def by_client_read(port: int, count: int) -> None:
    """Ask for a quote on so many lines through the SDK, reading every answer."""
    with Client(f"http://{HOST}:{port}") as client:
        _same(sum(reply.answer.verdict == "ready" for reply in client.bulk(ORDER for _ in range(count))), count)


def by_hand(port: int, count: int) -> None:
    """Ask for as many quotes with the same HTTP client and no SDK: write the requests, split the answer into lines."""
    _same(sum(1 for _ in _posted(port, count)), count)


def by_hand_read(port: int, count: int) -> None:
    """Ask for as many quotes with the same HTTP client and no SDK, decoding each line."""
    decode = msgspec.json.Decoder(QuoteAnswered).decode
    _same(sum(decode(line).answer.verdict == "ready" for line in _posted(port, count)), count)


def _posted(port: int, count: int) -> Iterator[bytes]:
    """Yield the lines that come back for as many orders, in POSTs of the SDK's size."""
    write = msgspec.json.Encoder().encode
    with httpx2.Client(base_url=f"http://{HOST}:{port}", trust_env=False) as client:
        for begun in range(0, count, _POST_LINES):
            orders = [ORDER] * min(_POST_LINES, count - begun)
            body = b"".join(b'{"kind":"quote","request":%b}\n' % write(order) for order in orders)
            headers = {"Content-Type": "application/jsonl", "Accept-Encoding": "identity"}
            with client.stream("POST", "/v1/bulk", content=body, headers=headers) as answer:
                rest = b""
                for part in answer.iter_bytes():
                    *lines, rest = (rest + part).split(b"\n")
                    yield from lines


def _same(answered: int, count: int) -> None:
    if answered != count:
        raise RuntimeError(f"{answered} of {count} lines were answered")
